package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

type netlistOptions struct {
	file, take, section, block, tone string
}

func netlistCommand(s streams) *cobra.Command {
	var o netlistOptions
	cmd := &cobra.Command{
		Use:   "netlist FILE",
		Short: "Print a take as a SPICE deck, to check the simulation with another program",
		Long: fmt.Sprintf(`Netlist prints the circuit of a take as a deck for a SPICE simulator, with a tone in place of the
recording. The deck runs as printed: %v of a transient at steps of at most %v and a
relative tolerance of %v, which is converged. The source is called Vdry; a jack's node is its
name with _ for a dot: fuzz.in is v(fuzz_in).

Without --section the deck is the whole chain up to the first stage that is more than a gain and
limits, and says so; a stage that only amplifies and limits becomes an expression source. With
--section it is the one section that holds the block's input; Vdry then stands for what drives
that section in the chain. With --block it is the block alone at its settings in the take, as a
.subckt that a block of the kind circuit can be made of: it sounds the same, bit for bit.`, quantity(float64(wiring.DeckStop), dsp.Seconds), quantity(float64(wiring.DeckStep), dsp.Seconds), wiring.DeckTolerance),
		Example: `  drywire netlist my-chain.yaml --take "fuzz first" --tone "330 Hz 200 mV" > fuzz.cir
  ngspice -b fuzz.cir
  drywire netlist my-chain.yaml --block fuzz > my-fuzz.cir`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(_ *cobra.Command, args []string) error {
			o.file = args[0]
			return runNetlist(s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.section, "section", "", "only the section that holds the input of this `BLOCK`")
	cmd.Flags().StringVar(&o.block, "block", "", "only this `BLOCK`, as a .subckt")
	cmd.Flags().StringVar(&o.tone, "tone", "330 Hz 100 mV", "frequency and peak `level` of the tone")
	complete(cmd, "take", completeTake)
	complete(cmd, "section", completeBlock)
	complete(cmd, "block", completeBlock)
	complete(cmd, "tone", cobra.NoFileCompletions)
	return cmd
}

// anyRate is a sample rate where none matters: a deck has no samples.
const anyRate = 48000

func runNetlist(s streams, o netlistOptions) error {
	tone, err := parseTone(o.tone)
	if err != nil {
		return err
	}
	if o.section != "" && o.block != "" {
		return misusef("--section and --block: want one of them; a .subckt is of one block")
	}
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	c, assumed, err := f.take(o.take)
	if err != nil {
		return err
	}
	if assumed {
		s.say("drywire: take %q, the first of %d (--take chooses)", c.Take, len(f.Takes))
	}
	s.held(c)
	if o.block != "" {
		text, err := wiring.Subckt(c.At(0), o.block)
		if err != nil {
			return misuse{fmt.Errorf("%s: %w", f.Text.Name, err)}
		}
		s.printf("%s", text)
		return nil
	}
	w := render.PlanOf(c.At(0), anyRate, section.Normal)
	deck := ""
	if o.section == "" {
		deck = w.Deck(tone)
	} else if deck, err = w.DeckOf(o.section, tone); err != nil {
		return misuse{fmt.Errorf("%s: %w", f.Text.Name, err)}
	}
	s.printf("%s", deck)
	return nil
}

// parseTone reads a frequency and a level, like 330 Hz 200 mV.
func parseTone(text string) (dsp.Tone, error) {
	words := strings.Fields(strings.ReplaceAll(text, ",", " "))
	var first error
	for k := 1; k < len(words); k++ {
		hz, err := dsp.ParseQuantity(strings.Join(words[:k], " "), dsp.Hertzes)
		if err == nil {
			var v float64
			if v, err = dsp.ParseQuantity(strings.Join(words[k:], " "), dsp.Volts); err == nil {
				if unit := strings.ToLower(words[len(words)-1]); strings.HasSuffix(unit, "dbu") || strings.HasSuffix(unit, "dbv") {
					v *= math.Sqrt2 // those are the RMS of the sine
				}
				if hz < 1 || hz > 20e3 || v <= 0 || v > 100 {
					return dsp.Tone{}, misusef("--tone %q: want 1 Hz to 20 kHz at up to 100 V", text)
				}
				return dsp.Tone{Hz: dsp.Hertz(hz), Volts: dsp.Volt(v)}, nil
			}
		}
		first = err
	}
	if first != nil {
		return dsp.Tone{}, misusef(`--tone %q: want a frequency and a level, like "330 Hz 200 mV": %w`, text, first)
	}
	return dsp.Tone{}, misusef(`--tone %q: want a frequency and a level, like "330 Hz 200 mV"`, text)
}
