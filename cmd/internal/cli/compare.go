package cli

import (
	"context"
	"fmt"
	"path/filepath"
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
	"drywire/samples"
)

type compareOptions struct {
	noiseless                     bool
	file, recording, quality, out string
	takes                         []string
	all, json                     bool
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
have two channels, and what a player will hear is judged by the mean of both.

--take, given for each, chooses what is compared. What a player will hear comes first; --all adds
the measures of every pair and the solver's convergence.

The table gives what each take has at the last jack, in volts, before the gain that matched it. The
null is how far a take differs from the first, after matching: 0 dB is as much difference as signal,
-60 dB one part in a thousand. Then, for each pair of takes, it says what a player will hear; and
the fewest cables to move on the floor from the first take to each of the others.

--json prints one object in place of the table:
  title, quality, rate_hz
  recording: name, seconds, volts_per_unit (of a sample of 1), load, notes
  seconds       length of every file
  matched_by    "loudness", or "rms" where the files are under 0.4 s
  target_db     the common level: LUFS, or dB re full scale where matched by rms
  ceiling_dbtp  the highest true peak allowed
  limited_by    the take whose true peak lowered the target, "" for none
  takes: number, name, order, off, set, file, recording (where its guitar has one of its own),
    peak_volts, rms_volts, level_dbu        at the jack out, before the gain
    before_db     loudness before the gain, with 1 V as full scale
    gain_db       from volts to the file, with 1 V as full scale
    after_db, true_peak_dbtp                of the file
    matched       false for a silent take (under 1 µV)
    solver: parts (solved together), rate_hz, steps, divided (into smaller ones),
            max_iterations (of the worst), unconverged, residual_volts
    unconverged   steps whose voltages are wrong: should be 0
    switched (where presets change): as in measure
  nulls: a, b (numbers of takes), db (level of the difference re a), identical
  pairs: how b differs from a, matched and aligned: a, b,
    lag_s, drift_cents, inverted (taken back), third_octaves: hz, db
    hearing (ITU-R BS.1387): playback_db_spl (of full scale), probability (mean), share (of the
      moments that are heard), highest, bands (of bands_of) over the step, events (moments beyond
      doubt), clearest_s, noise_to_mask_db
    heard           "mostly", "in places", "not heard", "identical", "not measurable",
      "played apart" (each on a guitar's own recording: no moments to compare)
    respects        level, tone, noise, distortion, decay, repeats: what is worth speaking of,
      the clearest first
    sentence        what a player will hear
    and by how much b differs in:
%s  cables: which to move on the floor to get from take a to take b: a, b,
    moves: block (that comes or goes), or from (not there for a cable that is added) and to (not
      there for one that is left over): out, in (jacks); ends (plugs that change), text
What has no value, as the level of silence, is null, and in pairs {"not_measurable": "why"}.`, experiment.Target, experiment.Ceiling, quantity(float64(produce.FadeTime), dsp.Seconds), measureList(measures.Changes())),
		Example: `  drywire compare my-chain.yaml -o takes
  drywire compare my-chain.yaml -o takes --take verse --take "verse, echo first"
  drywire compare my-chain.yaml -o takes --recording arpeggio --json > takes.json`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runCompare(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the `DIR` to write the files into; made where there is none")
	cmd.Flags().StringArrayVar(&o.takes, "take", nil, "the `NAME` of a take to compare, given for each; all of them where there is none given")
	noiselessFlag(cmd, &o.noiseless)
	cmd.Flags().BoolVar(&o.all, "all", false, "print every pair with its numbers, and the solver's convergence")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the table")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "output", completeFolder)
	complete(cmd, "take", completeTake)
	return cmd
}

// noiselessFlag is the switch of the board's noise in takes.
func noiselessFlag(cmd *cobra.Command, to *bool) {
	cmd.Flags().BoolVar(to, "noiseless", false, "leave the board's hiss and hum out of the takes; what is measured is without them anyway")
}

// choose leaves those takes of a file that are named, in the order in which they are.
func (f *chainFile) choose(names []string) error {
	if len(names) == 0 {
		return nil
	}
	chosen := *f.File
	chosen.Takes = nil
	for _, name := range names {
		if _, _, err := f.take(name); err != nil {
			return err
		}
		if slices.ContainsFunc(chosen.Takes, func(t board.Take) bool { return t.Name == name }) {
			return misusef("--take %q is given twice", name)
		}
		at := slices.IndexFunc(f.Takes, func(t board.Take) bool { return t.Name == name })
		chosen.Takes = append(chosen.Takes, f.Takes[at])
	}
	if len(chosen.Takes) == 1 {
		return misusef("it takes two to compare: give another --take")
	}
	f.File = &chosen
	return nil
}

func runCompare(ctx context.Context, s streams, o compareOptions) error {
	if o.out == "" {
		return misusef("compare needs a folder to write into: -o DIR")
	}
	f, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	if err := f.choose(o.takes); err != nil {
		return err
	}
	out, err := openFolder(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	c, err := compareTakes(ctx, s, f, q, out, true, o.noiseless)
	if err != nil {
		return err
	}
	e := c.Comparison
	if _, err := writeReport(ctx, out, reportName, f, c, produce.Words{}); err != nil {
		return err
	}
	if err := f.unchanged(); err != nil {
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
		f.describe(s, f.Chains()...)
		s.printf("\n")
		printComparison(s, e, o.all, o.all || o.takes != nil)
		s.printf("\nWrote %s into %s:\n", plural(len(e.Takes), "file", "files"), o.out)
		for _, t := range e.Takes {
			s.printf("  %s\n", t.File)
		}
		s.printf("  %s, to hear and see them side by side\n", reportName)
	}
	warnings(ctx, s, c)
	return nil
}

// compareTakes renders all takes and, where files are wanted, writes them, matched; they wait for
// out to publish them.
func compareTakes(ctx context.Context, s streams, f *chainFile, q section.Quality, out *outputs, files, noiseless bool) (*produce.Compared, error) {
	s.held(f.Chains()...)
	frames := int64(0)
	for _, c := range f.Chains() {
		frames += f.DryOf(c).Frames
	}
	bar := newProgress(s.err, frames)
	defer bar.stop()
	j := produce.Job{Project: f.Project, Quality: q, Out: out.Outputs, Progress: bar.add, Noiseless: noiseless}
	if files {
		j.WAV = func(k int, take string, format samples.Format, frames int64) (string, *samples.Writer, error) {
			name := fileName(k+1, len(f.Takes), take)
			w, err := out.wav(name, format, frames, f.inputs()...)
			return name, w, err
		}
	}
	return produce.Compare(ctx, j)
}

// warnings says what went wrong in the solver, and what is odd about the takes.
func warnings(ctx context.Context, s streams, c *produce.Compared) {
	for _, d := range c.Rendered {
		chain := d.Plan.Chain
		warn(s, d.Plan, d.Reports)
		for _, w := range chain.Warnings() {
			s.remark(fmt.Sprintf("take %q: %s", chain.Take, w))
		}
		if chain.Split == nil {
			continue
		}
		if x, err := experiment.CancellationOf(chain, ctx, d.Plan.Rate); err == nil && x.Cancels() {
			s.remark(fmt.Sprintf("take %q: the two paths cancel: %v", chain.Take, x))
		}
	}
}

// warn prints a warning for every section in which the solver did not converge.
func warn(s streams, w *render.Plan, reports []render.SectionReport) {
	for _, r := range reports {
		if r.Failures > 0 {
			s.say("drywire: WARNING: take %q: %s of %s steps did not converge in the section of %s.", w.Chain.Take, grouped(r.Failures), grouped(r.Steps), strings.Join(produce.PartsOf(w, r.Section), " + "))
			s.say("         Their voltages were held: what you hear there is wrong. Try --quality fine.")
		}
	}
}

// printComparison prints what a player will hear, of the first few pairs or of all, and the tables.
func printComparison(s streams, e *experiment.Comparison, all, pairs bool) {
	printLevels(s, e)
	printSentences(s, e, pairs)
	for _, t := range e.Takes {
		for k, one := range t.Switched {
			if k == 0 {
				s.printf("\nChanging presets in %q\n", t.Name)
			}
			paragraph(s.out, "  ", one.Sentence(), 98)
		}
	}
	if all {
		printPairs(s, e)
	}
	printCables(s, e.Cables)
	if all {
		printSolver(s, e)
	}
}

// printLevels prints the takes with what each has at the last jack, before the gain that matched it
// and after.
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

// printSolver prints the solver's convergence, one row per take.
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

// printCables prints which cables to move from the first take to each of the others; takes that are
// wired alike share a line.
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
