package experiment

import (
	"context"
	"crypto/sha256"
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
	recording Dry
	memory    int  // bytes, for each set of remembered signals
	literal   bool // orders are computed as they stand

	main   map[string]*render.Orders // by board.Chain.RecordingOf
	noise  *noise.NoiseLevels
	mu     sync.Mutex
	probes map[string]*render.Orders     // test signals in the place of the recording
	asked  map[[2]string]measures.Figure // of a recording, by what and board.Chain.RecordingOf
	heard  map[heardKey]measures.Figure  // of signals at out
	// signals at out at Target, by their keys
	levelled map[[32]byte]Settled
}

// played is the recording through a chain, at out; of a chain that ends in two, the mean of both
// ends, which is what a listener between two loudspeakers has of them. It is a measures.Played.
type played struct {
	subject
	bench *bench
	brief bool // noise that has to be rendered is rendered briefly
	plan  *render.Plan
	order *render.Order
	out   []float64 // V
	key   [32]byte  // of out
}

type heardKey struct {
	what   string
	signal [32]byte
}

func newBench(recording Dry, rate dsp.Hertz, q section.Quality, memory int, literal bool) *bench {
	b := &bench{rate: rate, quality: q, recording: recording, memory: memory, literal: literal, probes: map[string]*render.Orders{}, asked: map[[2]string]measures.Figure{}, heard: map[heardKey]measures.Figure{}, levelled: map[[32]byte]Settled{}}
	b.main = map[string]*render.Orders{"": b.orders(recording.Volts, memory)}
	for guitar, x := range recording.Own {
		b.main[guitar] = b.orders(x, memory)
	}
	b.noise = noise.NewNoiseLevels(rate)
	return b
}

func (b *bench) orders(recording []float64, memory int) *render.Orders {
	o := render.NewOrders(recording, b.rate, b.quality, memory)
	o.Literal = b.literal
	return o
}

// measure is the values of some measures for one chain. The recording goes through it only where
// one of them asks for it: test signals cost enough.
func (b *bench) measure(ctx context.Context, c *board.Chain, list []*measures.Measure, brief bool) ([]measures.Figure, error) {
	p := b.silent(c)
	p.brief = brief
	if slices.ContainsFunc(list, func(m *measures.Measure) bool { return m.OfPlayed != nil }) {
		if err := p.hear(ctx); err != nil {
			return nil, err
		}
	}
	values := make([]measures.Figure, len(list))
	for k, m := range list {
		var err error
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
	p := b.silent(c)
	return p, p.hear(ctx)
}

// silent is a chain through which the recording has not gone yet.
func (b *bench) silent(c *board.Chain) *played {
	w := render.PlanOf(c, b.rate, b.quality)
	return &played{subject: subject{c, b.rate, measures.TestTone, true}, plan: w, bench: b, order: b.main[c.RecordingOf].Order(w)}
}

// hear lets the recording through.
func (p *played) hear(ctx context.Context) (err error) {
	p.out, p.key, err = end(ctx, p.order, p.chain)
	return err
}

// end is the signal at out, or the mean of both ends, with a key that is the same for the same
// signal.
func end(ctx context.Context, o *render.Order, c *board.Chain) (x []float64, key [32]byte, err error) {
	var ends [][]float64
	var keys []byte
	for _, jack := range c.Ends() {
		y, err := o.Signal(ctx, jack)
		if err != nil {
			return nil, key, err
		}
		if key, err = o.Key(ctx, jack); err != nil {
			return nil, key, err
		}
		ends, keys = append(ends, y), append(keys, key[:]...)
	}
	if len(ends) == 1 {
		return ends[0], key, nil
	}
	return mean(ends), sha256.Sum256(keys), nil
}

// mean is that of signals of one length.
func mean(list [][]float64) []float64 {
	if len(list) == 1 {
		return list[0]
	}
	sum := make([]float64, len(list[0]))
	for _, x := range list {
		for k, v := range x {
			sum[k] += v / float64(len(list))
		}
	}
	return sum
}

func (p *played) Play(ctx context.Context, name string, volume float64, signal func() []float64) ([]float64, error) {
	b, w := p.bench, p.plan
	if volume != measures.AsItIs {
		c := *p.chain
		c.Guitar.Volume = volume
		w = render.PlanOf(&c, b.rate, b.quality)
	}
	x, _, err := end(ctx, b.probe(name, signal).Order(w), w.Chain)
	return x, err
}

func (p *played) Made(ctx context.Context, volume float64) (measures.Figure, error) {
	b, w := p.bench, p.plan
	if volume != measures.AsItIs {
		c := *p.chain
		c.Guitar.Volume = volume
		w = render.PlanOf(&c, b.rate, b.quality)
	}
	return made(ctx, w.Chain, p.rate, p.tone, p.refuses, func(jacks []string) ([][]float64, error) {
		rate := float64(p.rate)
		o := b.probe(fmt.Sprint("tone ", p.tone), func() []float64 { return measures.Sines(int(0.5*rate), rate, p.tone) }).Order(w)
		o.Read(jacks...)
		list := make([][]float64, len(jacks))
		for k, jack := range jacks {
			x, err := o.Signal(ctx, jack)
			if err != nil {
				return nil, err
			}
			list[k] = x[len(x)-int(0.1*rate):]
		}
		return list, nil
	})
}

// probe is the renders of a test signal.
func (b *bench) probe(name string, signal func() []float64) *render.Orders {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.probes[name] == nil {
		b.probes[name] = b.orders(signal(), b.memory/4)
	}
	return b.probes[name]
}

func (p *played) NoisePart(tones bool) (float64, error) {
	hiss, hum, err := p.bench.noise.Parts(p.chain, tones, p.brief)
	if tones {
		return hum, err
	}
	return hiss, err
}

func (p *played) Noise() (float64, error) { return p.bench.noise.AWeighted(p.chain) }

func (p *played) Hiss() (float64, error) {
	open, _ := p.chain.Opened()
	return p.bench.noise.AWeighted(open)
}

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
	b, asked := p.bench, [2]string{name, p.chain.RecordingOf}
	b.mu.Lock()
	defer b.mu.Unlock()
	f, ok := b.asked[asked]
	if !ok {
		f = of(b.recording.Of(p.chain))
		b.asked[asked] = f
	}
	return f
}

// meantToDistort is the kinds of which breaking up is what one wants.
var meantToDistort = []string{"distortion", "fuzz", "op-amp-fuzz", "overdrive"}

func (p *played) Blocks(ctx context.Context, tell func(breaksUp measures.Figure, peak float64)) error {
	list, err := Ceilings(p.chain, ctx, p.bench.rate)
	if err != nil {
		return err
	}
	for k, b := range p.chain.Every() {
		if b.Off || !p.chain.Leads(b) || !list[k].BreaksUp.OK() || b.Piece == nil && slices.Contains(meantToDistort, b.Kind.Name) {
			continue
		}
		x, err := p.order.Signal(ctx, b.In())
		if err != nil {
			return err
		}
		tell(list[k].BreaksUp, highest(x))
	}
	return nil
}
