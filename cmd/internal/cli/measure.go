package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
)

type measureOptions struct {
	file, take, recording, quality, tone, bands string
	json, noTones                               bool
}

func measureCommand(s streams) *cobra.Command {
	var o measureOptions
	cmd := &cobra.Command{
		Use:   "measure FILE",
		Short: "Measure a take at every jack: levels, noise, headroom, distortion, dynamics",
		Long: fmt.Sprintf(`Measure renders a take and reads, at every jack, what the meters say. It writes no file, and reads
the first %v of the recording. A test tone takes the recording's place for distortion and for the
dynamics at out, which are rendered at draft quality.

Tables have levels in dBu. --json prints one object in place of them; the end of a key is its unit:
  take, order, quality, rate_hz, seconds, tone: hz, volts (peak)
  held (where knobs move: which are taken where they are at 0 s, but for the recording itself)
  jacks: jack, ceiling_of (the block that it leads into), third_octaves (IEC 61260-1): hz, dbv; and
%s  dynamics: curve (output against input, every 6 dB): in_dbv, out_dbv; source_falls_seconds; and
%s  switched (where presets change): at_s, preset, gap_ms, click_db and treble_db (both re the
    peak of the playing)
What cannot be measured is {"not_measurable": "why"}.`, quantity(produce.MostMeasured, dsp.Seconds), measureList(measures.AtJacks()), measureList(measures.Dynamics())),
		Example: `  drywire measure my-chain.yaml --take buffered
  drywire measure my-chain.yaml --bands out --tone "330 Hz 100 mV"`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runMeasure(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.tone, "tone", fmt.Sprintf("%g Hz %g mV", float64(measures.TestTone.Hz), 1e3*float64(measures.TestTone.Volts)), "frequency and peak `level` of the test tone")
	cmd.Flags().BoolVar(&o.noTones, "no-tones", false, "leave out what needs a test tone, which is most of the time")
	cmd.Flags().StringVar(&o.bands, "bands", "", "print the third octaves at this `JACK`")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "take", completeTake)
	complete(cmd, "bands", completeJack)
	complete(cmd, "tone", cobra.NoFileCompletions)
	return cmd
}

// measureTake renders and measures a take. A zero tone leaves out what needs one.
func measureTake(ctx context.Context, c *board.Chain, r *produce.Recording, q section.Quality, x []float64, tone dsp.Tone) (*experiment.Measures, error) {
	w := render.PlanOf(c, r.Rate, q)
	signals, err := experiment.Rendered(ctx, w, x)
	if err != nil {
		return nil, err
	}
	return experiment.Measure(ctx, w, signals, tone)
}

func runMeasure(ctx context.Context, s streams, o measureOptions) error {
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	var tone dsp.Tone
	if !o.noTones {
		if tone, err = parseTone(o.tone); err != nil {
			return err
		}
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	if o.bands != "" {
		if err := checkJack(f, c, "bands", o.bands); err != nil {
			return err
		}
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	if c, _, err = f.take(c.Take); err != nil { // with the recording in it
		return err
	}
	r := f.DryOf(c)
	x, err := r.Beginning(ctx, produce.MostMeasured)
	if err != nil {
		return err
	}
	if r.Seconds() > produce.MostMeasured {
		s.say("drywire: measured the first %v of %.0f s", quantity(produce.MostMeasured, dsp.Seconds), r.Seconds())
	}
	m, err := measureTake(ctx, c, r, q, x, tone)
	if err != nil {
		return err
	}
	if o.json {
		return s.object(m)
	}
	s.printf("Take: %s\n", m.Take)
	paragraph(s.out, "  ", orderText(c), 98)
	f.describe(s, c)
	printMeasures(s, m, o.bands)
	return nil
}

func printMeasures(s streams, m *experiment.Measures, bands string) {
	if len(m.Jacks) > 0 {
		s.printf("\n")
		list := measures.Printed(measures.AtJacks(), m.Jacks[0].Values)
		t := table{header: append(append([]string{"at"}, headings(list)...), "leads into")}
		for _, j := range m.Jacks {
			t.row(append(append([]string{clip(j.Jack, 18)}, texts(list, j.Values)...), clip(cmp.Or(j.CeilingOf, "-"), 14))...)
		}
		t.within(s.out, width)
	}

	if m.Tone != (dsp.Tone{}) {
		d := m.Dynamics
		s.printf("\nDynamics at out, for a tone of %s and %s peak\n", quantity(float64(m.Tone.Hz), dsp.Hertzes), volts(float64(m.Tone.Volts)))
		in, out := "  in  dBu", "  out dBu"
		for _, p := range d.Curve {
			in += fmt.Sprintf("%7.1f", measures.ToDBu(measures.Figure{Value: p.InDBV}).Value)
			out += fmt.Sprintf("%7s", measures.ToDBu(p.OutDBV).Text(1))
		}
		s.printf("%s\n%s\n", in, out)
		for _, v := range d.Values {
			if v.Heading == "" {
				continue
			}
			text := "not measurable: " + v.Why
			if v.OK() {
				text = v.Format(v.Figure) + " " + v.Shown()
				if v.Says != nil {
					text = v.Says(text, d.Values)
				}
			}
			paragraph(s.out, fmt.Sprintf("  %-12s ", v.Heading), text, 98)
		}
	}

	for k, one := range m.Switched {
		if k == 0 {
			s.printf("\nChanging presets\n")
		}
		paragraph(s.out, "  ", one.Sentence(), 98)
	}

	why := map[string]bool{}
	for _, j := range m.Jacks {
		for _, v := range j.Values {
			// That a jack leads into nothing with ceilings goes without saying.
			if v.Heading != "" && !v.OK() && !why[v.Why] && v.Why != measures.NoTone && v.Why != j.Of(measures.Ceiling).Why && v.Why != j.Of(measures.Colour).Why {
				if len(why) == 0 {
					s.printf("\n")
				}
				why[v.Why] = true
				paragraph(s.out, "not measurable (-): ", v.Why, 98)
			}
		}
	}
	if bands == "" {
		return
	}
	for _, j := range m.Jacks {
		if j.Jack == bands {
			printBands(s, j)
		}
	}
}

func printBands(s streams, j experiment.JackMeasures) {
	s.printf("\nThird octaves at %s\n", j.Jack)
	top := math.Inf(-1)
	for _, b := range j.ThirdOctaves {
		if b.DBV.OK() {
			top = math.Max(top, b.DBV.Value)
		}
	}
	t := table{header: []string{" Hz", " RMS\ndBu", "from 60 dB under the highest"}}
	for _, b := range j.ThirdOctaves {
		length := 0
		if b.DBV.OK() {
			length = max(0, int(math.Round(b.DBV.Value-top+60)))
		}
		t.row(measures.Short(b.Hz), b.DBu().Text(1), strings.Repeat("▪", length))
	}
	t.print(s.out)
}
