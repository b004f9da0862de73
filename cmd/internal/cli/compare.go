package cli

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/dsp"
	"drywire/dsp/section"
	"drywire/samples"
)

type compareOptions struct {
	file, recording, quality, out string
	json                          bool
}

func compareCommand(s streams) *cobra.Command {
	var o compareOptions
	cmd := &cobra.Command{
		Use:   "compare FILE -o DIR",
		Short: "Render all takes, matched in loudness, and measure them",
		Long: fmt.Sprintf(`Compare renders every take of a chain file and writes them into a folder as 24-bit WAV files,
NN-take-name.wav, for the ear to judge tone and not level: all of one loudness (ITU-R BS.1770,
%.0f LUFS, or lower where a true peak would pass %.0f dBTP), of one length, aligned to the sample,
with a fade of %v at either end; and report.html, a page to hear and see them side by side (see
drywire report). Files of those names are written over. Where a take ends in two paths, all files
have two channels, and what a player will hear is told from the mean of both.

The table gives what each take has at the last jack, in volts, before the gain that matched it. The
null is how far a take differs from the first, after matching: 0 dB is as much difference as signal,
-60 dB one part in a thousand. Then, for each pair of takes, it says what a player will hear, and
shows the measures that say so; and which cables to move on the floor from the first take to each of
the others, as few as can be.

--json prints one object in place of the table:
  title, quality, rate_hz
  recording: name, seconds, volts_per_unit (of a sample of 1), load, notes
  seconds       length of every file
  matched_by    "loudness", or "rms" where the files are under 0.4 s
  target_db     the common level: LUFS, or dB re full scale where matched by rms
  ceiling_dbtp  the highest true peak allowed
  limited_by    the take whose true peak lowered the target, "" for none
  takes: number, name, order, off, set, file,
    peak_volts, rms_volts, level_dbu        at the jack out, before the gain
    before_db     loudness before the gain, with 1 V as full scale
    gain_db       from volts to the file, with 1 V as full scale
    after_db, true_peak_dbtp                of the file
    matched       false for a silent take (under 1 µV)
    solver: parts (solved together), rate_hz, steps, divided (into smaller ones),
            max_iterations (of the worst), unconverged, residual_volts
    unconverged   steps whose voltages are wrong: should be 0
  nulls: a, b (numbers of takes), db (level of the difference re a), identical
  pairs: how b differs from a, matched and aligned: a, b,
    lag_samples, inverted (taken back for null_db), null_db
    level_lu                                before matching
    third_octaves: hz, db; bass_db (to 250 Hz), middle_db, treble_db (from 2 kHz)
    noise_db        A-weighted noise at rest, at equal loudness
    distortion_db, sustain_seconds          THD of a tone; time for 20 dB of a falling note
    hearing (ITU-R BS.1387): playback_db_spl (of full scale), probability (mean), share (of the
      moments that are heard), highest, bands (of bands_of) over the step
    log_spectral_mean_db, log_spectral_max_db
    heard           "mostly", "in places", "not heard", "identical", "not measurable"
    respects        level, tone, noise, distortion, decay: what is worth speaking of, clearest first
    sentence        what a player will hear
  cables: which to move on the floor to get from take a to take b: a, b,
    moves: block (that comes or goes), or from (not there for a cable that is added) and to (not
      there for one that is left over): out, in (jacks); ends (plugs that change), text
What has no value, as the level of silence, is null, and in pairs {"not_measurable": "why"}.`, experiment.Target, experiment.Ceiling, quantity(float64(fadeTime), dsp.Seconds)),
		Example: `  drywire compare my-chain.yaml -o takes
  drywire compare my-chain.yaml -o takes --recording arpeggio --json > takes.json`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runCompare(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the `DIR` to write the files into; made where there is none")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the table")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "output", completeFolder)
	return cmd
}

