package produce

import (
	"context"
	"math"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/cmd/internal/files"
	"drywire/dsp"
	"drywire/dsp/section"
	"drywire/samples"
)

// Job is a comparison to be made.
type Job struct {
	*Project
	Quality section.Quality
	Out     *files.Outputs // beside which renders are kept while the work lasts
	// told how many samples of the recording were read, of as many as there are takes; nil for
	// nobody
	Progress func(n int)
	// Noiseless leaves the board's hiss and hum out of the takes that are written and played. What
	// is measured of takes, and by how much they differ, is without them anyway.
	Noiseless bool

	// WAV begins the file of the k-th take, of so many frames, and says what it is called; nil
	// where no files are wanted.
	WAV func(k int, take string, f samples.Format, frames int64) (string, *samples.Writer, error)
}

// Compared is a comparison with what the report shows beyond it.
type Compared struct {
	*experiment.Comparison
	Rendered []*Rendered // closed: their plans and the solver's convergence
	found    findings
}

// Compare renders all takes, matches them in loudness, measures them, and where files are wanted
// writes them. The error is of a render, of Job.WAV, of the outputs' folder, or ctx's.
func Compare(ctx context.Context, j Job) (*Compared, error) {
	all, r := j.Chains(), j.Dry
	plans := make([]*render.Plan, len(all))
	var longest dsp.Second
	frames := int64(0) // of the longest recording
	channels := 1      // of every file: a take in mono beside one in stereo comes from both loudspeakers
	for k, c := range all {
		plans[k] = render.PlanOf(c, r.Rate, j.Quality)
		longest = max(longest, plans[k].Tail())
		frames = max(frames, j.DryOf(c).Frames)
		channels = max(channels, len(c.Ends()))
	}
	frames += int64(math.Round(float64(longest) * float64(r.Rate)))
	// All takes are of one length: what is played on a shorter recording rings on, or is silent.
	after := func(k int) dsp.Second { return dsp.Second(frames-j.DryOf(all[k]).Frames) / dsp.Second(r.Rate) }
	names := make([]string, len(all))
	wavs := make([]*samples.Writer, len(all))
	for k, c := range all {
		if j.WAV == nil {
			continue
		}
		var err error
		names[k], wavs[k], err = j.WAV(k, c.Take, samples.Format{Rate: int(r.Rate), Channels: channels, Bits: 24}, frames)
		if err != nil {
			return nil, err
		}
	}

	takes, heard := make([]*Rendered, len(all)), make([]*Rendered, len(all))
	remarks := make([][]string, len(all))
	var found findings
	found.begin(len(all))
	defer func() {
		for k, d := range takes {
			if d != nil {
				d.Close()
			}
			if n := heard[k]; n != nil && n != d {
				n.Close()
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
		renderer, err := plans[k].Renderer(all[k].Jacks()...)
		if err != nil {
			return err
		}
		jacks := newJackKeeper(all[k], j.DryOf(all[k]))
		if takes[k], err = Keep(ctx, renderer, j.DryOf(all[k]), after(k), j.Out, j.Progress, jacks.push); err != nil {
			return err
		}
		takes[k].channels = channels
		if remarks[k], err = found.measure(ctx, k, renderer.Plan, jacks); err != nil {
			return err
		}
		if heard[k] = takes[k]; !j.Noiseless {
			heard[k] = nil // until it is there
			if heard[k], err = withNoise(ctx, plans[k], j.DryOf(all[k]), after(k), j.Out); err != nil {
				return err
			}
			heard[k].channels = channels
		}
		return settle(ctx, takes[k], heard[k], experiment.Target)
	}); err != nil {
		return nil, err
	}
	settled := make([]experiment.Settled, len(takes))
	for k, d := range takes {
		settled[k] = d.Settled
	}
	target, limited := experiment.Common(settled)
	if limited >= 0 {
		if err := each(func(ctx context.Context, k int) error { return settle(ctx, takes[k], heard[k], target) }); err != nil {
			return nil, err
		}
	}
	nulls, err := writeMatched(ctx, takes, heard, wavs)
	if err != nil {
		return nil, err
	}
	for k := range nulls {
		if n := &nulls[k]; all[n.A-1].RecordingOf != all[n.B-1].RecordingOf {
			n.DB, n.Identical = nil, false
		}
	}
	if err := found.listen(heard); err != nil {
		return nil, err
	}
	found.page.Remarks = slices.Concat(remarks...)

	e := &experiment.Comparison{
		Title: j.Title, Quality: j.Quality.Name, Recording: r.Data(), RateHz: int(r.Rate), Seconds: float64(takes[0].frames) / float64(r.Rate),
		MatchedBy: takes[0].MatchedBy(), TargetDB: target, CeilingDB: experiment.Ceiling, Nulls: nulls,
	}
	if limited >= 0 {
		e.LimitedBy = all[limited].Take
	}
	for k, d := range takes {
		t := takeData(k+1, j.Takes[k], d, names[k])
		if m := found.page.Measures[k]; m != nil {
			t.Switched = m.Switched
		}
		if all[k].RecordingOf != "" {
			own := j.DryOf(all[k]).Data()
			t.Recording = &own
		}
		e.Takes = append(e.Takes, t)
	}
	e.Cables = experiment.Rewirings(all)
	if err := pairTakes(ctx, e, takes, found.page.Measures); err != nil {
		return nil, err
	}
	found.page.Pairs = e.Pairs
	return &Compared{e, takes, found}, ctx.Err()
}

// settle matches the loudness of a take by its played sound with noise, unless that is noise alone:
// a pause's hiss is not raised to the loudness of music.
func settle(ctx context.Context, take, heard *Rendered, target float64) error {
	if err := take.Settle(ctx, target); err != nil || heard == take {
		return err
	}
	if take.Settled.Matched {
		if err := heard.Settle(ctx, target); err != nil {
			return err
		}
		take.Settled = heard.Settled
		return nil
	}
	if most := dsp.FromDB(experiment.Ceiling) / heard.Peak; take.Settled.Gain > most {
		take.Settled.Gain = most
	}
	heard.Settled = take.Settled
	return nil
}

// NoiseSeed makes the noise of takes: one draw for all of them, so that they differ by their order.
const NoiseSeed = 1

// withNoise renders and keeps what a take ends in, with the board's hiss and hum.
func withNoise(ctx context.Context, plan *render.Plan, r *Recording, after dsp.Second, out *files.Outputs) (*Rendered, error) {
	renderer, err := plan.Renderer(plan.Chain.Ends()...)
	if err != nil {
		return nil, err
	}
	if err := noise.AddNoise(renderer, NoiseSeed); err != nil {
		return nil, err
	}
	return Keep(ctx, renderer, r, after, out, nil, nil)
}

// writeMatched writes what is heard of all takes for which there is a file, at their gains, and
// measures by how much the takes differ at the same.
func writeMatched(ctx context.Context, takes, heard []*Rendered, wavs []*samples.Writer) ([]experiment.Null, error) {
	for k, d := range heard {
		if wavs[k] == nil {
			continue
		}
		room := d.blocks()
		for p, shape := d.play(), d.shape(d.Settled.Gain); ; {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			x, err := p.nextOf(room, shape)
			if err != nil {
				return nil, err
			}
			if x == nil {
				break
			}
			if err := wavs[k].Write(x...); err != nil {
				return nil, err
			}
		}
	}
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
			x, err := p.nextOf(room[k], takes[k].shape(takes[k].Settled.Gain))
			if err != nil {
				return nil, err
			}
			if x == nil { // all takes are of one length
				return differences.Nulls(), nil
			}
			for c := range channels {
				channels[c][k] = x[c]
			}
		}
		for _, c := range channels {
			differences.Push(c)
		}
	}
}

