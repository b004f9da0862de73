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
	Title    string   `json:"title"`
	Take     string   `json:"take"`
	Order    []string `json:"order"`
	Quality  string   `json:"quality"`
	RateHz   int      `json:"rate_hz"`
	Seconds  float64  `json:"seconds"` // of the recording, with the tail that is listened to
	Playback float64  `json:"playback_db_spl"`
	// Swaps are strongest first: by whether and how likely the difference is heard, to 1 %; among
	// those alike, and a probability is soon 1, the one that moves a block less far, for it does as
	// much with less; then by the log-spectral distance.
	Swaps []Swap `json:"swaps"`
	// LeftOut are the exchanges that nobody could make on the floor.
	LeftOut []LeftOut `json:"left_out"`
}

// LeftOut is two blocks that do not change places, and why not.
type LeftOut struct {
	First  string `json:"first"` // the block that comes first in the take
	Second string `json:"second"`
	Why    string `json:"why"` // InALoop or AtPower
}

// Why an exchange is left out.
const (
	InALoop = "in a loop of a switcher"      // what is in a loop stays there
	AtPower = "at the power of an amplifier" // one of the two is its power or its loudspeaker, or those stand between them
)

// Swap is two blocks that have changed places, against the take as it is: side a of the pair is
// number 0, side b the number of the swap, from 1.
type Swap struct {
	First  string   `json:"first"` // the block that comes first in the take
	Second string   `json:"second"`
	Apart  int      `json:"apart"` // places from one to the other: 1 for neighbours
	Order  []string `json:"order"`
	Pair
}

// MarshalJSON implements json.Marshaler.
func (s Swap) MarshalJSON() ([]byte, error) {
	type pair Pair // without its own MarshalJSON
	return s.Values.Object(struct {
		First  string   `json:"first"`
		Second string   `json:"second"`
		Apart  int      `json:"apart"`
		Order  []string `json:"order"`
		pair
	}{s.First, s.Second, s.Apart, s.Order, pair(s.Pair)})
}

// swapTail is for how long after the recording's end is listened at most, in seconds.
const swapTail = 2.0

// swapsOf is every two blocks that can change places, and those that cannot. A preamplifier can:
// what was in front of it is in its loop then. A block of the board behind the power of an
// amplifier, or that power in front of the board, cannot.
func swapsOf(c *board.Chain) (all []Swap, out []LeftOut) {
	all, out = []Swap{}, []LeftOut{}
	for i, a := range c.Blocks {
		for j := i + 1; j < len(c.Blocks); j++ {
			b := c.Blocks[j]
			switch {
			case a.Piece != nil || b.Piece != nil: // of a switcher, and no block
			case a.Switcher != "" || b.Switcher != "":
				out = append(out, LeftOut{a.Name, b.Name, InALoop})
			case board.Reordered(c.Blocks, exchanged(c.Blocks, i, j)) != "":
				out = append(out, LeftOut{a.Name, b.Name, AtPower})
			default:
				all = append(all, Swap{First: a.Name, Second: b.Name, Apart: j - i})
			}
		}
	}
	return all, out
}

// exchanged is blocks with two of them exchanged.
func exchanged(line []board.Placed, i, j int) []board.Placed {
	line = slices.Clone(line)
	line[i], line[j] = line[j], line[i]
	return line
}

// SwapsOf is how many swaps there are in a chain.
func SwapsOf(c *board.Chain) int {
	all, _ := swapsOf(c)
	return len(all)
}

// Blocks are the blocks that change places with others, in the take's order.
func (m *SwapMap) Blocks() []string {
	return slices.DeleteFunc(slices.Clone(m.Order), func(name string) bool {
		return !slices.ContainsFunc(m.Swaps, func(s Swap) bool { return s.First == name || s.Second == name })
	})
}

