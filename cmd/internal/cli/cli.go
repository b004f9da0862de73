// Package cli is the command line: a file per command, each an options struct, a thin parser and a
// run function of context, streams and arguments. What is computed is computed elsewhere, in
// chains, dsp and samples; here are files, the terminal and words for people.
//
// Start reading at Run, then check.go (the plainest command that reads a chain file) and compare.go
// (the one with everything). Main, in main.go, is the process around it.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"drywire/chains/file"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
)

// Version is what --version says: with the beginning of the commit's name where the program was
// built from a repository, and "+changed" where that had changes.
var Version = "0.1" + revision()

func revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	commit, changed := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			commit = "+" + s.Value[:min(12, len(s.Value))]
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = "+changed"
		}
	}
	return commit + changed
}

// Exit codes. A run that a signal ends has 128 and the signal's number, as a shell says it of a
// program that dies of one.
const (
	done        = 0
	failed      = 1
	misused     = 2
	interrupted = 128 + int(syscall.SIGINT)
)

// misuse is an error in how a command was called.
type misuse struct{ error }

func misusef(format string, args ...any) error { return misuse{fmt.Errorf(format, args...)} }

// streams is what a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
	disk     files.System
	read     *inputs.Files // of that disk, that the run reads
	long     *bool         // what takes very long was asked for
}

func (s streams) printf(format string, args ...any) { fmt.Fprintf(s.out, format, args...) }

// say is for what people want to know beside the result, on the error stream.
func (s streams) say(format string, args ...any) { fmt.Fprintf(s.err, format+"\n", args...) }

// Run runs one command line and returns its exit code: 0 done, 1 failed, 2 misused, 130 where the
// context ended it. What cannot be written to stdout has failed.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	return run(ctx, args, streams{in: stdin, out: stdout, err: stderr, disk: files.Disk{}})
}

func run(ctx context.Context, args []string, s streams) int {
	s.read = inputs.New(ctx, s.disk)
	s.read.In = s.in
	defer s.read.Close()
	out, stderr := &output{to: s.out, name: "standard output"}, &output{to: s.err, name: "standard error"}
	s.out, s.err = out, stderr
	root := command(s, args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		// what was printed and not written may be of files that have changed since
		err = s.read.Unchanged()
		if ctx.Err() != nil && errors.Is(err, context.Canceled) {
			err = nil // an interrupt is how some commands end, and came too late for the others
		}
	}
	if err == nil {
		err = out.err
	}
	switch {
	case err == nil:
		return done
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintln(stderr, nothingWritten)
		return interrupted
	}
	var faults file.Faults
	if errors.As(err, &faults) {
		for _, f := range faults {
			fmt.Fprintf(stderr, "drywire: %v\n", f)
		}
		return failed
	}
	fmt.Fprintf(stderr, "drywire: %v\n", err)
	if errors.As(err, new(misuse)) {
		return misused
	}
	return failed
}

