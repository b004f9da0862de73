package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"drywire/blocks"
	"drywire/dsp"
)

func blocksCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "blocks [KIND]",
		Short: "What blocks there are, and what each of them models",
		Long: `Blocks lists the kinds of block that a chain file can name. With a KIND it shows its knobs with
units, ranges and defaults, its impedances, what the model contains, what it leaves out, and
where its values come from.`,
		Example: `  drywire blocks
  drywire blocks fuzz`,
		Args:              atMostOne("kind"),
		ValidArgsFunction: completeKind,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				listBlocks(s)
				return nil
			}
			k := blocks.Find(args[0])
			if k == nil {
				var names []string
				for _, k := range blocks.Kinds() {
					names = append(names, k.Name)
				}
				return misuse{unknown("kind of block", args[0], names, "there are "+strings.Join(names, ", "))}
			}
			showBlock(s, k)
			return nil
		},
	}
}

func listBlocks(s streams) {
	t := table{header: []string{"kind", "what it is"}}
	for _, k := range blocks.Kinds() {
		t.row(k.Name, clip(k.Brief, 84))
	}
	t.print(s.out)
	s.printf("\ndrywire blocks KIND shows the knobs of one.\n")
}

func showBlock(s streams, k *blocks.Kind) {
	in, out := k.Impedances(k.Defaults(), at)
	paragraph(s.out, k.Name+": ", k.Brief, width)
	s.printf("\n")
	moves := "" // an example of a knob that can
	t := table{header: []string{"knob", "range, with unit", "default", "what it does"}}
	for _, knob := range k.Knobs {
		limits, usual := strings.Join(knob.Words, ", "), knob.Word
		if knob.Words == nil {
			limits = dsp.FormatQuantity(knob.Min, knob.Unit) + " to " + dsp.FormatQuantity(knob.Max, knob.Unit)
			usual = dsp.FormatQuantity(knob.Default, knob.Unit)
			if knob.Unit == dsp.Dial {
				limits += " (dial)"
			}
		}
		brief := knob.Brief
		if knob.Taper != "" {
			brief += " (" + knob.Taper + " taper)"
		}
		if knob.Still == "" {
			brief += " ~"
			if moves == "" {
				moves = fmt.Sprintf("%s: {at: {0 s: %s, 4 s: %s}}", knob.Name, dsp.FormatQuantity(knob.Min, knob.Unit), dsp.FormatQuantity(knob.Max, knob.Unit))
			}
		}
		t.row(knob.Name, limits, usual, brief)
	}
	if len(k.Knobs) > 0 {
		t.wrap(s.out, width)
		if moves != "" {
			s.printf("~ can be turned while the recording plays: %s\n", moves)
		}
		s.printf("\n")
	}
	s.printf("Impedance at 1 kHz, knobs at their defaults: %s in (1 MΩ at its output),\n%s out (10 kΩ at its input).\n", ohms(in), ohms(out))
	for _, part := range []struct {
		name  string
		lines []string
	}{{"Models", k.Models}, {"Leaves out", k.Ignores}, {"Sources", k.Sources}} {
		if len(part.lines) == 0 {
			continue
		}
		s.printf("\n%s\n", part.name)
		for _, l := range part.lines {
			paragraph(s.out, "  - ", l, width)
		}
	}
	s.printf("\nIn a chain file\n  blocks:\n    %s: {kind: %s%s}\n", k.Name, k.Name, example(k))
}

// width is how many columns a terminal has at least; no table is wider.
const width = 98

// example is the first knobs of a kind as a chain file has them.
func example(k *blocks.Kind) string {
	text := ""
	for _, knob := range k.Knobs[:min(3, len(k.Knobs))] {
		value := knob.Word
		if knob.Words == nil {
			value = dsp.FormatQuantity(knob.Default, knob.Unit)
		}
		text += ", " + knob.Name + ": " + value
	}
	return text
}
