package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/cmd/internal/inputs"
	"drywire/cmd/internal/page"
)

type listenOptions struct {
	file   string
	noOpen bool
	port   int
}

func listenCommand(s streams) *cobra.Command {
	var o listenOptions
	cmd := &cobra.Command{
		Use:   "listen FILE",
		Short: "Rewire a chain by hand in a browser while its recording plays",
		Long: `Listen opens a page in a browser on this machine. The recording plays round and round; whatever you
change, the order of the blocks, a bypass, a knob, the take, is heard at the same moment of the
music. Two orders are held side by side, equally loud, and a blind test tells whether you can hear
the difference at all. A block's jacks can be listened to as well, and the guitar be recorded from
an input of this machine. The board's hiss and hum are heard as in compare, unless they are switched
off on the page.

The page writes the chain file, and beside it the results of blind tests: save puts an order or a
take back into it, with your comments and your layout. Change the file in an editor meanwhile, and
the page follows. Its recording must lie in the chain file's folder, or under it.

What is changed and not saved is kept beside the file at once, in FILE.draft, and offered when the
file is opened again: a closed window, a crash or Ctrl-C loses nothing.

The page is for this machine alone, and for those who have its address, which is a new one every
time. Ctrl-C ends it.`,
		Example: `  drywire listen my-chain.yaml
  drywire listen my-chain.yaml --no-open --port 8080`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runListen(cmd.Context(), s, o)
		},
	}
	cmd.Flags().BoolVar(&o.noOpen, "no-open", false, "print the address and open no browser")
	cmd.Flags().IntVar(&o.port, "port", 0, "the `PORT` to listen on; any that is free when there is none given")
	complete(cmd, "port", cobra.NoFileCompletions)
	return cmd
}

func runListen(ctx context.Context, s streams, o listenOptions) error {
	if err := portIn(o.port); err != nil {
		return err
	}
	s.read = inputs.New(ctx, s.disk) // what the page reads may change while it runs
	_, err := readChainFile(s, o.file)
	s.read.Close()
	if err != nil { // told as every command tells it
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	b := browser{streams: s, stop: stop, none: o.noOpen}
	defer b.close()
	return page.Serve(ctx, page.Options{
		File: o.file, Port: o.port,
		Ready: func(address string) { b.open(address, "Ctrl-C ends it.") },
		Unsaved: func(names []string) {
			text := fmt.Sprintf("Not saved, and kept in %s: drywire listen offers it when it opens %s again.", strings.Join(names, ", "), filepath.Base(o.file))
			paragraph(s.out, "", text, width)
		},
		Version: Version, Disk: s.disk, Long: *s.long,
	})
}
