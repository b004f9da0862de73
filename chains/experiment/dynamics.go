package experiment

import (
	"context"
	"fmt"
	"math"
	"sync"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Dynamics is how a take answers to how hard one plays, at the jack out, or by the mean of both
// ends where it ends in two: in Values all that package measures has for that. All of it is
// rendered at draft quality, which is plenty for levels.
type Dynamics struct {
	// Curve is the level at out for steady tones at the source, every 6 dB.
	Curve []CurvePoint `json:"curve"`
	// by 20 dB, of the note of the sustain
	SourceFalls     float64 `json:"source_falls_seconds"`
	measures.Values `json:"-"`
}

// MarshalJSON implements json.Marshaler.
func (d Dynamics) MarshalJSON() ([]byte, error) {
	type fields Dynamics
	return d.Values.Object(fields(d))
}

// CurvePoint is a point of the input-output level curve: RMS levels.
type CurvePoint struct {
	InDBV  float64         `json:"in_dbv"`
	OutDBV measures.Figure `json:"out_dbv"`
}

// dynamics measures with test signals; without a tone, it says of every measure that there was
// none.
func dynamics(ctx context.Context, t *trial) (Dynamics, error) {
	tone := t.tone
	list := measures.Dynamics()
	d := Dynamics{Curve: []CurvePoint{}, SourceFalls: measures.NoteFalls, Values: measures.NoValues(list, measures.None(measures.NoTone))}
	if tone == (dsp.Tone{}) {
		return d, nil
	}
	work := t.work(d.Values)
	const lowest, highest, step = -48, 12, 6 // dB re the test tone
	d.Curve = make([]CurvePoint, (highest-lowest)/step+1)
	for p := range d.Curve {
		at := dsp.Tone{Hz: tone.Hz, Volts: tone.Volts * dsp.Volt(dsp.FromDB(float64(lowest+p*step)))}
		work = append(work, func(ctx context.Context) error {
			level, err := measures.SteadyLevel(ctx, t, at)
			d.Curve[p] = CurvePoint{dsp.VoltsToDBV(float64(at.Volts) / math.Sqrt2), level}
			return err
		})
	}
	return d, together(ctx, work...)
}

// subject is what a measures.Take is a take of, and how it is looked at.
type subject struct {
	chain   *board.Chain
	rate    dsp.Hertz
	tone    dsp.Tone
	refuses bool // to judge the distortion of what clips throughout
}

func (s *subject) Rate() float64 { return float64(s.rate) }

func (s *subject) Tone() dsp.Tone { return s.tone }

func (s *subject) Modulated() string {
	for _, jack := range s.chain.Ends() {
		if by := s.chain.Modulated(jack); by != "" {
			return by
		}
	}
	return ""
}

func (s *subject) Delays() (times []float64) {
	for _, p := range s.chain.Every() {
		if p.Piece == nil && p.Kind.Name == "delay" && !p.Off {
			times = append(times, p.Settings.Number("time"))
		}
	}
	return times
}

// trial plays test signals through a take at draft quality, each once. It is a measures.Take.
type trial struct {
	subject
	mu     sync.Mutex
	played map[string]func() ([]float64, error)
	// A-weighted at the chain's end, in V: as it is, and with gates open
	noise, hiss func() (float64, error)
}

func newTrial(c *board.Chain, rate dsp.Hertz, tone dsp.Tone, refuses bool) *trial {
	return &trial{
		subject: subject{c, rate, tone, refuses}, played: map[string]func() ([]float64, error){},
		noise: sync.OnceValues(func() (float64, error) { return noiseOf(c, rate) }),
		hiss: sync.OnceValues(func() (float64, error) {
			open, _ := c.Opened()
			return noiseOf(open, rate)
		}),
	}
}

// work is to fill in some values.
func (t *trial) work(values measures.Values) (work []func(context.Context) error) {
	for k := range values {
		v := &values[k]
		work = append(work, func(ctx context.Context) (err error) {
			v.Figure, err = v.OfTake(ctx, t)
			return err
		})
	}
	return work
}

func (t *trial) Play(ctx context.Context, name string, volume float64, signal func() []float64) ([]float64, error) {
	key := fmt.Sprint(name, " at ", volume)
	t.mu.Lock()
	play := t.played[key]
	if play == nil {
		play = sync.OnceValues(func() ([]float64, error) {
			c := *t.chain.At(0)
			if volume != measures.AsItIs {
				c.Guitar.Volume = volume
			}
			r, err := render.PlanOf(&c, t.rate, section.Draft).Renderer(c.Ends()...)
			if err != nil {
				return nil, err
			}
			x := signal()
			out, err := runKept(ctx, r, x, len(x))
			if err != nil {
				return nil, err
			}
			return mean(out), nil
		})
		t.played[key] = play
	}
	t.mu.Unlock()
	return play()
}

func (t *trial) Made(ctx context.Context, volume float64) (measures.Figure, error) {
	c := *t.chain.At(0)
	if volume != measures.AsItIs {
		c.Guitar.Volume = volume
	}
	return made(ctx, &c, t.rate, t.tone, t.refuses, func(jacks []string) ([][]float64, error) {
		r, err := render.PlanOf(&c, t.rate, section.Draft).Renderer(jacks...)
		if err != nil {
			return nil, err
		}
		rate := float64(t.rate)
		return runKept(ctx, r, measures.Sines(int(0.5*rate), rate, t.tone), int(0.1*rate))
	})
}

func (s *subject) Tail() float64 {
	return float64(render.PlanOf(s.chain.At(0), s.rate, section.Draft).Tail())
}

func (t *trial) Noise() (float64, error) { return t.noise() }

func (t *trial) Hiss() (float64, error) { return t.hiss() }

// noiseOf is the A-weighted noise at the end of a chain, in V.
func noiseOf(c *board.Chain, rate dsp.Hertz) (float64, error) {
	l, err := noise.Totals(c, rate, "out")
	if err != nil {
		return 0, err
	}
	return l[0].RMS(noise.AWeighted), nil
}
