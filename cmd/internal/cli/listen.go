package cli

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
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
the difference at all.

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
	if o.port < 0 || o.port > 65535 {
		return misusef("--port %d: a port is a number from 1 to 65535", o.port)
	}
	s.read = inputs.New(ctx, s.disk) // what the page reads may change while it runs
	_, err := readChainFile(s, o.file)
	s.read.Close()
	if err != nil { // told as every command tells it
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	closed := func() {}
	defer func() { closed() }()
	return page.Serve(ctx, page.Options{
		File: o.file, Port: o.port,
		Ready: func(address string) {
			if _, err := fmt.Fprintln(s.out, address); err != nil {
				stop() // nobody can know where the page is
				return
			}
			paragraph(s.out, "", hearing, width)
			s.printf("Ctrl-C ends it.\n")
			if !o.noOpen {
				s.printf("If no browser opens, or it may not read the file that sends it there, open the address yourself.\n")
				var err error
				if closed, err = openBrowser(address); err != nil {
					closed = func() {}
					s.say("drywire: no browser could be opened (%v); open the address yourself", err)
				}
			}
		},
		Unsaved: func(names []string) {
			text := fmt.Sprintf("Not saved, and kept in %s: drywire listen offers it when it opens %s again.", strings.Join(names, ", "), filepath.Base(o.file))
			paragraph(s.out, "", text, width)
		},
		Version: Version, Disk: s.disk, Long: *s.long,
	})
}

// openBrowser asks the system to open an address. What a browser is started with can be read by
// everybody on this machine, so it is started with a file that only the user may read and that
// sends it on to the address; closed removes that.
func openBrowser(address string) (closed func(), err error) {
	folder, err := os.MkdirTemp("", "drywire-*") // of mode 0700
	if err != nil {
		return nil, err
	}
	closed = func() { os.RemoveAll(folder) }
	file := filepath.Join(folder, "listen.html")
	html := fmt.Sprintf("<!doctype html><meta charset=\"utf-8\"><title>Drywire</title><meta http-equiv=\"refresh\" content=\"0; url=%s\"><p><a href=%[1]q>Go on to the page</a>.\n", address)
	if err := os.WriteFile(file, []byte(html), 0o600); err != nil {
		closed()
		return nil, err
	}
	name, args := "xdg-open", []string{"file://" + file}
	switch runtime.GOOS {
	case "darwin":
		name, args = "open", []string{file}
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", file}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		closed()
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	go cmd.Wait() // so that no zombie is left
	return closed, nil
}
