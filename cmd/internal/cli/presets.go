package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/samples"
)

type presetsOptions struct {
	file, recording, quality, out string
	seconds                       float64
	all, json                     bool
}

func presetsCommand(s streams) *cobra.Command {
	var o presetsOptions
	cmd := &cobra.Command{
		Use:   "presets FILE",
		Short: "Say how loud the presets of a switcher are, and which trims make them equal",
		Long: fmt.Sprintf(`Presets renders every preset of a chain file through the file's order and lists its loudness, its
noise at rest and its distortion on the guitar that it is for, and the jumps in loudness from one
preset to another, with the tails that are cut off; with --all the same on every guitar of the file.
Then it looks for trims at the switcher's output that bring all presets to the loudness of the one
in the middle, or to the nearest one that all can reach, renders them with these, and
prints them, ready to paste.

Loudness: ITU-R BS.1770, integrated, of the beginning of the recording, with 1 V as full scale.
Noise: A-weighted, when nobody plays. Distortion: THD of %v at %v peak. What
is played on another guitar is the same recording through that guitar's pickup, controls and cable,
unless that guitar has a recording of its own.
A trim of 0 dB is a wire; any other is an amplifier with rails and noise of its own.

With -o, every preset is written into a folder as 24-bit WAV files, NN-preset.wav and
NN-preset-trimmed.wav, all with one gain, as they follow each other on stage. They are as long as
what was rendered; what sounds on after it is cut.

--json prints one object in place of the tables:
  title, quality, rate_hz, seconds, by_rms (too short for a loudness: levels are RMS)
  held (where knobs move: which are taken where they are at 0 s for noise and distortion)
  presets: name, order, trim_db, and as in guitars
  jumps: from, to, lu, cuts, cuts_back                  of every two, largest first
  spread                                                from the softest to the loudest, LU
  trims: target_lufs, presets (name, db, level), spread_lu, within
  guitars: preset, guitar ("" for the file's own), level_lufs, peak_volts, noise_a_dbu, thd_percent
What has no value is {"not_measurable": "why"}.`, quantity(float64(measures.TestTone.Hz), dsp.Hertzes), volts(float64(measures.TestTone.Volts))),
		Example: `  drywire presets my-board.yaml
  drywire presets my-board.yaml --all
  drywire presets my-board.yaml -o presets --recording arpeggio`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runPresets(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "a `DIR` to write the presets into; made where there is none")
	cmd.Flags().Float64Var(&o.seconds, "seconds", produce.MostMeasured, "how much of the recording is rendered, from its beginning, in seconds")
	cmd.Flags().BoolVar(&o.all, "all", false, "every preset on every guitar, and every jump")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "output", completeFolder)
	complete(cmd, "seconds", cobra.NoFileCompletions)
	return cmd
}

func runPresets(ctx context.Context, s streams, o presetsOptions) error {
	if !(o.seconds >= 0.1 && o.seconds <= 600) {
		return misusef("--seconds %v: want 0.1 to 600", o.seconds)
	}
	f, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	x, err := f.Beginning(ctx, o.seconds)
	if err != nil {
		return err
	}
	bench, err := experiment.NewPresetBench(f.File, x, f.Dry.Rate, q)
	if err != nil {
		return fmt.Errorf("%s: %w", f.Text.Name, err)
	}
	p, err := bench.Run(ctx, o.all || o.json)
	if err != nil {
		return err
	}
	s.remark(p.Held)
	var written []string
	if o.out != "" {
		out, err := openFolder(s.disk, o.out)
		if err != nil {
			return err
		}
		defer out.abort()
		if written, err = writePresets(ctx, bench, p, f, out); err != nil {
			return err
		}
		if err := f.unchanged(); err != nil {
			return err
		}
		if err := out.publish(); err != nil {
			return err
		}
	}
	if o.json {
		return s.object(p)
	}
	s.printf("%s\n", titleOf(f))
	var played []*board.Chain
	for _, m := range presented(p) {
		played = append(played, f.OnPreset(m.Preset, cmp.Or(m.Guitar, board.OwnGuitar), nil))
	}
	f.describe(s, played...)
	printPresets(s, f, p, o.all)
	if written != nil {
		s.printf("\nWrote %s into %s, all with one gain:\n", plural(len(written), "file", "files"), o.out)
		for _, name := range written {
			s.printf("  %s\n", name)
		}
	}
	return nil
}

