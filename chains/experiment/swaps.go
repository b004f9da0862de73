package experiment

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"drywire/chains/arrange"
	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// SwapMap is what comes of a take when any two of its blocks change places: which swaps can be
// heard, and in what respect. It is also the JSON object that the command prints.
type SwapMap struct {
	Title string `json:"title"`
	Take  string `json:"take"`
	Order string `json:"order"` // as a chain file has it, with what the loops hold
	// of its blocks, along the signal; a switcher before what it holds
	Names    []string `json:"names"`
	Quality  string   `json:"quality"`
	RateHz   int      `json:"rate_hz"`
	Seconds  float64  `json:"seconds"` // of the recording, with the tail that is listened to
	Playback float64  `json:"playback_db_spl"`
	// Swaps are strongest first: by whether and how likely the difference is heard, to 1 %; among
	// those alike, and a probability is soon 1, the one that moves a block less far, for it does as
	// much with less; then by the log-spectral distance.
	Swaps []Swap `json:"swaps"`
	// LeftOut are the exchanges that nobody could make on the floor.
	LeftOut []arrange.LeftOut `json:"left_out"`
}

// Swap is two things that have changed places, or a block that has left its loop, against the take
// as it is: side a of the pair is number 0, side b the number of the swap, from 1.
type Swap struct {
	// a block, a switcher, or "loop 2" for all that it holds; what comes first in the take
	First string `json:"first"`
	// what it changes places with; of a block that leaves its loop, where it goes
	Second string   `json:"second"`
	Apart  int      `json:"apart"` // places from one to the other: 1 for neighbours
	Take   []string `json:"take"`  // what a take says that has it so
	Pair

	move arrange.Move
}

// MarshalJSON implements json.Marshaler.
func (s Swap) MarshalJSON() ([]byte, error) {
	type pair Pair // without its own MarshalJSON
	return s.Values.Object(struct {
		First  string   `json:"first"`
		Second string   `json:"second"`
		Apart  int      `json:"apart"`
		Take   []string `json:"take"`
		pair
	}{s.First, s.Second, s.Apart, s.Take, pair(s.Pair)})
}

// swapTail is for how long after the recording's end is listened at most, in seconds.
const swapTail = 2.0

// SwapsOf is how many swaps there are in a chain.
func SwapsOf(c *board.Chain) int {
	all, _ := arrange.Swaps(c)
	return len(all)
}

// Blocks are what changes places with something, along the signal.
func (m *SwapMap) Blocks() []string {
	return slices.DeleteFunc(slices.Clone(m.Names), func(name string) bool {
		return !slices.ContainsFunc(m.Swaps, func(s Swap) bool { return s.First == name || s.Second == name })
	})
}

// Omitted says what is left out, a sentence for each reason.
func (m *SwapMap) Omitted() (list []string) {
	for _, why := range []struct{ why, text string }{
		{arrange.AtPower, "that nobody could wire, with the power or the loudspeaker of an amplifier, or across them"},
		{arrange.OffItsPath, "that would take a preamplifier off the path of its amplifier"},
	} {
		n := 0
		for _, o := range m.LeftOut {
			if o.Why == why.why {
				n++
			}
		}
		switch {
		case n == 1:
			list = append(list, "Left out: 1 swap "+why.text+".")
		case n > 1:
			list = append(list, fmt.Sprintf("Left out: %d swaps %s.", n, why.text))
		}
	}
	return list
}

// Swappable is an error that says why no two blocks of a chain can change places; nil where some
// can.
func Swappable(c *board.Chain) error {
	if SwapsOf(c) > 0 {
		return nil
	}
	switch n := len(c.Arrangement().Names()); {
	case n == 0:
		return fmt.Errorf("take %q has no blocks; it takes two to swap", c.Take)
	case n == 1:
		return fmt.Errorf("take %q has 1 block; it takes two to swap", c.Take)
	}
	return fmt.Errorf("take %q: no two blocks can change places so that the signal meets them in another order; the power of an amplifier and its loudspeaker stay where they are, "+
		"and a switcher without a buffer or a trim is a wire", c.Take)
}