func runCompare(ctx context.Context, s streams, o compareOptions) error {
	if o.out == "" {
		return misusef("compare needs a folder to write into: -o DIR")
	}
	f, r, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	out, err := openFolder(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	found := &findings{}
	e, warnings, err := compareTakes(ctx, s, f, r, q, out, found, true)
	if err != nil {
		return err
	}
	if err := writeReport(out, reportName, f, r, e, found, nil); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	if o.json {
		if err := s.object(e); err != nil {
			return err
		}
	} else {
		s.printf("%s\n", titleOf(f))
		r.describe(s)
		s.printf("\n")
		printComparison(s, e)
		s.printf("\nWrote %s into %s:\n", plural(len(e.Takes), "file", "files"), o.out)
		for _, t := range e.Takes {
			s.printf("  %s\n", t.File)
		}
		s.printf("  %s, to hear and see them side by side\n", reportName)
	}
	warnings()
	return nil
}

// compareTakes renders all takes and, where files are wanted, writes them, matched; they wait for out to publish them. What the page shows beyond the
// comparison goes into found. warnings says what went wrong in the solver.
func compareTakes(ctx context.Context, s streams, f *chainFile, r *recording, q section.Quality, out *outputs, found *findings, files bool) (e *experiment.Comparison, warnings func(), err error) {
	all := f.Chains()
	s.held(all...)
	var longest dsp.Second
	for _, c := range all {
		longest = max(longest, c.Wire(r.rate, q).Tail())
	}
	channels := 1 // of every file: a take in mono beside one in stereo comes from both loudspeakers
	for _, c := range all {
		channels = max(channels, len(c.Ends()))
	}
	names := make([]string, len(all))
	wavs := make([]*samples.Writer, len(all))
	for k, c := range all {
		if !files {
			continue
		}
		names[k] = fileName(k+1, len(all), c.Take)
		var err error
		wavs[k], err = out.wav(names[k], samples.Format{Rate: int(r.rate), Channels: channels, Bits: 24}, takeFrames(r, longest), f.inputs(r)...)
		if err != nil {
			return nil, nil, err
		}
	}

	bar := newProgress(s.err, r.frames*int64(len(all)))
	defer bar.stop()
	takes := make([]*rendered, len(all))
	remarks := make([][]string, len(all))
	found.begin(len(all))
	defer func() {
		for _, d := range takes {
			if d != nil {
				d.close()
			}
		}
	}()
	each := func(work func(ctx context.Context, k int) error) error {
		g, ctx := errgroup.WithContext(ctx)
		g.SetLimit(runtime.GOMAXPROCS(0))
		for k := range all {
			g.Go(func() error { return work(ctx, k) })
		}
		return g.Wait()
	}
	if err := each(func(ctx context.Context, k int) error {
		render, err := renderer(all[k], r, q, all[k].Jacks()...)
		if err != nil {
			return err
		}
		jacks := newJackKeeper(all[k], r)
		if takes[k], err = keep(ctx, render, r, longest, out, bar, jacks.push); err != nil {
			return err
		}
		takes[k].channels = channels
		if remarks[k], err = found.measure(ctx, k, render.Wiring, jacks); err != nil {
			return err
		}
		return takes[k].settle(ctx, experiment.Target)
	}); err != nil {
		return nil, nil, err
	}
	settled := make([]experiment.Settled, len(takes))
	for k, d := range takes {
		settled[k] = d.settled
	}
	target, limited := experiment.Common(settled)
	if limited >= 0 {
		if err := each(func(ctx context.Context, k int) error { return takes[k].settle(ctx, target) }); err != nil {
			return nil, nil, err
		}
	}
	nulls, err := writeMatched(ctx, takes, wavs)
	if err != nil {
		return nil, nil, err
	}
	if err := found.listen(takes); err != nil {
		return nil, nil, err
	}
	found.page.Remarks = slices.Concat(remarks...)

	e = &experiment.Comparison{
		Title: f.Title, Quality: q.Name, Recording: r.data(), RateHz: int(r.rate), Seconds: float64(takes[0].frames) / float64(r.rate),
		MatchedBy: takes[0].matchedBy(), TargetDB: target, CeilingDB: experiment.Ceiling, Nulls: nulls,
	}
	if limited >= 0 {
		e.LimitedBy = all[limited].Take
	}
	for k, d := range takes {
		e.Takes = append(e.Takes, takeData(k+1, f.Takes[k], d, names[k]))
	}
	e.Cables = experiment.Rewirings(all)
	if err := pairTakes(ctx, e, takes); err != nil {
		return nil, nil, err
	}
	found.page.Pairs = e.Pairs
	return e, func() {
		for _, d := range takes {
			warn(s, d.wiring, d.reports)
			for _, w := range d.chain.Warnings() {
				s.remark(fmt.Sprintf("take %q: %s", d.chain.Take, w))
			}
			if d.chain.Split == nil {
				continue
			}
			if x, err := d.chain.Cancellation(ctx, d.wiring.Rate); err == nil && x.Cancels() {
				s.remark(fmt.Sprintf("take %q: the two paths cancel: %v", d.chain.Take, x))
			}
		}
	}, ctx.Err()
}

// writeMatched writes all takes for which there is a file in step, at their gains, and measures by how much they differ.
func writeMatched(ctx context.Context, takes []*rendered, wavs []*samples.Writer) ([]experiment.Null, error) {
	differences := experiment.NewDifferences(len(takes))
	players := make([]*player, len(takes))
	room := make([][][]float64, len(takes))
	for k, d := range takes {
		players[k], room[k] = d.play(), d.blocks()
	}
	channels := make([][][]float64, takes[0].channels) // of each, all takes
	for c := range channels {
		channels[c] = make([][]float64, len(takes))
	}
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for k, p := range players {
			x, err := p.nextOf(room[k], takes[k].shape(takes[k].settled.Gain))
			if err != nil {
				return nil, err
			}
			if x == nil { // all takes are of one length
				return differences.Nulls(), nil
			}
			for c := range channels {
				channels[c][k] = x[c]
			}
			if wavs[k] != nil {
				if err := wavs[k].Write(x...); err != nil {
					return nil, err
				}
			}
		}
		for _, c := range channels {
			differences.Push(c)
		}
	}
}