// command is the whole command line.
func command(s streams, args []string) *cobra.Command {
	s.long = new(bool)
	root := &cobra.Command{
		Use:   "drywire",
		Short: "Hear what the order of your pedals does",
		Long: `Drywire renders a dry guitar recording through the orders of a pedalboard that you want
to compare, and writes them as WAV files of equal loudness. A chain file says what is plugged
into what. Source and load are solved together, in volts: what a fuzz does to a guitar, and the
guitar to the fuzz, is in the sound.`,
		Example: `  drywire                                 choose a question, or build your board, in a browser
  drywire demo                            hear four takes of one riff
  drywire new my-chain.yaml               a chain file of your own to start from
  drywire check my-chain.yaml             what is wired to what
  drywire compare my-chain.yaml -o takes  hear every take of it`,
		Version:       Version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs, // so that a command that is none comes to RunE
	}
	root.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return runStart(cmd.Context(), s, startOptions{})
		}
		return noCommand(root, args[0])
	}
	root.PersistentFlags().BoolVar(s.long, "long", false, "do even what takes more than 2 min to prepare, 20 s a second of sound, or 1 GiB")
	root.SetArgs(args)
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetVersionTemplate("drywire {{.Version}}\n")
	root.CompletionOptions.HiddenDefaultCmd = false
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		if cmd == root {
			for _, a := range args {
				if !strings.HasPrefix(a, "-") {
					return noCommand(root, a) // its flags are not to blame
				}
			}
		}
		return noFlag(cmd, err)
	})
	root.AddCommand(
		startCommand(s), demoCommand(s), newCommand(s), checkCommand(s), blocksCommand(s),
		renderCommand(s), compareCommand(s), reportCommand(s), netlistCommand(s),
		whyCommand(s), sweepCommand(s), huntCommand(s), sheetCommand(s), venueCommand(s), powerCommand(s),
		measureCommand(s), ladderCommand(s), noiseCommand(s), responseCommand(s),
		swapsCommand(s), rankCommand(s), presetsCommand(s), listenCommand(s),
		lessonCommand(s), learnCommand(s),
	)
	root.InitDefaultCompletionCmd()
	if shells, _, err := root.Find([]string{"completion"}); err == nil && shells != root {
		wordCompletion(shells)
	}
	root.SetHelpCommand(&cobra.Command{
		Use:     "help [COMMAND]",
		Short:   "Help for a command",
		Example: "  drywire help render",
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return commandNames(root), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(_ *cobra.Command, args []string) error {
			cmd, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return noCommand(root, args[0])
			}
			cmd.InitDefaultHelpFlag()
			return cmd.Help()
		},
	})
	return root
}

// wordCompletion gives cobra's own command an example, and an error for a shell that it does not
// know.
func wordCompletion(cmd *cobra.Command) {
	cmd.Example = "  source <(drywire completion bash)\n  drywire completion fish > ~/.config/fish/completions/drywire.fish"
	cmd.Args = cobra.ArbitraryArgs
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return cmd.Help()
		}
		names := commandNames(cmd)
		return misuse{unknown("shell", args[0], names, "there are "+strings.Join(names, ", "))}
	}
}

func commandNames(root *cobra.Command) []string {
	var names []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	return names
}

func noCommand(root *cobra.Command, name string) error {
	return misuse{unknown("command", name, commandNames(root), "drywire --help lists them")}
}

// noFlag words a flag's error, with the nearest flag there is.
func noFlag(cmd *cobra.Command, err error) error {
	see := fmt.Sprintf("%s --help shows how", cmd.CommandPath())
	var none *pflag.NotExistError
	if !errors.As(err, &none) {
		return misusef("%w (%s)", err, see)
	}
	if len(none.GetSpecifiedName()) == 1 {
		return misusef("no flag -%s (%s)", none.GetSpecifiedName(), see)
	}
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, "--"+f.Name) })
	return misuse{unknown("flag", "--"+none.GetSpecifiedName(), names, see)}
}

// unknown is the error for a word that is none of words.
func unknown(what, word string, words []string, else_ string) error {
	if near := file.Nearest(word, words); near != "" {
		return fmt.Errorf("no %s %q; did you mean %q?", what, word, near)
	}
	return fmt.Errorf("no %s %q (%s)", what, word, else_)
}

// oneArgument checks that a command got exactly its one argument.
func oneArgument(name string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return misusef("%s needs a %s, like this:\n%s", cmd.Name(), name, cmd.Example)
		case len(args) > 1:
			return misusef("%s takes one %s, and got %d: %s", cmd.Name(), name, len(args), strings.Join(args, " "))
		}
		return nil
	}
}

// atMostOne checks that a command got no more than its one argument.
func atMostOne(name string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > 1 {
			return misusef("%s takes at most one %s, and got %d: %s", cmd.Name(), name, len(args), strings.Join(args, " "))
		}
		return nil
	}
}

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return misusef("%s takes no argument, and got %s", cmd.Name(), strings.Join(args, " "))
	}
	return nil
}
