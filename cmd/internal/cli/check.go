package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

type checkOptions struct {
	file      string
	recording string
}

func checkCommand(s streams) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Check a chain file and show what is wired to what",
		Long: `Check reads a chain file, wires every take and finds its operating point. It prints the order of
every take and, at every place where one thing is plugged into another, what drives (source
impedance, with the cable) and what is driven (input impedance), both at 1 kHz; or every mistake in
the file with its place. Where a take splits into two paths, it says whether they cancel when they
are heard as one: they do where their correlation is under -0.5, or where their sum is 6 dB or more
under the sum of their powers in any octave from 80 Hz to 5 kHz; by their responses, or where one of
them has a block without one, as a reverb, by rendering many tones at once. A plug that would harm
a block is a mistake; an overloaded output and a block that starves are warned of. At the end it
says which cables to move on the floor from the first take to each of the others, as few as it
takes. It writes nothing.`,
		Example: `  drywire check my-chain.yaml`,
		Args:    oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runCheck(cmd.Context(), s, o)
		},
	}
	recordingFlag(cmd, &o.recording)
	return cmd
}

func recordingFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "recording", "", "another recording in place of the file's: a sound `FILE`, - for standard input, or a shipped one by name")
	complete(cmd, "recording", completeRecording)
}

func qualityFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "quality", section.Normal.Name, "how finely to compute: `"+strings.Join(qualityNames(), "|")+"`")
	complete(cmd, "quality", completeQuality)
}

// orderText is the order of a take, in one line. A switcher is named wherever the signal comes back to it.
func orderText(c *board.Chain) string {
	line := func(list []board.Placed, names ...string) []string {
		for _, b := range list {
			switch {
			case b.Piece != nil:
				names = append(names, b.Switcher)
			case b.Off:
				names = append(names, "("+b.Name+" off)")
			default:
				names = append(names, b.Name)
			}
		}
		return names
	}
	names := line(c.Blocks, "guitar")
	if c.GuitarName != "" {
		names[0] += " " + c.GuitarName
	}
	if c.Split == nil {
		return strings.Join(append(names, "load"), " > ")
	}
	path := func(side string, list []board.Placed) string {
		return side + ": " + strings.Join(append(line(list), "load"), " > ")
	}
	return strings.Join(append(names, "{"+path("left", c.Split.Left)+" | "+path("right", c.Split.Right)+"}"), " > ") + " " + c.Split.Mix
}

// at is the frequency at which impedances are shown.
const at = 1000

func runCheck(ctx context.Context, s streams, o checkOptions) error {
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	s.printf("%s: %s\n", f.Text.Name, titleOf(f))
	f.describe(s)
	s.held(f.Chains()...)
	for k, c := range f.Chains() {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := render.PlanOf(c, f.Dry.Rate, section.Normal).Renderer(c.Ends()...); err != nil {
			return err
		}
		places, err := wiring.Handovers(c, at)
		if err != nil {
			return err
		}
		s.printf("\nTake %d: %s\n", k+1, c.Take)
		paragraph(s.out, "  ", orderText(c), 98)
		if own := f.Takes[k].Loops; len(own) > 0 {
			s.printf("  loops of its own: %s\n", edit.LoopsText(own))
		}
		for _, set := range f.Takes[k].Set {
			s.printf("  %s: %s\n", set.Target, set.Text)
		}
		for _, t := range c.Turns {
			if !slices.ContainsFunc(f.Takes[k].Set, func(set board.Setting) bool { return set.Target == t.Target }) {
				s.printf("  %s: %v\n", t.Target, t.Curve)
			}
		}
		t := table{header: []string{"  into", " source at 1 kHz\nΩ", " input at 1 kHz\nΩ", " lost\ndB"}}
		for _, p := range places {
			t.row("  "+p.Jack, ohms(p.Source), ohms(p.Input), decibels(lost(p)))
		}
		t.print(s.out)
		if c.Split != nil {
			paragraph(s.out, "  ", pathsText(ctx, c, f.Dry.Rate), 98)
		}
		for _, w := range c.Warnings() {
			paragraph(s.out, "  ", "WARNING: "+w+".", 98)
		}
	}
	printCables(s, experiment.Rewirings(f.Chains()))
	printSupplies(s, f)
	s.printf("\n%s, no mistakes found.\n", plural(len(f.Takes), "take", "takes"))
	return nil
}

// printSupplies says what is plugged into which output of a supply, and what is wrong with that.
func printSupplies(s streams, f *chainFile) {
	outputs := f.Plugged()
	if len(outputs) == 0 {
		return
	}
	s.printf("\nSupplies, whatever is switched on\n")
	t := table{header: []string{"  output", " voltage\nV", " drawn\nmA", " of\nmA", " ripple\nmV", "feeds"}}
	for _, o := range outputs {
		feeds := "nothing"
		if len(o.Blocks) > 0 {
			feeds = strings.Join(o.Blocks, ", ")
		}
		t.row("  "+o.Output, fmt.Sprintf("%.4g", float64(o.Voltage)), fmt.Sprintf("%.4g", 1e3*float64(o.Draw)), fmt.Sprintf("%.4g", 1e3*float64(o.Current)),
			fmt.Sprintf("%.3g", 1e3*float64(o.Ripple)), clip(feeds, 50))
	}
	t.print(s.out)
	for _, o := range outputs {
		for _, w := range o.Warnings {
			paragraph(s.out, "  ", "WARNING: "+w+".", 98)
		}
	}
}

// pathsText says how the two paths of a take's split get along.
func pathsText(ctx context.Context, c *board.Chain, rate dsp.Hertz) string {
	x, err := experiment.CancellationOf(c, ctx, rate)
	switch {
	case err != nil:
		return fmt.Sprintf("Whether the two paths cancel is not known: %v.", err)
	case x.Cancels():
		return "WARNING: the two paths cancel: " + x.String() + ". A trim with polarity: inverted in one of them turns it over."
	}
	return "The two paths do not cancel: " + x.String() + "."
}

func titleOf(f *chainFile) string {
	if f.Title == "" {
		return "(no title)"
	}
	return f.Title
}