// presented is every preset as it was measured, once for each guitar.
func presented(p *experiment.Presets) (all []experiment.GuitarPreset) {
	for _, m := range p.Presets {
		all = append(all, m.GuitarPreset)
	}
	return append(all, p.Guitars...)
}

// writePresets writes every preset as it is and with its new trim, all with the gain that brings
// the loudest to the level of takes for listening, or less where the highest peak would pass its
// ceiling.
func writePresets(ctx context.Context, b *experiment.PresetBench, p *experiment.Presets, f *chainFile, out *outputs) ([]string, error) {
	type sound struct {
		name  string
		chain *board.Chain
	}
	var sounds []sound
	gain := math.Inf(1)
	for k, m := range p.Presets {
		name := fileName(k+1, len(p.Presets), m.Name)
		sounds = append(sounds, sound{name, f.OnPreset(m.Name, "", nil)})
		if m.PeakVolts > 0 {
			gain = min(gain, dsp.FromDB(experiment.Ceiling)/m.PeakVolts)
		}
		if m.Level.OK() {
			gain = min(gain, dsp.FromDB(experiment.Target-m.Level.Value))
		}
		if p.Trims.Why == "" {
			trim := p.Trims.Trims[k]
			sounds = append(sounds, sound{strings.TrimSuffix(name, ".wav") + "-trimmed.wav", f.OnPreset(m.Name, "", &trim.DB)})
			gain = min(gain, dsp.FromDB(experiment.Ceiling)/m.PeakVolts/dsp.FromDB(max(0, trim.DB-m.Trim)))
		}
	}
	if math.IsInf(gain, 1) {
		gain = 1
	}
	var names []string
	for _, one := range sounds {
		ends, err := b.Ends(ctx, one.chain)
		if err != nil {
			return nil, err
		}
		frames := int64(len(ends[0]))
		wav, err := out.wav(one.name, samples.Format{Rate: int(f.Dry.Rate), Channels: len(ends), Bits: 24}, frames, f.inputs()...)
		if err != nil {
			return nil, err
		}
		shape := experiment.Shape{Gain: gain, Fade: int(math.Round(float64(produce.FadeTime) * float64(f.Dry.Rate))), Frames: frames}
		shaped := make([][]float64, len(ends))
		for k, x := range ends {
			shaped[k] = make([]float64, len(x))
			shape.Apply(shaped[k], x, 0)
		}
		if err := wav.Write(shaped...); err != nil {
			return nil, err
		}
		names = append(names, one.name)
	}
	return names, nil
}

// mostJumps is how many jumps are listed, unless all are asked for.
const mostJumps = 5

