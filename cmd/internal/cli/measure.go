package cli

import (
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains"
	"drywire/chains/experiment"
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
		Long: fmt.Sprintf(`Measure renders a take and reads, at every jack, what the meters say: peak, average (RMS) and crest
factor, loudness (ITU-R BS.1770, 1 V as full scale), noise (see drywire noise) and how far the
signal is above it, headroom, third octaves (IEC 61260-1) and spectral centroid. It writes no file,
and reads the first %v of the recording.

Headroom is from the peak up to the ceiling of the block that the jack leads into: the peak of a
steady 1 kHz tone that comes out of that block with 1 %% of distortion. Negative is over it; the
share is how much of the time.

A test tone takes the recording's place for distortion: THD (to the 10th harmonic), THD+N (AES17,
with the noise at rest) and intermodulation (IEC 60268-3: 60 Hz and 7 kHz, 4 to 1; 8 and 11.95 kHz),
all with the tone's peak; and for the dynamics at out:
  level curve   output against input, every 6 dB
  compression   by how much less the output rises over the last 12 dB
  sustain       time for 20 dB of a note that falls by 20 dB in 2 s at the source
  clean-up      by how much the distortion falls from the guitar's volume 10 to 2

--json prints one object in place of the tables:
  take, order, quality, rate_hz, seconds, tone: hz, volts (peak)
  held (where knobs move: which are taken where they are at 0 s, but for the recording itself)
  jacks: jack, peak_volts, peak_dbv (of the peak), rms_volts, rms_dbv, rms_dbu, crest_db,
    loudness_lufs, noise_dbu, noise_a_dbu, signal_to_noise_db, signal_to_noise_a_db,
    ceiling_of, ceiling_volts, headroom_db, over_share (0 to 1), centroid_hz,
    third_octaves: hz, dbv;
    thd_percent, thd_n_percent, modulation_percent, difference_percent
  dynamics: curve: in_dbv, out_dbv; compression_db, sustain_seconds, source_falls_seconds,
    clean_up_db, thd_full and thd_rolled (percent, volume 10 and 2), roll_down_db
What cannot be measured is {"not_measurable": "why"}.`, quantity(produce.MostMeasured, dsp.Seconds)),
		Example: `  drywire measure my-chain.yaml --take buffered
  drywire measure my-chain.yaml --bands out --tone "330 Hz 100 mV"`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runMeasure(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.tone, "tone", fmt.Sprintf("%g Hz %g mV", experiment.TestTone.Hz, 1e3*experiment.TestTone.Volts), "frequency and peak `level` of the test tone")
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
func measureTake(ctx context.Context, c *chains.Chain, r *produce.Recording, q section.Quality, x []float64, tone experiment.Tone) (*experiment.Measures, error) {
	w := c.Plan(r.Rate, q)
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
	var tone experiment.Tone
	if !o.noTones {
		t, err := parseTone(o.tone)
		if err != nil {
			return err
		}
		tone = experiment.Tone{Hz: float64(t.Frequency), Volts: float64(t.Level)}
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
	r := f.Dry
	if c, _, err = f.take(c.Take); err != nil { // with the recording in it
		return err
	}
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
	f.describe(s)
	printMeasures(s, m, o.bands)
	return nil
}

func printMeasures(s streams, m *experiment.Measures, bands string) {
	s.printf("\n")
	t := table{header: []string{"at", " peak\nV", " peak\ndBV", " RMS\ndBu", " crest\ndB", " loudness\nLUFS", " noise\ndBu(A)", " above noise\ndB(A)", " headroom\ndB", " over it\n%"}}
	for _, j := range m.Jacks {
		over := "-"
		if j.OverShare.OK() {
			over = fmt.Sprintf("%.1f", 100*j.OverShare.Value)
		}
		t.row(clip(j.Jack, 18), significant(j.PeakVolts), j.PeakDBV.Text(1), j.DBu.Text(1), j.CrestDB.Text(1), j.Loudness.Text(1), j.NoiseADBu.Text(1), j.SNRA.Text(1), j.HeadroomDB.Text(1), over)
	}
	t.print(s.out)

	s.printf("\n")
	t = table{header: []string{"at", " centroid\nHz", " THD\n%", " THD+N\n%", " 60 Hz + 7 kHz\n%", " 8 + 11.95 kHz\n%", "leads into", " ceiling\nV peak"}}
	for _, j := range m.Jacks {
		ceiling := "-"
		if j.CeilingVolts.OK() {
			ceiling = significant(j.CeilingVolts.Value)
		}
		into := j.CeilingOf
		if into == "" {
			into = "-"
		}
		t.row(clip(j.Jack, 18), j.CentroidHz.Text(0), share(j.THD), share(j.THDN), share(j.Modulation), share(j.Difference), clip(into, 14), ceiling)
	}
	t.print(s.out)

	if m.Tone != (experiment.Tone{}) {
		d := m.Dynamics
		s.printf("\nDynamics at out, for a tone of %s and %s peak\n", quantity(m.Tone.Hz, dsp.Hertzes), volts(m.Tone.Volts))
		in, out := "  in  dBV", "  out dBV"
		for _, p := range d.Curve {
			in += fmt.Sprintf("%7.1f", p.InDBV)
			out += fmt.Sprintf("%7s", p.OutDBV.Text(1))
		}
		s.printf("%s\n%s\n", in, out)
		line := func(what string, f experiment.Figure, digits int, unit, about string) {
			value := f.Text(digits) + " " + unit
			if !f.OK() {
				value, about = "not measurable: "+f.Why, ""
			}
			paragraph(s.out, fmt.Sprintf("  %-12s ", what), strings.TrimSpace(value+about), 98)
		}
		compression, last := d.Compression, " of the last 12 dB"
		if below(compression) {
			compression.Value, last = -compression.Value, " more than the last 12 dB: it expands"
		}
		line("compression", compression, 1, "dB", last)
		line("sustain", d.Sustain, 2, "s", fmt.Sprintf(" for 20 dB; the source takes %.2f s", d.SourceFalls))
		cleanUp, word := d.CleanUp, "less"
		if below(cleanUp) {
			cleanUp.Value, word = -cleanUp.Value, "more"
		}
		line("clean-up", cleanUp, 1, "dB", fmt.Sprintf(" %s distortion at guitar volume 2 (%s %%) than at 10 (%s %%)", word, share(d.RolledTHD), share(d.FullTHD)))
	}

	why := map[string]bool{}
	for _, j := range m.Jacks {
		for _, f := range []experiment.Figure{j.DBu, j.Loudness, j.SNR, j.CentroidHz, j.THD, j.THDN, j.Modulation, j.Difference} {
			if !f.OK() && !why[f.Why] && f.Why != experiment.NoTone {
				if len(why) == 0 {
					s.printf("\n")
				}
				why[f.Why] = true
				paragraph(s.out, "not measurable (-): ", f.Why, 98)
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
	t := table{header: []string{" Hz", " RMS\ndBV", "from 60 dB under the highest"}}
	for _, b := range j.ThirdOctaves {
		length := 0
		if b.DBV.OK() {
			length = max(0, int(math.Round(b.DBV.Value-top+60)))
		}
		t.row(significant(b.Hz), b.DBV.Text(1), strings.Repeat("▪", length))
	}
	t.print(s.out)
}

// below says whether a figure is printed with a minus.
func below(f experiment.Figure) bool { return f.OK() && strings.HasPrefix(f.Text(1), "-") }

// significant is a number with three digits.
func significant(v float64) string {
	if v == 0 {
		return "0"
	}
	if v < 1e-3 {
		return fmt.Sprintf("%.2g", v)
	}
	return fmt.Sprintf("%.*f", max(0, 2-int(math.Floor(math.Log10(math.Abs(v))))), v)
}

// share is a percentage.
func share(f experiment.Figure) string {
	switch {
	case !f.OK():
		return "-"
	case f.Value < 0.001:
		return "<0.001"
	}
	return significant(f.Value)
}
