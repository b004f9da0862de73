package engine

import (
	"context"

	"golang.org/x/sync/errgroup"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/noise"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

// Verdict says what b sounds like against a, with the pair measures of a comparison, on the first
// experiment.PairSeconds of their exact sounds. What cannot be measured says so in the pair; an
// error is that of a sound that could not be made, or of ctx.
func (e *Engine) Verdict(ctx context.Context, r Region, a, b *produce.Take) (experiment.Pair, error) {
	takes := [2]*produce.Take{a, b}
	l, out, err := e.enter(ctx, r, listening{spots: []Spot{{Take: a}, {Take: b}}})
	if err != nil {
		return experiment.Pair{}, err
	}
	defer out()
	var works [2]*work
	for k, t := range takes {
		w, leave := e.begin(l.of(t), Spot{Take: t})
		defer leave()
		works[k] = w
	}
	for _, w := range works {
		select {
		case <-w.ready:
		case <-ctx.Done():
			return experiment.Pair{}, ctx.Err()
		}
		if w.err != nil {
			return experiment.Pair{}, w.err
		}
	}
	done, err := e.queue.turn(ctx, exactSound)
	if err != nil {
		return experiment.Pair{}, err
	}
	defer done()
	bytes := 2 * 8 * min(int(r.To-r.From), int(experiment.PairSeconds*float64(l.rate())))
	for _, w := range works { // both at once
		bytes += noise.Bytes(w.plan)
	}
	free, err := e.admission.compute(ctx, e.within(bytes))
	if err != nil {
		return experiment.Pair{}, err
	}
	defer free()
	var sides [2]*measures.Side
	g, within := errgroup.WithContext(ctx)
	for k, w := range works {
		g.Go(func() (err error) {
			sides[k], err = w.side(within, k+1, takes[k], len(works[1-k].volts) == 2)
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return experiment.Pair{}, err
	}
	target, _ := experiment.Common([]experiment.Settled{*works[0].settledAs(works[1]), *works[1].settledAs(works[0])})
	for k, s := range sides {
		if s.Matched {
			s.Gain *= dsp.FromDB(target - works[k].settledAs(works[1-k]).Level)
		}
		for i := range s.Samples {
			s.Samples[i] *= s.Gain
		}
	}
	return experiment.NewPair(sides[0], sides[1], float64(l.rate())), nil
}

// settledAs is the level of a sound beside another, which has been asked for before.
func (s *Sound) settledAs(other *work) *experiment.Settled {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(other.volts) == 2 && len(s.volts) == 1 {
		return s.levels[1]
	}
	return s.levels[0]
}

// side is a sound as a comparison wants it: its beginning in volts, both channels added, and its
// gain as it is settled alone. stereo says that the other side has two channels.
func (s *Sound) side(ctx context.Context, number int, t *produce.Take, stereo bool) (*measures.Side, error) {
	level, err := s.settled(ctx, stereo)
	if err != nil {
		return nil, err
	}
	d := &measures.Side{Number: number, Name: t.Chain.Take, Matched: level.Matched, Gain: level.Gain, Played: t.RecordingOf, Before: measures.Figure{Why: "silence"}}
	n := min(len(s.volts[0]), int(experiment.PairSeconds*float64(s.rate)))
	d.Samples = make([]float64, n)
	for _, x := range s.volts {
		for k := range n {
			d.Samples[k] += float64(x[k])
		}
	}
	if !level.Matched {
		return d, nil
	}
	d.Before = measures.Figure{Value: level.Level - dsp.ToDB(level.Gain)}
	s.mu.Lock()
	d.Facts = s.facts
	s.mu.Unlock()
	if d.Facts == nil {
		if d.Facts, err = experiment.FactsOf(ctx, t.Chain, s.rate, nil); err != nil {
			return nil, err
		}
		s.mu.Lock()
		s.facts = d.Facts
		s.mu.Unlock()
	}
	return d, nil
}
