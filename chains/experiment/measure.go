package experiment

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Measures is what the meters say about one take, at every jack. It is also the JSON object that
// the command prints. Voltages are those of the simulated circuit; a Figure that has no value says
// why.
type Measures struct {
	Take    string   `json:"take"`
	Order   []string `json:"order"`
	Quality string   `json:"quality"`
	RateHz  int      `json:"rate_hz"`
	Seconds float64  `json:"seconds"` // of the recording; the meters read no longer
	// in the place of the recording; nought where none was asked for
	Tone dsp.Tone `json:"tone"`
	// what moves and stands still in tones, noise and ceilings, as board.Held says it
	Held     string         `json:"held,omitempty"`
	Jacks    []JackMeasures `json:"jacks"` // in the order of the signal
	Dynamics Dynamics       `json:"dynamics"`
	// where presets change while it plays
	Switched []Switched `json:"switched,omitempty"`
	// A-weighted, in V RMS, at the ends of the chain, whose powers add up: nobody plays, and while
	// somebody does
	rest, hiss float64
}

// JackMeasures is the meters at one jack: in Values all that package measures has for one.
type JackMeasures struct {
	Jack string `json:"jack"`
	// the block that the jack leads into; "" at the last jack
	CeilingOf       string      `json:"ceiling_of"`
	ThirdOctaves    []BandLevel `json:"third_octaves"`
	measures.Values `json:"-"`
}

// MarshalJSON implements json.Marshaler.
func (j JackMeasures) MarshalJSON() ([]byte, error) {
	type fields JackMeasures
	return j.Values.Object(fields(j))
}

// BandLevel is a third-octave band: IEC 61260-1, base ten.
type BandLevel struct {
	Hz  float64         `json:"hz"`
	DBV measures.Figure `json:"dbv"`
}

// DBu is the level in dBu.
func (b BandLevel) DBu() measures.Figure {
	return b.DBV.Minus(measures.Figure{Value: dsp.VoltsToDBV(dsp.DBu)})
}

// Signals gives the voltage of a jack over the whole recording, in volts, like render.Memo's method
// Signal and with its errors.
type Signals func(ctx context.Context, w *render.Plan, jack string) ([]float64, error)

// Rendered renders a recording in volts once, with all jacks of the wiring read. The error is of a
// render; that of the Signals is of a jack or a plan that was not rendered.
func Rendered(ctx context.Context, w *render.Plan, recording []float64) (Signals, error) {
	jacks := w.Chain.Jacks()
	r, err := w.Renderer(jacks...)
	if err != nil {
		return nil, err
	}
	all, err := runKept(ctx, r, recording, len(recording))
	if err != nil {
		return nil, err
	}
	return func(_ context.Context, other *render.Plan, jack string) ([]float64, error) {
		for k, j := range jacks {
			if j == jack && other == w {
				return all[k], nil
			}
		}
		return nil, fmt.Errorf("take %q, jack %s: not rendered", other.Chain.Take, jack)
	}, nil
}

// LeastClean is the clean headroom, in dB, of the block that has least of it among those that are
// there to stay clean, which By names.
func (m *Measures) LeastClean(c *board.Chain) measures.Figure {
	least := measures.None("nothing that should stay clean")
	for _, j := range m.Jacks {
		at := slices.IndexFunc(c.Every(), func(p board.Placed) bool { return p.Name == j.CeilingOf })
		if at < 0 || c.Every()[at].Piece == nil && slices.Contains(meantToDistort, c.Every()[at].Kind.Name) {
			continue
		}
		if f := j.Of(measures.CleanHeadroom); f.OK() && (!least.OK() || f.Value < least.Value) {
			least = f
			least.By = j.CeilingOf
		}
	}
	return least
}

// Measure measures a take. With a test tone it is also run with tones; without one (its zero
// value), those figures are not measured. It is an error where a render fails.
func Measure(ctx context.Context, w *render.Plan, signals Signals, tone dsp.Tone) (*Measures, error) {
	return MeasureBefore(ctx, w, signals, tone, func(string) bool { return true })
}

