package engine

import (
	"context"
	"crypto/sha256"
	"fmt"
	"math"

	"drywire/chains/board"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
)

// noiseKey identifies what makes noise in a chain beside its circuits: what hums, ripples and
// hisses in them, and the names by which it is drawn.
func noiseKey(c *board.Chain) string {
	h := sha256.New()
	fmt.Fprintf(h, "%v\n%v\n", c.Guitar, c.Supplies)
	for _, b := range c.Every() {
		fmt.Fprintf(h, "%q %s %s %v %v\n", b.Name, b.Kind.Key(), b.Settings, b.Off, b.Powered)
	}
	return fmt.Sprintf(" with noise %x", h.Sum(nil)[:12])
}

// renderNoisy computes the sound with the hiss and hum of the board, once it is there without: all
// of the chain is rendered again, since what clips, gates or compresses answers to noise as well.
// What echoes and reverbs have in them when it begins comes from the sound without noise, where
// that is still known, and is played to them otherwise.
func (w *work) renderNoisy(ctx context.Context, e *Engine) error {
	plain, leave := e.begin(w.loop, w.spot.plain())
	defer leave()
	select {
	case <-plain.ready:
	case <-ctx.Done():
		return ctx.Err()
	}
	if plain.err != nil {
		return plain.err
	}
	level, err := plain.settled(ctx, false)
	if err != nil {
		return err
	}
	if !level.Matched {
		w.silent = &level
	}
	done, err := e.queue.turn(ctx, exactSound)
	if err != nil {
		return err
	}
	defer done()
	ears, l := w.spot.ears(), w.loop
	free, err := e.admission.compute(ctx, 8*l.led(w.lead)*(1+len(ears)))
	if err != nil {
		return err
	}
	defer free()

	lead, fade := w.lead, int(float64(l.rate)/20)
	var pasts []render.Past
	if memo, short := e.known(l.key, w.lead), int(math.Round(settledAtJacks*float64(l.rate))); memo != nil && short < lead {
		if pasts = w.plan.PastOf(memo, plain.plan, w.lead-short); len(pasts) > 0 || w.spot.Tail() == 0 {
			lead = short
		}
	}
	x := make([]float64, l.led(lead))
	l.round(x, -lead)
	r, err := l.plan(w.spot.Take, produce.Quality, -lead, len(x)).Renderer(ears...)
	if err != nil {
		return err
	}
	r.Resume(lead-2*fade, fade, pasts...)
	if err := noise.AddNoise(r, produce.NoiseSeed); err != nil {
		return err
	}
	all := make([][]float64, len(ears))
	if err := r.Run(ctx, render.Volts(x), 0, func(taps [][]float64) error {
		for k, y := range taps {
			all[k] = append(all[k], y...)
		}
		return nil
	}); err != nil {
		return err
	}
	for _, y := range all {
		v, err := l.joined(y, lead)
		if err != nil {
			return fmt.Errorf("take %q: %w", w.name, err)
		}
		w.volts = append(w.volts, v)
	}
	return w.measure()
}
