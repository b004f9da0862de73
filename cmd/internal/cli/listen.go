package cli

import (
	"context"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"drywire/cmd/internal/cabinet"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/page"
	"drywire/dsp/section"
	"drywire/samples"
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
	ctx, stop := context.WithCancel(ctx)
	defer stop()
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
				if err := openBrowser(address); err != nil {
					s.say("drywire: no browser could be opened (%v); open the address yourself", err)
				}
			}
		},
		Disk: s.disk,
		WAV: func(ctx context.Context, doc page.Document, take, path string) error {
			return listenWAV(ctx, s.disk, doc, take, path)
		},
		Report: func(ctx context.Context, doc page.Document, path string) error {
			return listenReport(ctx, s.disk, doc, path)
		},
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

// documentFile is the text of a window as a chain file, with its recording opened as the page opens it.
func documentFile(ctx context.Context, doc page.Document) (*chainFile, *recording, error) {
	f, err := parseChainFile(doc.Name, doc.Text, doc.Folder)
	if err != nil {
		return nil, nil, err
	}
	if err := cabinet.Read(f.File, f.name, f.source, doc.Open); err != nil {
		return nil, nil, err
	}
	if path := f.Recording.File; path != "" { // before anything else opens it
		_, done, err := doc.Open(path)
		if err != nil {
			return nil, nil, err
		}
		done()
	}
	r, err := findRecording(ctx, f, "")
	return f, r, err
}

// listenWAV writes a take of a window as render writes it.
func listenWAV(ctx context.Context, disk files.System, doc page.Document, take, path string) error {
	f, r, err := documentFile(ctx, doc)
	if err != nil {
		return err
	}
	c, err := f.Take(take)
	if err != nil {
		return err
	}
	render, err := renderer(c, r, section.Normal, c.Ends()...)
	if err != nil {
		return err
	}
	after := render.Tail()
	out, err := openFolder(disk, filepath.Dir(path))
	if err != nil {
		return err
	}
	defer out.abort()
	wav, err := out.wav(filepath.Base(path), samples.Format{Rate: int(r.rate), Channels: len(c.Ends()), Bits: 24}, takeFrames(r, after))
	if err != nil {
		return err
	}
	d, err := keep(ctx, render, r, after, out, nil, nil)
	if err != nil {
		return err
	}
	defer d.close()
	if _, err := writeListening(ctx, d, wav); err != nil {
		return err
	}
	return out.publish()
}

// listenReport writes the report of a window's text as report writes it.
func listenReport(ctx context.Context, disk files.System, doc page.Document, path string) error {
	f, r, err := documentFile(ctx, doc)
	if err != nil {
		return err
	}
	out, err := openFolder(disk, filepath.Dir(path))
	if err != nil {
		return err
	}
	defer out.abort()
	found := &findings{}
	quiet := streams{out: io.Discard, err: io.Discard, disk: disk}
	e, _, err := compareTakes(ctx, quiet, f, r, section.Normal, out, found, false)
	if err != nil {
		return err
	}
	if err := writeReport(out, filepath.Base(path), f, r, e, found, nil); err != nil {
		return err
	}
	return out.publish()
}
