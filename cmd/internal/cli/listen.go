package cli

import (
	"context"
	"fmt"
	"os/exec"
	"runtime"

	"github.com/spf13/cobra"

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

The page reads and writes the chain file and nothing else: save puts an order or a take back into
it, with your comments and your layout. Change the file in an editor meanwhile, and the page follows.
Its recording must lie in the chain file's folder, or under it.

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
	if _, err := readChainFile(s, o.file); err != nil { // told as every command tells it
		return err
	}
	return page.Serve(ctx, page.Options{
		File: o.file, Port: o.port,
		Ready: func(address string) {
			s.printf("%s\n", address)
			paragraph(s.out, "", hearing, width)
			s.printf("Ctrl-C ends it.\n")
			if !o.noOpen {
				if err := openBrowser(address); err != nil {
					s.say("drywire: no browser could be opened (%v); open the address yourself", err)
				}
			}
		},
		Log: func(text string) { s.say("drywire: %s", text) },
	})
}

// openBrowser asks the system to open an address.
func openBrowser(address string) error {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	go cmd.Wait() // so that no zombie is left
	return nil
}
