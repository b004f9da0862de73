package cli

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/hunt"
)

type huntOptions struct {
	file, take string
	answers    []string
	plan       bool
}

// huntRare is how likely a branch of the printed plan is at least, and huntRate the sample rate of
// the noise ledger.
const (
	huntRare = 0.005
	huntRate = 48000
)

func huntCommand(s streams) *cobra.Command {
	var o huntOptions
	cmd := &cobra.Command{
		Use:   "hunt FILE",
		Short: "Find where a noise comes from, without taking the board apart",
		Long: fmt.Sprintf(`Hunt asks what the noise sounds like, proposes the most informative test for its cost in plugs and
minutes, asks what was heard, and goes on until the cause is known, or only swapping a part can
tell. Before each test undo the last one. The take that --take names (else the first) is how the
board is set while it is noisy.

Answers:  %s, or what is left: %s;
skip where a test cannot be done.

The suspects are every cable with its jacks, every pedal with its share of the hiss as simulated,
the guitar in a magnetic field, supplies (more so if not isolated), a ground loop between two
amplifiers, the amplifier, and what else is on the mains. How likely each is, how it sounds and what
tests do to it are assumptions: common practice, no source. In the chain file suspects says how much
you suspect each kind, like {cable: 4}; kinds and their usual weights: pickup 1, lead 3, cable 1,
pedal 1.5, supply 1.5, ground-loop 5, amplifier 1.5, mains 1.5. One answer in twenty is taken to be
wrong, and one search in ten to be for two faults at once.

CAUTION: never lift an earth, touch no mains wiring and open nothing. Turn down before you pull a
plug. Work on mains and amplifiers is for licensed technicians.

--plan prints the whole tree of tests for paper.`, strings.Join(hunt.Changes, ", "), strings.Join(hunt.Sounds, ", ")),
		Example: `  drywire hunt my-board.yaml
  drywire hunt my-board.yaml --take lead --plan`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runHunt(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringSliceVar(&o.answers, "answers", nil, "the `WORDS` that are answered, in turn, like hum,gone,same, in place of asking")
	cmd.Flags().BoolVar(&o.plan, "plan", false, "print the whole tree for paper, and ask nothing")
	complete(cmd, "take", completeTake)
	complete(cmd, "answers", cobra.NoFileCompletions)
	return cmd
}

// huntReplies gives one answer after the other; io.EOF where there is none any more.
type huntReplies func(ctx context.Context) (string, error)

// scripted is answers from a list, which are printed.
func scripted(s streams, list []string) huntReplies {
	return func(context.Context) (string, error) {
		if len(list) == 0 {
			return "", io.EOF
		}
		word := strings.ToLower(strings.TrimSpace(list[0]))
		list = list[1:]
		s.printf("%s\n", word)
		return word, nil
	}
}

// typed is lines from standard input. Reading goes on beside, so that an interrupt is heard.
func typed(s streams) huntReplies {
	type line struct {
		text string
		err  error
	}
	lines := make(chan line)
	go func() {
		in := bufio.NewReader(io.LimitReader(s.in, mostRead))
		for {
			text, err := in.ReadString('\n')
			if err == io.EOF && text != "" {
				err = nil
			}
			lines <- line{text, err}
			if err != nil {
				return
			}
		}
	}()
	return func(ctx context.Context) (string, error) {
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case l := <-lines:
			return strings.ToLower(strings.TrimSpace(l.text)), l.err
		}
	}
}

func runHunt(ctx context.Context, s streams, o huntOptions) error {
	if o.file == "-" && !o.plan && o.answers == nil {
		return misusef("standard input is the chain file and cannot answer as well; give --answers or --plan, or a file")
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(f.File.Takes, func(t board.Take) bool { return t.Name == c.Take })
	h := hunt.New(f.File, f.File.Takes[at], huntRate)
	s.printf("%s\nTake: %s. %d suspects, %d tests.\n", titleOf(f), c.Take, len(h.Suspects), len(h.Tests))
	paragraph(s.out, "CAUTION: ", hunt.Cautions, 98)
	s.printf("\n")
	if o.plan {
		s.printf("Where no branch has your answer, it is unlikely: listen again, or run this without --plan.\n\n")
		for _, l := range h.Plan(huntRare) {
			text := strings.TrimLeft(l, " ")
			paragraph(s.out, strings.Repeat(" ", len(l)-len(text)), text, max(98, len(l)-len(text)+40))
		}
		return nil
	}
	reply := typed(s)
	if o.answers != nil {
		reply = scripted(s, o.answers)
	}
	return converse(ctx, s, h, reply)
}

// converse asks until a culprit is known.
func converse(ctx context.Context, s streams, h *hunt.Hunt, reply huntReplies) error {
	search := h.Begin()
	// ask repeats a question until take has understood the answer.
	ask := func(question string, take func(word string) error) error {
		for {
			s.printf("  %s ", question)
			word, err := reply(ctx)
			if err == io.EOF {
				s.printf("\n\nStopped. So far the likeliest are:\n")
				for _, n := range search.Ranked()[:min(3, len(h.Suspects))] {
					s.printf("  %3.0f %%  %s\n", 100*n.P, n.Suspect.Name)
				}
				return io.EOF
			}
			if err != nil {
				return err
			}
			if err = take(word); err == nil {
				return nil
			}
			s.printf("  %v\n", err)
		}
	}
	err := ask("What do you hear ("+strings.Join(hunt.Sounds, ", ")+")?", search.Hear)
	for n := 1; err == nil; n++ {
		k, ok := search.Next()
		if !ok {
			s.printf("\n")
			paragraph(s.out, "", search.Said(), 98)
			s.printf("Tests: %d. Plugs moved: %d. Minutes: %.0f. If it is still there then, hunt again: there may be two.\n", n-1, search.Plugs, search.Minutes)
			return nil
		}
		s.printf("\n")
		paragraph(s.out, fmt.Sprintf("%d. ", n), search.Ask(k), 98)
		if top := search.Ranked()[0]; top.P > 0.3 {
			paragraph(s.out, "   ", fmt.Sprintf("Likeliest so far: %s (%.0f %%).", top.Suspect.Name, 100*top.P), 98)
		}
		err = ask("Then?", func(word string) error {
			if word == "skip" {
				search.Skip(k)
				return nil
			}
			return search.Answer(k, word)
		})
	}
	if err == io.EOF {
		return nil
	}
	return err
}
