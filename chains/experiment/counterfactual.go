package experiment

import (
	"context"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Bench measures what was played through many chains that are nearly alike: renders share what they
// have in common. Its methods may be called from several goroutines.
type Bench struct{ b *bench }

// NewBench keeps at most memory bytes of signals of a recording, and half as much again for test
// signals.
func NewBench(recording Dry, rate dsp.Hertz, q section.Quality, memory int) Bench {
	return Bench{newBench(recording, rate, q, memory, true)}
}

// Measure is the values of some measures of a chain, which have OfTake or OfPlayed. The error is of
// a render.
func (b Bench) Measure(ctx context.Context, c *board.Chain, list ...*measures.Measure) ([]measures.Figure, error) {
	return b.b.measure(ctx, c.At(0), list)
}

// Change is one measure of b against a, one of measures.Changes, both at one loudness: that of
// Compare without all else. The error is of a render.
func (b Bench) Change(ctx context.Context, m *measures.Measure, a, other *board.Chain) (measures.Figure, error) {
	var sides [2]*measures.Side
	for k, c := range []*board.Chain{a, other} {
		var err error
		if sides[k], err = b.b.side(ctx, k, c.Take, c.At(0), m.Facts, b.b); err != nil {
			return measures.Figure{}, err
		}
		f := measures.Unplayed(sides[k].Samples)
		if f.OK() && !sides[k].Matched {
			f = measures.None("%q is silent", c.Take)
		}
		if !f.OK() {
			return f, nil
		}
	}
	return m.Change(new(Pair).sides(sides[0], sides[1], float64(b.b.rate))), nil
}

// Compare is the difference of b from a as a listener hears it, both at one loudness. What test
// signals tell, facts measures, which may be a bench of a lower quality or b itself.
func (b Bench) Compare(ctx context.Context, a, other *board.Chain, facts Bench) (Pair, error) {
	var sides [2]*measures.Side
	for k, c := range []*board.Chain{a, other} {
		var err error
		if sides[k], err = b.b.side(ctx, k, c.Take, c.At(0), measures.Facts(), facts.b); err != nil {
			return Pair{}, err
		}
	}
	return NewPair(sides[0], sides[1], float64(b.b.rate)), nil
}