// takeData is a take's measures as data.
func takeData(number int, t chains.Take, d *rendered, file string) experiment.Take {
	finite := func(v float64) *float64 {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		v = math.Round(v*1e4)/1e4 + 0 // dB; finer says nothing; +0 so that -0 is 0
		return &v
	}
	gain := *finite(dsp.ToDB(d.settled.Gain))
	e := experiment.Take{
		Number: number, Name: d.chain.Take, Order: []string{}, Off: []string{}, Set: []string{}, File: file,
		PeakVolts: d.levels.Peak, RMSVolts: d.levels.RMS, LeveldBu: finite(dsp.VoltsToDBu(d.levels.RMS)),
		Before: finite(d.settled.Level - gain), GainDB: gain, After: finite(d.settled.Level), TruePeakDB: finite(dsp.ToDB(d.settled.TruePeak)),
		Matched: d.settled.Matched, Solver: []experiment.Section{}, Unconverged: unconverged(d.reports),
	}
	for _, b := range d.chain.Every() {
		e.Order = append(e.Order, b.Name)
		if b.Off {
			e.Off = append(e.Off, b.Name)
		}
	}
	for _, s := range t.Set {
		e.Set = append(e.Set, s.Target+": "+s.Text)
	}
	for _, p := range d.reports {
		e.Solver = append(e.Solver, experiment.Section{
			Parts: partsOf(d.wiring, p.Section), RateHz: float64(d.wiring.Rate) * float64(p.Factor), Steps: p.Steps, Divided: p.Divided,
			MaxIterations: p.MaxIterations, Unconverged: p.Failures, ResidualVolts: p.Residual,
		})
	}
	return e
}

// partsOf is what a section holds a jack of: the guitar, blocks, the load; or else the block that it is within.
func partsOf(w *chains.Wiring, node string) []string {
	parts := []string{}
	n := w.Section(node)
	for _, j := range w.Chain.Jacks() {
		part, _, _ := strings.Cut(j, ".")
		if part == "out" {
			part = "load"
		}
		if n != nil && n.HasNode(j) && !slices.Contains(parts, part) {
			parts = append(parts, part)
		}
	}
	if block, _, inside := strings.Cut(node, "."); inside && len(parts) == 0 {
		parts = append(parts, block)
	}
	return parts
}

// printComparison prints the tables.
func printComparison(s streams, e *experiment.Comparison) {
	printLevels(s, e)
	printSentences(s, e)
	printPairs(s, e)
	printCables(s, e.Cables)
	printSolver(s, e)
}

