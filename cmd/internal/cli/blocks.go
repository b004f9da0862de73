package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/blocks"
	"drywire/chains/file"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

func blocksCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "blocks [KIND | DECK.cir]",
		Short: "What blocks there are, and what each of them models",
		Long: `Blocks lists the kinds of block that a chain file can name. With a KIND it shows its knobs with
units, ranges and defaults, its impedances, what the model contains, what it leaves out, and
where its values come from. With a SPICE deck of your own, whose name ends in .cir, it shows the
same of the block of the kind circuit that the deck makes, or what is wrong with the deck.`,
		Example: `  drywire blocks
  drywire blocks fuzz
  drywire blocks circuit`,
		Args:              atMostOne("kind"),
		ValidArgsFunction: completeKind,
		RunE: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) == 0:
				listBlocks(s)
				return nil
			case args[0] == blocks.CircuitKind:
				showCircuits(s)
				return nil
			case strings.HasSuffix(args[0], ".cir"):
				k, err := produce.Decks(disk{".", s.read})(args[0])
				if err != nil {
					return err
				}
				showBlock(s, k)
				return nil
			}
			k := blocks.Find(args[0])
			if k == nil {
				names := kindNames()
				return misuse{unknown("kind of block", args[0], names, "there are "+strings.Join(names, ", "))}
			}
			showBlock(s, k)
			return nil
		},
	}
}

// kindNames is every kind of block, those that a deck makes among them.
func kindNames() []string {
	names := append(file.KindNames(blocks.Kinds()), blocks.CircuitKind)
	slices.Sort(names)
	return names
}

func listBlocks(s streams) {
	t := table{header: []string{"kind", "what it is"}}
	for _, name := range kindNames() {
		brief := blocks.CircuitBrief
		if k := blocks.Find(name); k != nil {
			brief = k.Brief
		}
		t.row(name, clip(brief, 84))
	}
	t.print(s.out)
	s.printf("\ndrywire blocks KIND shows the knobs of one.\n")
}

// showCircuits shows how a deck becomes a block, and one that comes with the program.
func showCircuits(s streams) {
	name := blocks.SampleDecks()[0]
	paragraph(s.out, blocks.CircuitKind+": ", blocks.CircuitBrief, width)
	s.printf("\n")
	for _, l := range []string{
		"The deck has one .subckt with the pins in and out, gnd, and vcc where it takes a supply (vee for one below ground).",
		"A parameter from 0 to 1 is a dial from 0 to 10. Any other needs a comment with its range: * knob r 10k 1meg ohm: what it does",
		"Cards: R, C, L, V, I, E, G, F, D, Q, B as drywire netlist prints them, X, .param, .model of D, NPN and PNP. Anything else is refused, with its place.",
		"drywire netlist FILE --block NAME prints a block as such a deck; drywire blocks my-pedal.cir shows the knobs of one, and its impedances.",
	} {
		paragraph(s.out, "  - ", l, width)
	}
	s.printf("\nIn a chain file\n  blocks:\n    mine: {kind: circuit, file: my-pedal.cir}\n    %s: {kind: circuit, sample: %[1]s}\n", name)
	s.printf("\nThe deck of the sample %s\n\n%s", name, blocks.SampleDeck(name))
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
	source := ""
	if k.Hash != "" {
		source = ", file: my-pedal.cir"
	}
	s.printf("\nIn a chain file\n  blocks:\n    %s: {kind: %s%s%s}\n", k.Name, k.Name, source, example(k))
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
