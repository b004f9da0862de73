package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
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
	json, noTones, all                          bool
}

func measureCommand(s streams) *cobra.Command {
	var o measureOptions
	cmd := &cobra.Command{
		Use:   "measure FILE",
		Short: "Measure a take at every jack: levels, noise, headroom, distortion, dynamics",
		Long: fmt.Sprintf(`Measure renders a take and reads, at every jack, what the meters say. It writes no file, and reads
the first %v of the recording. A test tone takes the recording's place for distortion and for the
dynamics at out, which are rendered at draft quality.

It says first where the playing breaks up. Of a chain with many jacks it then shows what goes into
each block and what comes out at the end; --all shows every jack, and what a tone makes there.

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
	cmd.Flags().BoolVar(&o.all, "all", false, "every jack, with the spectral centroid, the distortion and the ceilings there")
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
	printMeasures(s, m, o.bands, o.all)
	return nil
}

// fewJacks is how many are shown all, with all that is measured at them: a screen of them.
const fewJacks = 14

func printMeasures(s streams, m *experiment.Measures, bands string, all bool) {
	s.printf("\n")
	var blocks []string
	var headroom []measures.Figure
	for _, j := range handedOver(m.Jacks) {
		blocks, headroom = append(blocks, j.CeilingOf), append(headroom, j.Of(measures.Headroom))
	}
	if said := breaksUp(blocks, headroom); said != "" {
		paragraph(s.out, "", said, width)
		s.printf("\n")
	}
	list := measures.Printed(measures.AtJacks(), m.Jacks[0].Values)
	jacks, last := m.Jacks, []string{"leads into"}
	few := !all && len(jacks) > fewJacks
	if few {
		jacks, last = handedOver(jacks), nil
		list = slices.DeleteFunc(slices.Clone(list), func(m *measures.Measure) bool { return !slices.Contains(onScreen, m) })
	}
	t := table{header: slices.Concat([]string{"at"}, headings(list), last)}
	for _, j := range jacks {
		row := append([]string{clip(j.Jack, 18)}, texts(list, j.Values)...)
		if !few {
			row = append(row, clip(cmp.Or(j.CeilingOf, "-"), 14))
		}
		t.row(row...)
	}
	t.within(s.out, width)
	if few {
		s.printf("All %d jacks, and what a tone makes there: --all\n", len(m.Jacks))
	}

	printDynamics(s, m)

	for k, one := range m.Switched {
		if k == 0 {
			s.printf("\nChanging presets\n")
		}
		paragraph(s.out, "  ", one.Sentence(), 98)
	}

	why := map[string]bool{}
	for _, j := range jacks {
		for _, v := range j.Values {
			if !slices.Contains(list, v.Measure) {
				continue
			}
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

// onScreen is what is shown of many jacks.
var onScreen = []*measures.Measure{
	measures.PeakVolts, measures.PeakDBu, measures.RMSDBu, measures.Crest, measures.Loudness, measures.NoiseA, measures.SignalToNoiseA,
	measures.CleanHeadroom, measures.Headroom, measures.OverShare,
}

// handedOver is what goes into blocks and what comes out at the end: an output and the input that it
// is plugged into differ by a patch cable.
func handedOver(all []experiment.JackMeasures) []experiment.JackMeasures {
	return slices.DeleteFunc(slices.Clone(all), func(j experiment.JackMeasures) bool {
		return !strings.HasSuffix(j.Jack, ".in") && j.Jack != "out" && !strings.HasPrefix(j.Jack, "out.")
	})
}

// breaksUp says which blocks break up at the loudest of the recording, given the headroom in front
// of each: the furthest over its ceiling first. "" where none has a ceiling, or nothing sounds.
func breaksUp(blocks []string, headroom []measures.Figure) string {
	var over []int
	asked := false
	for k, room := range headroom {
		asked = asked || room.OK()
		if room.OK() && room.Value < 0 {
			over = append(over, k)
		}
	}
	switch {
	case !asked:
		return ""
	case len(over) == 0:
		return "Nothing breaks up: every peak stays under the ceiling of what it goes into."
	}
	slices.SortStableFunc(over, func(a, b int) int { return cmp.Compare(headroom[a].Value, headroom[b].Value) })
	var parts []string
	for _, k := range over {
		parts = append(parts, fmt.Sprintf("%s (%.1f dB over its ceiling)", blocks[k], -headroom[k].Value))
	}
	return "Breaks up at its loudest: " + strings.Join(parts, ", ") + "."
}

// printDynamics prints how the take answers to how hard one plays, where there was a test tone.
func printDynamics(s streams, m *experiment.Measures) {
	if m.Tone == (dsp.Tone{}) {
		return
	}
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
