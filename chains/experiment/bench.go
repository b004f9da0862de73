package experiment

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// usual is what a ranking goes by where the chain file does not say: they cost next to nothing
// beside the render.
var usual = []string{"quiet", "headroom", "brightness kept"}

// objectives finds measures by their names; the usual ones where there is none.
func objectives(names []string) ([]*measures.Measure, error) {
	if len(names) == 0 {
		names = usual
	}
	var list []*measures.Measure
	for _, name := range names {
		i := slices.IndexFunc(measures.Objectives(), func(m *measures.Measure) bool { return m.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("no objective %q", name)
		}
		list = append(list, measures.Objectives()[i])
	}
	return list, nil
}

// bench is what the measures of many orders of the same blocks are measured with: renders that
// share their beginnings.
type bench struct {
	rate      dsp.Hertz
	quality   section.Quality
	recording []float64 // V
	memory    int       // bytes, for each set of remembered signals
	literal   bool      // orders are computed as they stand

	main   *render.Orders
	noise  *noise.NoiseLevels
	mu     sync.Mutex
	probes map[string]*render.Orders    // test signals in the place of the recording
	asked  map[string]measures.Figure   // of the recording
	heard  map[heardKey]measures.Figure // of signals at out
}

// played is the recording through a chain. It is a measures.Played.
type played struct {
	subject
	bench *bench
	plan  *render.Plan
	order *render.Order
	out   []float64 // V
	key   [32]byte  // of out
}

type heardKey struct {
	what   string
	signal [32]byte
}

func newBench(recording []float64, rate dsp.Hertz, q section.Quality, memory int, literal bool) *bench {
	b := &bench{rate: rate, quality: q, recording: recording, memory: memory, literal: literal, probes: map[string]*render.Orders{}, asked: map[string]measures.Figure{}, heard: map[heardKey]measures.Figure{}}
	b.main = b.orders(recording, memory)
	b.noise = noise.NewNoiseLevels(rate)
	return b
}

func (b *bench) orders(recording []float64, memory int) *render.Orders {
	o := render.NewOrders(recording, b.rate, b.quality, memory)
	o.Literal = b.literal
	return o
}

// measure is the values of some measures for one chain.
func (b *bench) measure(ctx context.Context, c *board.Chain, list []*measures.Measure) ([]measures.Figure, error) {
	p, err := b.play(ctx, c)
	if err != nil {
		return nil, err
	}
	values := make([]measures.Figure, len(list))
	for k, m := range list {
		if m.OfPlayed != nil {
			values[k], err = m.OfPlayed(ctx, p)
		} else {
			values[k], err = m.OfTake(ctx, p)
		}
		if err != nil {
			return nil, fmt.Errorf("%q: %w", m.Name, err)
		}
	}
	return values, nil
}

func (b *bench) play(ctx context.Context, c *board.Chain) (*played, error) {
	w := render.PlanOf(c, b.rate, b.quality)
	p := &played{subject: subject{c, b.rate, measures.TestTone, true}, plan: w, bench: b, order: b.main.Order(w)}
	var err error
	if p.out, err = p.order.Signal(ctx, c.Ends()[0]); err != nil {
		return nil, err
	}
	p.key, err = p.order.Key(ctx, c.Ends()[0])
	return p, err
}

func (p *played) Play(ctx context.Context, name string, volume float64, signal func() []float64) ([]float64, error) {
	b, w := p.bench, p.plan
	if volume != measures.AsItIs {
		c := *p.chain
		c.Guitar.Volume = volume
		w = render.PlanOf(&c, b.rate, b.quality)
	}
	b.mu.Lock()
	if b.probes[name] == nil {
		b.probes[name] = b.orders(signal(), b.memory/4)
	}
	probe := b.probes[name]
	b.mu.Unlock()
	return probe.Order(w).Signal(ctx, w.Chain.Ends()[0])
}

func (p *played) NoiseParts() (hiss, tones float64, err error) {
	return p.bench.noise.Parts(p.chain)
}

func (p *played) Noise() (float64, error) { return p.bench.noise.AWeighted(p.chain) }

func (p *played) OfEnd(name string, of func([]float64) measures.Figure) measures.Figure {
	b, key := p.bench, heardKey{name, p.key}
	b.mu.Lock()
	f, ok := b.heard[key]
	b.mu.Unlock()
	if !ok {
		f = of(p.out)
		b.mu.Lock()
		b.heard[key] = f
		b.mu.Unlock()
	}
	return f
}

func (p *played) OfRecording(name string, of func([]float64) measures.Figure) measures.Figure {
	b := p.bench
	b.mu.Lock()
	defer b.mu.Unlock()
	f, ok := b.asked[name]
	if !ok {
		f = of(b.recording)
		b.asked[name] = f
	}
	return f
}

func (p *played) Stages(ctx context.Context, tell func(ceiling, peak float64)) error {
	for _, s := range p.plan.Stages {
		if s.Ceiling == 0 {
			continue
		}
		top, err := p.order.Peak(ctx, s)
		if err != nil {
			return err
		}
		tell(s.Ceiling, top)
	}
	return nil
}
