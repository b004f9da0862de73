package experiment

import (
	"context"
	"slices"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// Bench measures what was played through many chains that are nearly alike: renders share what they
// have in common. Its methods may be called from several goroutines.
type Bench struct {
	b     *bench
	brief bool
}

// NewBench keeps at most memory bytes of signals of a recording, and half as much again for test
// signals.
func NewBench(recording Dry, rate dsp.Hertz, q section.Quality, memory int) Bench {
	return Bench{b: newBench(recording, rate, q, memory, true)}
}

// Brief is the bench with noise parts that have to be rendered rendered briefly, to be compared with
// one another and with nothing else. It shares all else.
func (b Bench) Brief() Bench { return Bench{b.b, true} }

// Measure is the values of some measures of a chain, which have OfTake or OfPlayed. The error is of
// a render.
func (b Bench) Measure(ctx context.Context, c *board.Chain, list ...*measures.Measure) ([]measures.Figure, error) {
	return b.b.measure(ctx, c.At(0), list, b.brief)
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

// Changed is some measures of one take against another, and what test signals tell of either.
type Changed struct {
	measures.Values
	A, B measures.Values
}

// Changes is some measures of b against a, both at one loudness, without the work of Compare's
// others. What test signals tell, facts measures, as there. Both are aligned as there, though what is
// read of powers alone could do without: between takes that have little in common, what is left out
// at the ends and the drift that is taken back were found to make 0.7 dB in a band.
func (b Bench) Changes(ctx context.Context, list []*measures.Measure, a, other *board.Chain, facts Bench) (Changed, error) {
	var wanted []*measures.Measure
	for _, m := range list {
		for _, f := range m.Facts {
			if !slices.Contains(wanted, f) {
				wanted = append(wanted, f)
			}
		}
	}
	var sides [2]*measures.Side
	for k, c := range []*board.Chain{a, other} {
		var err error
		if sides[k], err = b.b.side(ctx, k, c.Take, c.At(0), wanted, facts.b); err != nil {
			return Changed{}, err
		}
	}
	changed := Changed{A: sides[0].Facts, B: sides[1].Facts}
	for _, s := range sides {
		f := measures.Unplayed(s.Samples)
		if f.OK() && !s.Matched {
			f = measures.None("%s", measure.Silence)
		}
		if !f.OK() {
			changed.Values = measures.NoValues(list, measures.None("%q: %s", s.Name, f.Why))
			return changed, nil
		}
	}
	both := new(Pair).sides(sides[0], sides[1], float64(b.b.rate))
	for _, m := range list {
		changed.Values = append(changed.Values, measures.Value{Measure: m, Figure: m.Change(both)})
	}
	return changed, nil
}