// Swaps makes every swap of board.Chain.Swaps. Renders share their beginnings (chains.Memo), on all
// cores; done is called after each. The error is Swappable's, or of a render.
func Swaps(ctx context.Context, c *board.Chain, recording []float64, rate dsp.Hertz, q section.Quality, done func()) (*SwapMap, error) {
	if err := Swappable(c); err != nil {
		return nil, err
	}
	c = c.At(0)
	tail := math.Min(swapTail, float64(render.PlanOf(c, rate, q).Tail()))
	recording = append(slices.Clone(recording), make([]float64, int(tail*float64(rate)))...)
	b := newBench(alone(recording, c), rate, q, RankMemory, true)
	m := &SwapMap{
		Title: c.Title, Take: c.Take, Order: c.Arrangement().String(), Names: c.Arrangement().Names(), Quality: q.Name, RateHz: int(rate), Seconds: float64(len(recording)) / float64(rate), Playback: Playback,
	}
	base, err := b.side(ctx, 0, "as it is", c, measures.Facts(), b)
	if err != nil {
		return nil, err
	}
	done()
	moves, out := arrange.Swaps(c)
	m.LeftOut = out
	for _, move := range moves {
		s := Swap{First: move.First, Second: move.Second, Apart: move.Apart, Take: c.Keys(move.Result), move: move}
		if s.Second == "" {
			s.Second = move.Where()
		}
		m.Swaps = append(m.Swaps, s)
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k := range m.Swaps {
		s := &m.Swaps[k]
		g.Go(func() error {
			side, err := b.side(ctx, k+1, s.move.String(), c.Arranged(s.move.Result), measures.Facts(), b)
			if err != nil {
				return err
			}
			s.Pair = NewPair(base, side, float64(rate))
			done()
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	slices.SortStableFunc(m.Swaps, func(a, b Swap) int {
		return cmp.Or(cmp.Compare(a.rung(), b.rung()), cmp.Compare(b.percent(), a.percent()), cmp.Compare(a.Apart, b.Apart), cmp.Compare(b.distance(), a.distance()))
	})
	return m, nil
}

// rung puts what is heard first.
func (s *Swap) rung() int {
	return slices.Index([]string{HeardMostly, HeardInParts, HeardNot, HeardSame, HeardUnknown}, s.Heard)
}

// percent is how likely the difference is heard.
func (s *Swap) percent() float64 { return math.Round(100 * s.Hearing.Probability.Value) }

func (s *Swap) distance() float64 {
	if f := s.Of(measures.SpectralMean); f.OK() {
		return f.Value
	}
	return 0
}

// side renders a chain, brings it to the target loudness and gathers facts about it.
func (b *bench) side(ctx context.Context, number int, name string, c *board.Chain, facts []*measures.Measure, from *bench) (*measures.Side, error) {
	p, err := b.play(ctx, c)
	if err != nil {
		return nil, err
	}
	out := p.out
	s := &measures.Side{Number: number, Name: name, Played: c.RecordingOf}
	values, err := from.measure(ctx, c, facts, false)
	if err != nil {
		return nil, err
	}
	for k, m := range facts {
		s.Facts = append(s.Facts, measures.Value{Measure: m, Figure: values[k]})
	}
	settled, err := b.settled(p.key, out)
	if err != nil {
		return nil, err
	}
	s.Matched, s.Gain, s.Samples = settled.Matched, settled.Gain, amplified(out, settled.Gain)
	s.Before = measures.Read(settled.Level-dsp.ToDB(settled.Gain), nil)
	return s, nil
}

// settled is a signal brought to Target, worked out once for its key.
func (b *bench) settled(key [32]byte, x []float64) (Settled, error) {
	b.mu.Lock()
	s, ok := b.levelled[key]
	b.mu.Unlock()
	if ok {
		return s, nil
	}
	peak, err := measure.TruePeak(x)
	if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
		return s, err
	}
	s, err = Settle(peak, Target, func(gain float64) (Reading, error) {
		m := NewMeter(float64(b.rate), ByLoudness(int64(len(x)), float64(b.rate)))
		m.Push(amplified(x, gain))
		return m.Reading()
	})
	if err == nil {
		b.mu.Lock()
		b.levelled[key] = s
		b.mu.Unlock()
	}
	return s, err
}

func amplified(x []float64, gain float64) []float64 {
	y := make([]float64, len(x))
	for k, v := range x {
		y[k] = gain * v
	}
	return y
}
