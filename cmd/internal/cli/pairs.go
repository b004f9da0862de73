package cli

import (
	"context"
	"fmt"
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
func pairTakes(ctx context.Context, e *experiment.Comparison, takes []*rendered) error {
	sides := make([]*measures.Side, len(takes))
	g, facts := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for k, d := range takes {
		g.Go(func() (err error) {
			sides[k] = &measures.Side{
				Number: k + 1, Name: d.chain.Take, Matched: d.settled.Matched, Gain: d.settled.Gain,
				Before: measures.Figure{Value: d.settled.Level - dsp.ToDB(d.settled.Gain)},
			}
			if !d.settled.Matched {
				sides[k].Before = measures.Figure{Why: "silence"}
				return nil
			}
			sides[k].Facts, err = experiment.FactsOf(facts, d.chain, d.wiring.Rate)
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
func (d *rendered) beginning(seconds float64) ([]float64, error) {
	most := int(math.Min(float64(d.frames), seconds*float64(d.wiring.Rate)))
	x := make([]float64, 0, most)
	block := make([]float64, chunk)
	for p := d.play(); len(x) < most; {
		n, err := p.next(block, d.shape(d.settled.Gain))
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

// mostPairs is how many pairs the tables name.
const mostPairs = 10

// printSentences prints what a player will hear.
func printSentences(s streams, e *experiment.Comparison) {
	if len(e.Pairs) == 0 {
		return
	}
	s.printf("\nWhat a player will hear:\n")
	for _, p := range e.Pairs[:min(len(e.Pairs), mostPairs)] {
		paragraph(s.out, fmt.Sprintf("%5s  ", fmt.Sprintf("%d/%d", p.A, p.B)), p.Sentence, 98)
	}
}

// printPairs prints the numbers that say so.
func printPairs(s streams, e *experiment.Comparison) {
	if len(e.Pairs) == 0 {
		return
	}
	shown := e.Pairs[:min(len(e.Pairs), mostPairs)]
	s.printf("\n")
	list := measures.Printed(measures.Changes(), nil)
	t := table{header: append([]string{" takes", "heard"}, headings(list)...)}
	for _, p := range shown {
		t.row(append([]string{fmt.Sprintf("%d/%d", p.A, p.B), p.Heard}, texts(list, p.Values)...)...)
	}
	t.within(s.out, width)
	if n := len(e.Pairs) - len(shown); n > 0 {
		s.printf("%s; --json has them all.\n", plural(n, "more pair", "more pairs"))
	}
	first := ""
	if e.Seconds > experiment.PairSeconds {
		first = fmt.Sprintf(", the first %.0f s", experiment.PairSeconds)
	}
	paragraph(s.out, "", fmt.Sprintf("The second take against the first. Heard: by ITU-R BS.1387, full scale at %.0f dB SPL%s; all but the level after matching; "+
		"null: after taking a delay within 1 ms and polarity back; bass to 250 Hz, treble from 2 kHz; noise at rest; THD of a 997 Hz tone; sustain: 20 dB of a falling note; "+
		"spectra: mean log-spectral distance.", experiment.Playback, first), width)
}