// Omitted says what is left out, a sentence for each reason.
func (m *SwapMap) Omitted() (list []string) {
	of := func(why string) (n int) {
		for _, o := range m.LeftOut {
			if o.Why == why {
				n++
			}
		}
		return n
	}
	count := func(n int) string {
		if n == 1 {
			return "1 swap"
		}
		return fmt.Sprintf("%d swaps", n)
	}
	if n := of(AtPower); n > 0 {
		list = append(list, "Left out: "+count(n)+" that nobody could wire, with the power or the loudspeaker of an amplifier, or across them.")
	}
	if n := of(InALoop); n > 0 {
		list = append(list, "Left out: "+count(n)+" with what is in a switcher's loops, which stays there.")
	}
	return list
}

// Swappable says why no two blocks of a chain can change places; nil where some can.
func Swappable(c *board.Chain) error {
	switch {
	case c.Split != nil:
		return fmt.Errorf("take %q splits into two paths; blocks are swapped on one", c.Take)
	case len(c.Blocks) == 0:
		return fmt.Errorf("take %q has no blocks; it takes two to swap", c.Take)
	case len(c.Blocks) == 1:
		return fmt.Errorf("take %q has 1 block; it takes two to swap", c.Take)
	case SwapsOf(c) == 0:
		return fmt.Errorf("take %q: no two blocks can be swapped; those in a switcher's loops stay where they are, and so do the power of an amplifier and its loudspeaker", c.Take)
	}
	return nil
}

// Swaps swaps every two blocks of a chain. Renders share their beginnings (render.Memo), on all
// cores; done is told of each that is finished.
func Swaps(ctx context.Context, c *board.Chain, recording []float64, rate dsp.Hertz, q section.Quality, done func()) (*SwapMap, error) {
	if err := Swappable(c); err != nil {
		return nil, err
	}
	c = c.At(0)
	tail := math.Min(swapTail, float64(render.PlanOf(c, rate, q).Tail()))
	recording = append(slices.Clone(recording), make([]float64, int(tail*float64(rate)))...)
	b := newBench(recording, rate, q, RankMemory, true)
	m := &SwapMap{
		Title: c.Title, Take: c.Take, Order: orderOf(c), Quality: q.Name, RateHz: int(rate), Seconds: float64(len(recording)) / float64(rate), Playback: Playback,
	}
	base, err := b.side(ctx, 0, "as it is", c)
	if err != nil {
		return nil, err
	}
	done()
	m.Swaps, m.LeftOut = swapsOf(c)
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k := range m.Swaps {
		s := &m.Swaps[k]
		g.Go(func() error {
			other := *c
			other.Blocks = slices.Clone(c.Blocks)
			i, j := placeOf(c, s.First), placeOf(c, s.Second)
			other.Blocks[i], other.Blocks[j] = other.Blocks[j], other.Blocks[i]
			s.Order = orderOf(&other)
			side, err := b.side(ctx, k+1, fmt.Sprintf("%s and %s swapped", s.First, s.Second), &other)
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

func placeOf(c *board.Chain, block string) int {
	return slices.IndexFunc(c.Blocks, func(p board.Placed) bool { return p.Name == block })
}

// side renders a chain, brings it to the target loudness and gathers the facts about it.
func (b *bench) side(ctx context.Context, number int, name string, c *board.Chain) (*measures.Side, error) {
	p, err := b.play(ctx, c)
	if err != nil {
		return nil, err
	}
	out := p.out
	s := &measures.Side{Number: number, Name: name}
	for _, m := range measures.Facts() {
		f, err := m.OfTake(ctx, p)
		if err != nil {
			return nil, err
		}
		s.Facts = append(s.Facts, measures.Value{Measure: m, Figure: f})
	}
	peak, err := measure.TruePeak(out)
	if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
		return nil, err
	}
	settled, err := Settle(peak, Target, func(gain float64) (Reading, error) {
		m := NewMeter(float64(b.rate), ByLoudness(int64(len(out)), float64(b.rate)))
		m.Push(amplified(out, gain))
		return m.Reading()
	})
	if err != nil {
		return nil, err
	}
	s.Matched, s.Gain, s.Samples = settled.Matched, settled.Gain, amplified(out, settled.Gain)
	s.Before = measures.Read(settled.Level-dsp.ToDB(settled.Gain), nil)
	return s, nil
}

func amplified(x []float64, gain float64) []float64 {
	y := make([]float64, len(x))
	for k, v := range x {
		y[k] = gain * v
	}
	return y
}