// printLevels prints the takes with what each has at the last jack, before the gain that matched it and after.
func printLevels(s streams, e *experiment.Comparison) {
	unit := "LUFS"
	if e.MatchedBy == "rms" {
		unit = "dB RMS"
	}
	t := table{header: []string{" #", "take", " peak\nV", " RMS\nV", " level\ndBu", " before\n" + unit, " gain\ndB", " after\n" + unit, " true peak\ndBTP", " null\ndB"}}
	unmatched := false
	for _, k := range e.Takes {
		null := "-"
		if n, ok := e.Of(1, k.Number); ok {
			if null = decibelsOf(n.DB); n.Identical {
				null = "same"
			}
		}
		gain := decibels(k.GainDB)
		if !k.Matched {
			unmatched, gain = true, gain+"!"
		}
		t.row(fmt.Sprint(k.Number), clip(k.Name, 30), voltage(k.PeakVolts), voltage(k.RMSVolts), decibelsOf(k.LeveldBu), decibelsOf(k.Before), gain,
			decibelsOf(k.After), decibelsOf(k.TruePeakDB), null)
	}
	t.print(s.out)
	s.printf("\nPeak, RMS and level at the jack out; before and gain with 1 V as full scale; after and true\npeak as written. Null: the difference to take 1 after matching.\n")
	if e.LimitedBy != "" {
		paragraph(s.out, "", fmt.Sprintf("All takes are at %s %s and not at %.0f: louder, %q would pass %.0f dBTP.",
			decibels(e.TargetDB), unit, experiment.Target, e.LimitedBy, experiment.Ceiling), width)
	}
	if e.MatchedBy == "rms" {
		s.printf("Matched by RMS: the files are too short for a loudness.\n")
	}
	if unmatched {
		s.printf("! not matched: silent (under 1 µV), or too little sound for a loudness.\n")
	}
}

// printSolver prints how the solver fared.
func printSolver(s streams, e *experiment.Comparison) {
	solver := table{header: []string{" #", "solved together", " rate\nkHz", " steps\n", " divided\nsteps", " most\niterations", " unconverged\nsteps"}}
	for _, k := range e.Takes {
		for _, p := range k.Solver {
			solver.row(fmt.Sprint(k.Number), clip(strings.Join(p.Parts, " + "), 38), fmt.Sprint(p.RateHz/1e3), grouped(p.Steps), grouped(p.Divided), fmt.Sprint(p.MaxIterations), grouped(p.Unconverged))
		}
	}
	if len(solver.rows) > 0 {
		s.printf("\n")
		solver.print(s.out)
	}
}

// printCables prints which cables to move from the first take to each of the others; takes that are wired alike share a line.
func printCables(s streams, list []experiment.Rewiring) {
	if len(list) == 0 {
		return
	}
	s.printf("\nCables to move on the floor, from take 1:\n")
	t := table{header: []string{" to take", " cables", " plugs", "what to do"}}
	told := map[int]bool{}
	for k, r := range list {
		if told[k] {
			continue
		}
		var to []string
		for j, o := range list[k:] {
			if r.Same(o) {
				told[k+j] = true
				to = append(to, fmt.Sprint(o.B))
			}
		}
		cables, plugs := r.Count()
		for n, m := range r.Moves {
			if n == 0 {
				t.row(clip(strings.Join(to, ", "), 20), fmt.Sprint(cables), fmt.Sprint(plugs), m.Text)
			} else {
				t.row("", "", "", m.Text)
			}
		}
		if len(r.Moves) == 0 {
			t.row(clip(strings.Join(to, ", "), 20), "0", "0", "Nothing: it is wired the same.")
		}
	}
	t.wrap(s.out, 100)
}

// voltage is a voltage in volts, for a column of them.
func voltage(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0.001:
		return strings.Replace(fmt.Sprintf("%.1e", v), "e-0", "e-", 1)
	case v < 1:
		return fmt.Sprintf("%.4f", v)
	}
	return fmt.Sprintf("%.3f", v)
}

// dirOf is a folder's name for messages, with what a path needs to be one.
func dirOf(path string) string { return filepath.Clean(path) + string(filepath.Separator) }
