package cli

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/cmd/internal/files"
	"drywire/cmd/internal/start"
)

type startOptions struct {
	folder string
	noOpen bool
	port   int
}

func startCommand(s streams) *cobra.Command {
	var o startOptions
	cmd := &cobra.Command{
		Use:   "start",
		Short: "Choose a question or build your board in a browser; so does drywire alone",
		Long: `Start opens a page in a browser on this machine: the questions that come with the program, the
boards that you opened last, and a form in which you say what your board is made of. What you
choose opens as drywire listen opens it. Drywire without a command does the same.

Boards are chain files, in the folder in which the program was started, or in that of --folder;
where it was started from the home folder or by a file manager, in the folder drywire at home. Which
ones were opened last is kept on this machine, in boards.txt in the folder drywire of the state
folder ($XDG_STATE_HOME, or ~/.local/state).

The page is for this machine alone, and for those who have its address, which is a new one every
time. Ctrl-C ends it.`,
		Example: `  drywire
  drywire start --folder boards --no-open`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return runStart(cmd.Context(), s, o) },
	}
	cmd.Flags().StringVar(&o.folder, "folder", "", "the `DIR` of the chain files")
	cmd.Flags().BoolVar(&o.noOpen, "no-open", false, "print the address and open no browser")
	cmd.Flags().IntVar(&o.port, "port", 0, "the `PORT` to listen on; any that is free when there is none given")
	complete(cmd, "port", cobra.NoFileCompletions)
	return cmd
}

func runStart(ctx context.Context, s streams, o startOptions) error {
	if err := portIn(o.port); err != nil {
		return err
	}
	if o.folder == "" {
		o.folder = boardsFolder()
	}
	state, err := files.StateFolder()
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	b := browser{streams: s, stop: stop, none: o.noOpen}
	defer b.close()
	return start.Serve(ctx, start.Options{
		Folder: o.folder, State: state, Port: o.port, Disk: s.disk, Long: *s.long, Version: Version,
		Ready: func(address string) { b.open(address, "drywire --help lists what else it does. Ctrl-C ends it.") },
		Unsaved: func(file string, drafts []string) {
			paragraph(s.out, "", fmt.Sprintf("Not saved, and kept in %s: offered when %s is opened again.", strings.Join(drafts, ", "), filepath.Base(file)), width)
		},
	})
}

// boardsFolder is where boards are kept where nobody says: here, unless here is no place of the
// player's choice.
func boardsFolder() string {
	here, err := os.Getwd()
	home, noHome := os.UserHomeDir()
	if noHome != nil || err == nil && here != home && here != filepath.Dir(here) {
		return "."
	}
	return filepath.Join(home, "drywire")
}