// takeData is a take's measures as data.
func takeData(number int, t board.Take, d *Rendered, file string) experiment.Take {
	finite := func(v float64) *float64 {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return nil
		}
		v = math.Round(v*1e4)/1e4 + 0 // dB; finer says nothing; +0 so that -0 is 0
		return &v
	}
	gain := *finite(dsp.ToDB(d.Settled.Gain))
	e := experiment.Take{
		Number: number, Name: d.Plan.Chain.Take, Order: []string{}, Off: []string{}, Set: []string{}, File: file,
		PeakVolts: d.Levels.Peak, RMSVolts: d.Levels.RMS, LeveldBu: finite(dsp.VoltsToDBu(d.Levels.RMS)),
		Before: finite(d.Settled.Level - gain), GainDB: gain, After: finite(d.Settled.Level), TruePeakDB: finite(dsp.ToDB(d.Settled.TruePeak)),
		Matched: d.Settled.Matched, Solver: []experiment.SolverStats{}, Unconverged: Unconverged(d.Reports),
	}
	for _, b := range d.Plan.Chain.Every() {
		e.Order = append(e.Order, b.Name)
		if b.Off {
			e.Off = append(e.Off, b.Name)
		}
	}
	if split := d.Plan.Chain.Split; split != nil {
		for _, b := range split.Left {
			e.Left = append(e.Left, b.Name)
		}
		for _, b := range split.Right {
			e.Right = append(e.Right, b.Name)
		}
	}
	for _, s := range t.Set {
		e.Set = append(e.Set, s.Target+": "+s.Text)
	}
	for _, p := range d.Reports {
		e.Solver = append(e.Solver, experiment.SolverStats{
			Parts: PartsOf(d.Plan, p.Section), RateHz: float64(d.Plan.Rate) * float64(p.Factor), Steps: p.Steps, Divided: p.Divided,
			MaxIterations: p.MaxIterations, Unconverged: p.Failures, ResidualVolts: p.Residual,
		})
	}
	return e
}

// PartsOf is what the section with a node holds a jack of: the guitar, blocks, the load; or else
// the block that it is within.
func PartsOf(w *render.Plan, node string) []string {
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