func printPresets(s streams, f *chainFile, p *experiment.Presets, all bool) {
	unit, step := "LUFS", "LU"
	if p.ByRMS {
		unit, step = "dB RMS", "dB"
	}
	heads := headings([]*measures.Measure{measures.NoiseAtEnd, measures.ToneTHD})
	noise, distortion := heads[0], heads[1]
	s.printf("\n")
	if len(p.Jumps) > 0 && math.Abs(p.Jumps[0].LU) >= experiment.PresetSpread {
		j := p.Jumps[0]
		text := fmt.Sprintf("The worst change is from %s to %s: %s %s", j.From, j.To, change(j.LU), step)
		if len(j.Cuts) > 0 {
			text += ", and what rings in " + strings.Join(j.Cuts, ", ") + " is cut off"
		}
		paragraph(s.out, "", text+fmt.Sprintf(". While the relays move, %.0f ms of silence.", 1e3*render.RelayGap), width)
		s.printf("\n")
	}
	t := table{header: []string{"preset", " trim\ndB", " level\n" + unit, " peak\nV", noise, distortion, "through"}}
	for _, m := range p.Presets {
		name := clip(m.Name, 24)
		if m.Guitar != "" {
			name += ", on " + m.Guitar
		}
		t.row(name, decibels(m.Trim), m.Level.Text(1), voltage(m.PeakVolts), measures.NoiseAtEnd.Format(m.NoiseDBu), measures.ToneTHD.Format(m.Distortion), clip(strings.Join(soundsOf(f, m.Name), ", "), 40))
	}
	t.print(s.out)

	for _, m := range p.Presets {
		if !m.Distortion.OK() {
			s.printf("-  distortion of %s: not measurable: %s\n", quotedName(m.Name), m.Distortion.Why)
		}
	}
	if len(p.Jumps) > 0 {
		s.printf("\nFrom one preset to another\n")
		t = table{header: []string{"from", "to", " change\n" + step, "cut off there", "and back"}}
		shown := p.Jumps
		if !all {
			shown = shown[:min(mostJumps, len(shown))]
		}
		for _, j := range shown {
			t.row(clip(j.From, 20), clip(j.To, 20), change(j.LU), clip(orDash(j.Cuts), 20), clip(orDash(j.CutsBack), 20))
		}
		t.print(s.out)
		if n := len(p.Jumps) - len(shown); n > 0 {
			s.printf("and %d smaller ones: --all\n", n)
		}
	}

	if all && len(p.Guitars) > len(p.Presets) {
		s.printf("\nOn every guitar\n")
		t = table{header: []string{"preset", "guitar", " level\n" + unit, " peak\nV", noise, distortion}}
		for _, g := range p.Guitars {
			name := g.Guitar
			if name == "" {
				name = "guitar"
			}
			t.row(clip(g.Preset, 24), clip(name, 24), g.Level.Text(1), voltage(g.PeakVolts), measures.NoiseAtEnd.Format(g.NoiseDBu), measures.ToneTHD.Format(g.Distortion))
		}
		t.print(s.out)
	}

	if !all && len(f.Guitars) > 0 {
		s.printf("\nThe other guitars: --all\n")
	}
	s.printf("\n")
	if p.Trims.Why != "" {
		paragraph(s.out, "", "No trims: "+p.Trims.Why+".", width)
		return
	}
	if p.Trims.Within {
		paragraph(s.out, "", fmt.Sprintf("With these trims all presets are within %.2f %s of each other (rendered with them), at %.1f %s:", p.Trims.Spread, step, p.Trims.Target, unit), width)
	} else {
		paragraph(s.out, "", fmt.Sprintf("No trims bring the presets within %.1f %s of each other. These come nearest, at %.2f %s (rendered with them); what stands behind the switcher is not linear, or a trim is at the end of its range:",
			experiment.PresetSpread, step, p.Trims.Spread, step), width)
	}
	s.printf("presets:\n")
	for _, trim := range p.Trims.Trims {
		s.printf("  %s\n", presetText(f, trim))
	}
}

// orDash is names in a row; a dash for none.
func orDash(names []string) string { return cmp.Or(strings.Join(names, ", "), "-") }

// presetText is a preset as the chain file has it, with another trim.
func presetText(f *chainFile, trim experiment.PresetTrim) string {
	name := trim.Name
	if !plainName.MatchString(name) {
		name = quoted(name)
	}
	at := slices.IndexFunc(f.Presets, func(p board.Preset) bool { return p.Name == trim.Name })
	var keys []string
	if p := f.Presets[at]; p.Loops != nil {
		keys = append(keys, "loops: ["+strings.Trim(strings.ReplaceAll(fmt.Sprint(p.Loops), " ", ", "), "[]")+"]")
	}
	var set []string
	for _, s := range f.Presets[at].Set {
		set = append(set, s.Target+": "+s.Text)
	}
	if set != nil {
		keys = append(keys, "set: {"+strings.Join(set, ", ")+"}")
	}
	keys = append(keys, "trim: "+decibels(trim.DB)+" dB")
	return name + ": {" + strings.Join(keys, ", ") + "}"
}

// plainName is a name that stands in a chain file as it is.
var plainName = regexp.MustCompile(`^[a-z][a-z0-9 -]*$`)

// soundsOf is the blocks that a preset goes through, without the switcher itself.
func soundsOf(f *chainFile, preset string) []string {
	var names []string
	for _, b := range f.OnPreset(preset, "", nil).Every() {
		if b.Piece == nil && !b.Off {
			names = append(names, b.Name)
		}
	}
	return names
}