// MeasureBefore is Measure with the ceilings of those blocks alone that are wanted: they cost most.
// The errors are Measure's.
func MeasureBefore(ctx context.Context, w *render.Plan, signals Signals, tone dsp.Tone, wanted func(block string) bool) (*Measures, error) {
	c := w.Chain
	m := &Measures{Take: c.Take, Order: orderOf(c), Quality: w.Quality.Name, RateHz: int(w.Rate), Tone: tone, Held: board.Held(c)}
	names := c.Jacks()
	ledgers, err := noise.Totals(c, w.Rate, names...)
	if err != nil {
		return nil, err
	}
	played := ledgers
	if open, gates := c.Opened(); gates {
		if played, err = noise.Totals(open, w.Rate, names...); err != nil {
			return nil, err
		}
	}
	for _, end := range c.Ends() {
		k := slices.Index(names, end)
		m.rest, m.hiss = math.Hypot(m.rest, ledgers[k].RMS(noise.AWeighted)), math.Hypot(m.hiss, played[k].RMS(noise.AWeighted))
	}
	if m.Switched, err = switched(ctx, w, signals); err != nil {
		return nil, err
	}
	ceilings, err := ceilings(c, ctx, w.Rate, wanted)
	if err != nil {
		return nil, err
	}
	steady, err := steadyStates(ctx, c, w.Rate, w.Quality, tone)
	if err != nil {
		return nil, err
	}
	for k, name := range names {
		x, err := signals(ctx, w, name)
		if err != nil {
			return nil, err
		}
		m.Seconds = float64(len(x)) / float64(w.Rate)
		top := ceilingAt(names, ceilings, k)
		jack := &measures.Jack{X: x, Rate: float64(w.Rate), Test: tone, Colours: top.Colours, BreaksUp: top.BreaksUp}
		jack.Noise, jack.NoiseA = rms(ledgers[k], noise.Flat), rms(ledgers[k], noise.AWeighted)
		jack.Hiss, jack.HissA = rms(played[k], noise.Flat), rms(played[k], noise.AWeighted)
		j := JackMeasures{Jack: name, CeilingOf: top.Block, ThirdOctaves: []BandLevel{}}
		for _, a := range measures.AtJacks() {
			f := measures.None(measures.NoTone)
			if a.Tones == nil {
				f = a.At(jack)
			} else if tone != (dsp.Tone{}) {
				if by := c.Modulated(name); by != "" {
					j.Values = append(j.Values, measures.Value{Measure: a, Figure: modulated(by)})
					continue
				}
				jack.Steady = (*steady[fmt.Sprint(a.Tones(tone))])[k]
				f = a.At(jack)
			}
			j.Values = append(j.Values, measures.Value{Measure: a, Figure: f})
		}
		for _, b := range jack.ThirdOctaves() {
			j.ThirdOctaves = append(j.ThirdOctaves, BandLevel{b.Centre, measures.Read(b.LevelDB())})
		}
		m.Jacks = append(m.Jacks, j)
	}
	t := newTrial(c, w.Rate, tone, false)
	t.noise, t.hiss = atEnds(c, names, ledgers), atEnds(c, names, played)
	m.Dynamics, err = dynamics(ctx, t)
	return m, err
}

// modulated is why a tone that has gone through a block with an oscillator has no distortion: what
// it reads would be that of the moment.
func modulated(by string) measures.Figure {
	return measures.None("it is modulated by %s", by)
}

// atEnds is the A-weighted noise at the chain's ends in V, of two the sum of their powers; ledgers
// are of jacks in their order.
func atEnds(c *board.Chain, jacks []string, ledgers []*noise.Ledger) func() (float64, error) {
	power := 0.0
	for _, end := range c.Ends() {
		v := ledgers[slices.Index(jacks, end)].RMS(noise.AWeighted)
		power += v * v
	}
	return func() (float64, error) { return math.Sqrt(power), nil }
}

func rms(l *noise.Ledger, weightingDB func(float64) float64) measures.Figure {
	return measures.Figure{Value: l.RMS(weightingDB)}
}

// steadyStates is what the jacks have in the steady state of the tones that measures ask for, by
// those.
func steadyStates(ctx context.Context, c *board.Chain, rate dsp.Hertz, q section.Quality, tone dsp.Tone) (map[string]*[][]float64, error) {
	states := map[string]*[][]float64{}
	var work []func(context.Context) error
	for _, m := range measures.AtJacks() {
		if m.Tones == nil || tone == (dsp.Tone{}) {
			continue
		}
		tones := m.Tones(tone)
		if key := fmt.Sprint(tones); states[key] == nil {
			states[key] = new([][]float64)
			work = append(work, toneThrough(states[key], c, rate, q, tones...))
		}
	}
	return states, together(ctx, work...)
}

// ceilingAt is the ceilings of the block that the k-th jack leads into: a block's own input, or the
// next one's behind an output.
func ceilingAt(jacks []string, all []BlockCeiling, k int) BlockCeiling {
	into, ok := strings.CutSuffix(jacks[k], ".in")
	if leads := jacks[k] == "guitar" || strings.HasSuffix(jacks[k], ".out"); !ok && leads && k+1 < len(jacks) {
		into, ok = strings.CutSuffix(jacks[k+1], ".in")
	}
	if ok {
		for _, c := range all {
			if c.Block == into {
				return c
			}
		}
	}
	none := measures.None("it leads into nothing that is known")
	return BlockCeiling{Colours: none, BreaksUp: none}
}

// steady is for how long test tones are measured, once the chain has settled: enough for AES17's
// notch and for lines 50 Hz apart.
const steady dsp.Second = 0.5

// toneThrough puts into out what the jacks have in the steady state of some tones.
func toneThrough(out *[][]float64, c *board.Chain, rate dsp.Hertz, q section.Quality, tones ...dsp.Tone) func(context.Context) error {
	return func(ctx context.Context) error {
		w := render.PlanOf(c.At(0), rate, q) // a steady state has no time
		r, err := w.Renderer(c.Jacks()...)
		if err != nil {
			return err
		}
		keep := int(float64(steady) * float64(rate))
		n := int(settling(w)*float64(rate)) + keep
		*out, err = runKept(ctx, r, measures.Sines(n, float64(rate), tones...), keep)
		return err
	}
}

