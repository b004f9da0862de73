package cli

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
)

type noiseOptions struct {
	file, take, jack string
	all, json        bool
}

func noiseCommand(s streams) *cobra.Command {
	var o noiseOptions
	cmd := &cobra.Command{
		Use:   "noise FILE",
		Short: "Say which block is heard when nobody plays, and whether moving it helps",
		Long: `Noise adds up what every resistor, transistor, amplifier and converter of a take contributes to the
noise at a jack while nobody plays, loudest first: how much of it, as a share of the A-weighted
power, and what it is. Powers add up to the total. What is amplified by what follows counts with it:
"guitar" is the hiss of the pickup and its pots as it comes out of the whole chain.

Of a take that ends in two, out is both of its ends, whose powers add up as in a room.

At the jack out it also moves every block to every other place: in the order, on either path of a
split, in the loops of a switcher that are in and out of them; and the switcher as a whole. What
counts is the change of noise less the change of gain: noise that falls only because everything
gets softer is no help.

A-weighting is IEC 61672-1; unweighted is 20 Hz to 20 kHz. The noise in the recording, and what the
chain does to noise while the strings sound, are not included. Ripple is that of the file's
supplies; a block that is plugged into none has an ideal supply.

Noise of the microphone and its input, behind a loudspeaker, is listed separately and is in no
other figure: nobody in the room hears it. Gates are closed when nobody plays; the noise under the
playing, with gates open, is listed as well, and a move's change of gain is that with gates open.

--json prints one object in place of the tables:
  take, order, jack
  a_weighted_dbu, unweighted_dbu, a_weighted_volts, unweighted_volts    the total
  blocks, causes: name, a_weighted_dbu, unweighted_dbu, share           loudest first
  sources: block, element, cause, a_weighted_dbu, unweighted_dbu, share
  moves: block, line (order, left, right, or loop 3), behind, where (in words), same (paths), take
    (its keys), noise_db, gain_db                               changes at out
  near: blocks at whose thresholds the noise is, if any; then shares need not add up
  apart, open: name, a_weighted_dbu, unweighted_dbu       the microphone; with gates open; or null
  assumptions
share is of the A-weighted power, from 0 to 1. What has no value is {"not_measurable": "why"}.`,
		Example: `  drywire noise my-chain.yaml --take buffered
  drywire noise my-chain.yaml --at fuzz.out --json > noise.json`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(_ *cobra.Command, args []string) error {
			o.file = args[0]
			return runNoise(s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.jack, "at", "out", "the `JACK` whose noise it is")
	cmd.Flags().BoolVar(&o.all, "all", false, "print every part that makes noise, and every move")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	complete(cmd, "take", completeTake)
	complete(cmd, "at", completeJack)
	return cmd
}

// readTake reads a chain file and picks a take, and says so where it was not named.
func readTake(s streams, file, take string) (*chainFile, *board.Chain, error) {
	f, err := readChainFile(s, file)
	if err != nil {
		return nil, nil, err
	}
	c, assumed, err := f.take(take)
	if err != nil {
		return nil, nil, err
	}
	if err := s.afford(f, c); err != nil {
		return nil, nil, err
	}
	if assumed {
		s.say("drywire: take %q, the first of %d (--take chooses)", c.Take, len(f.Takes))
	}
	s.held(c)
	return f, c, nil
}

// held says which knobs that move are taken where they are at the start, by whatever does not play
// the recording through a take.
func (s streams) held(list ...*board.Chain) { s.remark(board.Held(list...)) }

// remark is a long say, in lines; nothing where there is nothing to say.
func (s streams) remark(text string) {
	if text != "" {
		paragraph(s.err, "drywire: ", text, width)
	}
}

// checkJack is a jack's name as the flag of that name.
func checkJack(f *chainFile, c *board.Chain, flag, jack string) error {
	if jack == "out" && c.Stereo() {
		return misusef("%s: take %q ends in two jacks, out.left and out.right: choose one with --%s", f.Text.Name, c.Take, flag)
	}
	if err := c.Jack(jack); err != nil {
		return misuse{fmt.Errorf("%s: %w", f.Text.Name, err)}
	}
	return nil
}

// object prints a JSON object.
func (s streams) object(v any) error {
	enc := json.NewEncoder(s.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

func runNoise(s streams, o noiseOptions) error {
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	if o.jack != "out" {
		if err := checkJack(f, c, "at", o.jack); err != nil {
			return err
		}
	}
	if err := s.affordNoise(f, c, o.jack); err != nil {
		return err
	}
	r, err := experiment.Noise(c, anyRate, o.jack)
	if err != nil {
		return err
	}
	if o.json {
		return s.object(r)
	}
	printNoise(s, c, r, o.all)
	return nil
}

func printNoise(s streams, c *board.Chain, r *experiment.NoiseReport, all bool) {
	s.printf("Take: %s\n", r.Take)
	paragraph(s.out, "  ", orderText(c), 98)
	paragraph(s.out, "", fmt.Sprintf("Noise at %s, when nobody plays: %s dBu A-weighted (%s), %s dBu from 20 Hz to 20 kHz",
		r.Jack, r.ADBu.Text(1), volts(r.AVolts), r.DBu.Text(1)), width)
	if r.Open != nil {
		when := "That is with gates closed. While one plays and they are open"
		if len(r.Near) > 0 { // which may be what opens them
			when = "While one plays and gates are open"
		}
		s.printf("%s: %s dBu A-weighted\n", when, r.Open.ADBu.Text(1))
	}
	if len(r.Near) > 0 {
		paragraph(s.out, "", "Hiss and hum alone are loud enough to open or to clip "+strings.Join(r.Near, ", ")+", so they were played through the board and not added up. A share is what goes away without its source; shares need not add up.", width)
	}
	if r.Apart != nil {
		s.printf("Not in it, since nobody in the room hears it: %s dBu A-weighted of the microphone and its input\n", r.Apart.ADBu.Text(1))
	}

	s.printf("\n")
	t := table{header: []string{"source", " A-weighted\ndBu", " 20 Hz-20 kHz\ndBu", " share\n%", "largest part"}}
	rest, few := 0.0, 0
	for _, b := range r.Blocks {
		if !all && b.Share < fewShare {
			rest, few = rest+b.Share, few+1
			continue
		}
		at := slices.IndexFunc(r.Sources, func(n experiment.NoiseSource) bool { return n.Block == b.Name })
		t.row(clip(b.Name, 24), b.ADBu.Text(1), b.DBu.Text(1), percentText(b.Share), clip(sourceText(r.Sources[at]), 36))
	}
	t.print(s.out)
	if few > 0 {
		s.printf("and %s with %s %% together\n", plural(few, "other", "others"), percentText(rest))
	}

	if all {
		s.printf("\nEvery part\n")
		t = table{header: []string{"part", "cause", " A-weighted\ndBu", " share\n%"}}
		for _, n := range r.Sources {
			t.row(clip(n.Element, 40), causes[n.Cause], n.ADBu.Text(1), percentText(n.Share))
		}
		t.print(s.out)
	}

	if len(r.Moves) > 0 {
		s.printf("\nIf one block were moved: change of the noise, of the gain at 1 kHz, and noise less gain (net)\n")
		t = table{header: []string{"block", "where", " noise\ndB", " gain\ndB", " net\ndB"}}
		moves := slices.Clone(r.Moves)
		slices.SortStableFunc(moves, func(a, b experiment.NoiseMove) int {
			return cmp.Compare(a.NoiseDB-a.GainDB, b.NoiseDB-b.GainDB)
		})
		most := mostMoves
		if all {
			most = len(moves)
		}
		for _, m := range moves[:min(most, len(moves))] {
			t.row(clip(m.Block, 24), clip(m.Where, 32), change(m.NoiseDB), change(m.GainDB), change(m.NoiseDB-m.GainDB))
		}
		t.print(s.out)
		if more := len(moves) - most; more > 0 {
			s.printf("and %s, none of them better (--all has them)\n", plural(more, "move more", "moves more"))
		}
	}
	s.printf("\n")
	paragraph(s.out, "", verdict(r), 98)
}

// fewShare is the share of the noise under which a block is only counted.
const fewShare = 0.001

// mostMoves is how many moves are listed, best first.
const mostMoves = 6

// causes is what makes a noise, in words.
var causes = map[string]string{
	"thermal": "thermal noise", "shot": "shot noise", "input": "amplifier", "stage": "amplifiers", "converter": "converter", "hum": "mains hum", "ripple": "supply's ripple", "current": "input current", "flicker": "flicker noise",
}

// sourceText says in a player's words which part of a block it is.
func sourceText(n experiment.NoiseSource) string {
	inside := strings.TrimPrefix(n.Element, n.Block+".")
	switch {
	case n.Cause == "hum":
		return "mains hum in its pickup"
	case n.Block == "guitar" && strings.HasPrefix(inside, "volume"):
		return "its volume pot's own hiss"
	case n.Block == "guitar" && strings.HasPrefix(inside, "tone"):
		return "its tone pot's own hiss"
	case n.Block == "guitar":
		return "its pickup's own hiss"
	case n.Cause == "thermal":
		return "its resistors' own hiss"
	case n.Cause == "shot":
		return "its transistors or diodes"
	}
	return "its " + strings.TrimPrefix(causes[n.Cause], "its ")
}

func percentText(share float64) string {
	if share > 0 && share < 0.0005 {
		return "<0.1"
	}
	return fmt.Sprintf("%.1f", 100*share)
}

// change is a difference in dB with its sign.
func change(db float64) string {
	if text := fmt.Sprintf("%+.1f", db); text != "+0.0" && text != "-0.0" {
		return text
	}
	return "0.0"
}

// verdict answers the question in a sentence or two.
func verdict(r *experiment.NoiseReport) string {
	if len(r.Blocks) == 0 || !r.ADBu.OK() {
		return "Nothing makes noise here."
	}
	first := r.Blocks[0]
	text := fmt.Sprintf("What you hear when you stop playing is mostly %s: %s %% of the noise.", quotedName(first.Name), percentText(first.Share))
	if len(r.Moves) == 0 {
		return text
	}
	m, ok := r.Quieter()
	if !ok {
		return text + " No move of one block lowers it without taking as much of the gain."
	}
	return text + fmt.Sprintf(" Moving %s %s changes the noise by %s dB and the gain by %s dB: %.1f dB quieter at the same loudness of soft notes.",
		m.Block, m.Where, change(m.NoiseDB), change(m.GainDB), m.GainDB-m.NoiseDB)
}

func quotedName(block string) string {
	switch block {
	case "guitar", "load":
		return "the " + block
	case "cables":
		return "the cables"
	}
	return fmt.Sprintf("%q", block)
}
