package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
)

type responseOptions struct {
	file, take, jack string
	json             bool
}

func responseCommand(s streams) *cobra.Command {
	var o responseOptions
	cmd := &cobra.Command{
		Use:   "response FILE",
		Short: "Show the response from the pickup to a jack, and the loading losses on the way",
		Long: `Response is the gain from the pickup's own voltage to a jack, by frequency, for signals so small
that nothing distorts or compresses; where an echo or a reverb is on the way, its comb ripple
is averaged.

Below it are the loading losses at every jack on the way: by how many dB the voltage would be higher
if the next input drew no current, and if the cable had no length. A negative loss is a gain: a
cable lowers a pickup's resonance to where it lifts the treble.

Of a take that ends in two, it prints both ends where --at names none.

--json prints one object in place of the tables:
  take, order, jack, held (where knobs move: which are taken where they are at 0 s)
  points: hz, gain_db       from 20 Hz to 20 kHz, 24 to the octave
  peak: hz, gain_db         the highest of them
  middle_db                 at 1 kHz
  low_hz, high_hz           between which it is no more than 3 dB under that
  losses: jack, source_ohm (without the cable), input_ohm (both at 1 kHz), cable_metres,
    at: hz, input_db, cable_db, both_db
What has no value is {"not_measurable": "why"}.`,
		Example: `  drywire response my-chain.yaml --at fuzz.in
  drywire response my-chain.yaml --take buffered --json > response.json`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(_ *cobra.Command, args []string) error {
			o.file = args[0]
			return runResponse(s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.jack, "at", "out", "the `JACK` that the response leads to")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	complete(cmd, "take", completeTake)
	complete(cmd, "at", completeJack)
	return cmd
}

func runResponse(s streams, o responseOptions) error {
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	jacks := []string{o.jack}
	if o.jack == "out" {
		jacks = c.Ends()
	}
	var all []*experiment.ResponseReport
	for _, jack := range jacks {
		if err := checkJack(f, c, "at", jack); err != nil {
			return err
		}
		r, err := experiment.Response(c, anyRate, jack)
		if err != nil {
			return err
		}
		all = append(all, r)
	}
	switch {
	case o.json && len(all) > 1:
		return s.object(all)
	case o.json:
		return s.object(all[0])
	}
	s.printf("Take: %s\n", c.Take)
	paragraph(s.out, "  ", orderText(c), 98)
	for k, r := range all {
		if k > 0 {
			s.printf("\n")
		}
		printResponse(s, r)
	}
	printLosses(s, all[0])
	return nil
}

// shown is the frequencies of the table: the octaves around 1 kHz, and what is between in the
// treble, where pickups differ. IEC 61260-1's nominal ones.
var shown = []float64{31.5, 63, 125, 250, 500, 1000, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000}

func printResponse(s streams, r *experiment.ResponseReport) {
	s.printf("From the pickup's own voltage to %s: %s dB at 1 kHz", r.Jack, r.Middle.Text(1))
	if r.Peak.GainDB.OK() && r.Middle.OK() {
		s.printf(", highest %s dB at %s", r.Peak.GainDB.Text(1), quantity(r.Peak.Hz, dsp.Hertzes))
	}
	if r.Middle.OK() {
		s.printf("\nWithin 3 dB of 1 kHz from %s to %s", edgeText(r.Low), edgeText(r.High))
	}
	s.printf("\n\n")

	const bar = 60
	low, high := math.Inf(1), math.Inf(-1)
	gains := make([]measures.Figure, len(shown))
	for k, hz := range shown {
		gains[k] = gainAt(r.Points, hz)
		if gains[k].OK() {
			low, high = math.Min(low, gains[k].Value), math.Max(high, gains[k].Value)
		}
	}
	low = math.Min(low, high-12) // a flat response looks flat
	span := fmt.Sprintf("%.0f dB to %.0f dB", low, high)
	if math.IsInf(high, 0) {
		span = "nothing"
	}
	t := table{header: []string{" Hz", " gain\ndB", span}}
	for k, hz := range shown {
		length := 0
		if gains[k].OK() {
			length = 1 + int(math.Round((gains[k].Value-low)/(high-low)*(bar-1)))
		}
		t.row(fmt.Sprintf("%g", hz), gains[k].Text(1), strings.Repeat("▪", length))
	}
	t.print(s.out)
}

func printLosses(s streams, r *experiment.ResponseReport) {
	s.printf("\nLoading losses, in dB: of the input with the cable in place, of the cable with the input in place\n")
	header := []string{"into", " source\nΩ", " input\nΩ", " cable\nm"}
	for _, hz := range experiment.LossFrequencies {
		header = append(header, fmt.Sprintf(" %s\ninput", quantity(hz, dsp.Hertzes)), " \ncable")
	}
	t := table{header: header}
	for _, l := range r.Losses {
		row := []string{clip(l.Jack, 20), ohms(complex(l.Source, 0)), ohms(complex(l.Input, 0)), fmt.Sprintf("%.3g", l.Cable)}
		for _, p := range l.At {
			row = append(row, p.Input.Text(1), p.Cable.Text(1))
		}
		t.row(row...)
	}
	t.print(s.out)
}

func edgeText(f measures.Figure) string {
	if !f.OK() {
		return f.Why
	}
	return quantity(f.Value, dsp.Hertzes)
}

// gainAt is the gain at a frequency between two points, on a straight line in dB over the logarithm
// of the frequency.
func gainAt(points []experiment.ResponsePoint, hz float64) measures.Figure {
	for k := 1; k < len(points); k++ {
		a, b := points[k-1], points[k]
		if hz < a.Hz || hz > b.Hz {
			continue
		}
		if !a.GainDB.OK() || !b.GainDB.OK() {
			return measures.Figure{Why: "nothing comes through"}
		}
		part := math.Log(hz/a.Hz) / math.Log(b.Hz/a.Hz)
		return measures.Figure{Value: a.GainDB.Value + part*(b.GainDB.Value-a.GainDB.Value)}
	}
	return measures.Figure{Why: "out of range"}
}