// together runs independent pieces of work on all cores.
func together(ctx context.Context, work ...func(context.Context) error) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, f := range work {
		g.Go(func() error { return f(ctx) })
	}
	return g.Wait()
}

// settling is how long a chain is left alone before a steady state is measured: its tails, 1.5 s at
// most, and what a guitar and its couplings need.
func settling(w *render.Plan) float64 { return 0.3 + math.Min(1.5, float64(w.Tail())) }

// runKept renders a signal and keeps the last samples of each tap.
func runKept(ctx context.Context, r *render.Renderer, x []float64, keep int) ([][]float64, error) {
	out := make([][]float64, len(r.Taps))
	for k := range out {
		out[k] = make([]float64, 0, min(len(x), 2*keep+1024)) // and a block or two
	}
	err := r.Run(ctx, render.Volts(x), 0, func(taps [][]float64) error {
		for k, b := range taps {
			out[k] = append(out[k], b...)
			if extra := len(out[k]) - keep; extra > keep {
				out[k] = out[k][:copy(out[k], out[k][extra:])]
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for k, x := range out {
		out[k] = x[len(x)-keep:]
	}
	for _, s := range r.Reports() {
		if s.Failures > 0 {
			return nil, fmt.Errorf("%d steps did not converge in the section with %s", s.Failures, s.Section)
		}
	}
	return out, nil
}

// AtJack is one measure at one jack of a take, as Measure has it, without the work of the others.
// A measure that wants a test tone gets that one. It is an error where a render fails.
func AtJack(ctx context.Context, w *render.Plan, signals Signals, name string, m *measures.Measure, tone dsp.Tone) (measures.Figure, error) {
	c := w.Chain
	k := slices.Index(c.Jacks(), name)
	if k < 0 {
		return measures.Figure{}, c.Jack(name)
	}
	if m.Tones != nil {
		if by := c.Modulated(name); by != "" {
			return modulated(by), nil
		}
	}
	x, err := signals(ctx, w, name)
	if err != nil {
		return measures.Figure{}, err
	}
	jack := &measures.Jack{X: x, Rate: float64(w.Rate), Test: tone}
	if !slices.Contains(restless, m) {
		if jack.Noise, jack.NoiseA, err = restAt(c, w.Rate, name); err != nil {
			return measures.Figure{}, err
		}
		jack.Hiss, jack.HissA = jack.Noise, jack.NoiseA
		if open, gates := c.Opened(); gates {
			if jack.Hiss, jack.HissA, err = restAt(open, w.Rate, name); err != nil {
				return measures.Figure{}, err
			}
		}
	}
	if !slices.Contains(unbounded, m) {
		ceilings, err := Ceilings(c, ctx, w.Rate)
		if err != nil {
			return measures.Figure{}, err
		}
		top := ceilingAt(c.Jacks(), ceilings, k)
		jack.Colours, jack.BreaksUp = top.Colours, top.BreaksUp
	}
	if m.Tones != nil {
		all := new([][]float64)
		if err := toneThrough(all, c, w.Rate, w.Quality, m.Tones(tone)...)(ctx); err != nil {
			return measures.Figure{}, err
		}
		jack.Steady = (*all)[k]
	}
	return m.At(jack), nil
}

// Measures that are known to need no noise, and no ceiling; any other is given both.
var (
	levels    = []*measures.Measure{measures.PeakVolts, measures.PeakDBu, measures.RMSVolts, measures.RMSDBu, measures.Crest, measures.Loudness, measures.THD, measures.Centroid}
	restless  = append([]*measures.Measure{measures.Headroom, measures.CleanHeadroom, measures.OverShare, measures.Colour, measures.Ceiling}, levels...)
	unbounded = append([]*measures.Measure{measures.Noise, measures.NoiseA, measures.HissA, measures.SignalToNoise, measures.SignalToNoiseA}, levels...)
)

// restAt is the noise at a jack, as it is and A-weighted.
func restAt(c *board.Chain, rate dsp.Hertz, jack string) (flat, weighted measures.Figure, err error) {
	l, err := noise.Totals(c, rate, jack)
	if err != nil {
		return flat, weighted, err
	}
	return rms(l[0], noise.Flat), rms(l[0], noise.AWeighted), nil
}

// SteadyAt is the steady state of a tone at a jack, in volts. The error is board.Chain.Jack's, or
// of a render.
func SteadyAt(ctx context.Context, c *board.Chain, rate dsp.Hertz, q section.Quality, jack string, tone dsp.Tone) ([]float64, error) {
	k := slices.Index(c.Jacks(), jack)
	if k < 0 {
		return nil, c.Jack(jack)
	}
	all := new([][]float64)
	if err := toneThrough(all, c, rate, q, tone)(ctx); err != nil {
		return nil, err
	}
	return (*all)[k], nil
}
