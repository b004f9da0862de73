package produce

import (
	"context"
	"math"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
)

// pairTakes says of every two takes of which there is a null how they differ and whether a listener
// could tell.
func pairTakes(ctx context.Context, e *experiment.Comparison, takes []*Rendered, found []*experiment.Measures) error {
	sides := make([]*measures.Side, len(takes))
	g, facts := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, d := range takes {
		g.Go(func() (err error) {
			sides[k] = &measures.Side{
				Number: k + 1, Name: d.Plan.Chain.Take, Matched: d.Settled.Matched, Gain: d.Settled.Gain, Played: d.Plan.Chain.RecordingOf,
				Before: measures.Figure{Value: d.Settled.Level - dsp.ToDB(d.Settled.Gain)},
			}
			sides[k].Clean = measures.None("not measured")
			if found[k] != nil {
				sides[k].Clean = found[k].LeastClean(d.Plan.Chain)
			}
			if !d.Settled.Matched {
				sides[k].Before = measures.Figure{Why: "silence"}
				return nil
			}
			sides[k].Facts, err = experiment.FactsOf(facts, d.Plan.Chain, d.Plan.Rate, found[k])
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}

	// How often a take's samples are still wanted; of many takes, most are compared once.
	wanted := make([]int, len(takes))
	for _, n := range e.Nulls {
		wanted[n.A-1]++
		wanted[n.B-1]++
	}
	var mu sync.Mutex
	sound := func(k int) (*measures.Side, error) {
		mu.Lock()
		defer mu.Unlock()
		if sides[k].Samples == nil {
			x, err := takes[k].beginning(experiment.PairSeconds)
			if err != nil {
				return nil, err
			}
			sides[k].Samples = x
		}
		side := *sides[k]
		if wanted[k]--; wanted[k] == 0 {
			sides[k].Samples = nil
		}
		return &side, nil
	}
	e.Pairs = make([]experiment.Pair, len(e.Nulls))
	g, ctx = errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, n := range e.Nulls {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			a, err := sound(n.A - 1)
			if err != nil {
				return err
			}
			b, err := sound(n.B - 1)
			if err != nil {
				return err
			}
			e.Pairs[k] = experiment.NewPair(a, b, float64(e.RateHz))
			return nil
		})
	}
	return g.Wait()
}

// beginning is the first seconds of a take as it is written, both channels of one in stereo added.
func (d *Rendered) beginning(seconds float64) ([]float64, error) {
	most := int(math.Min(float64(d.frames), seconds*float64(d.Plan.Rate)))
	x := make([]float64, 0, most)
	block := make([]float64, chunk)
	for p := d.play(); len(x) < most; {
		n, err := p.next(block, d.shape(d.Settled.Gain))
		if err != nil {
			return nil, err
		}
		if n == 0 {
			break
		}
		x = append(x, block[:min(n, most-len(x))]...)
	}
	return x, nil
}
