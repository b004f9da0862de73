package experiment

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// made is the THD of a tone where a take makes it: at the output of the block that would distort
// the most a pure tone as high as what comes to it. What stands behind that filters, and takes the
// fundamental away as well as the harmonics; a THD at the last jack would speak of both. There is
// none where a block that colours follows one with an oscillator. signals is the last tenth of a
// second of the tone at some jacks. Of two paths it is that of the block that makes more.
func made(ctx context.Context, c *board.Chain, rate dsp.Hertz, tone dsp.Tone, refuses bool, signals func(jacks []string) ([][]float64, error)) (measures.Figure, error) {
	hands, err := wiring.Handovers(c, CeilingTone)
	if err != nil {
		return measures.Figure{}, err
	}
	var list []board.Placed
	var between [][2]dsp.Ohm
	var jacks []string
	for k, p := range c.Every() {
		if at := handover(c, k); !p.Off && c.Leads(p) && distorts(p, rate) {
			list = append(list, p)
			between = append(between, [2]dsp.Ohm{dsp.Ohm(cmplx.Abs(hands[at].Source)), dsp.Ohm(cmplx.Abs(hands[at+1].Input))})
			jacks = append(jacks, p.In(), p.Out())
		}
	}
	at, err := signals(append(jacks, c.Ends()...))
	if err != nil {
		return measures.Figure{}, err
	}
	ends := at[len(jacks):]
	if refuses {
		for _, x := range ends {
			if f := measures.Unplayed(x); !f.OK() {
				return f, nil
			}
		}
	}
	most, maker := -1.0, -1
	for k, p := range list {
		own, err := distortionAlone(p, ctx, rate, between[k], tone.Hz, highest(at[2*k]))
		if err != nil {
			return measures.Figure{}, err
		}
		if by := c.Modulated(p.Out()); by != "" && own >= colourTHD {
			return modulated(by), nil
		}
		if own > most {
			most, maker = own, k
		}
	}
	jack, x, by := c.Ends()[0], ends[0], ""
	if maker >= 0 {
		jack, x, by = list[maker].Out(), at[2*maker+1], list[maker].Name
	}
	if by := c.Modulated(jack); by != "" {
		return modulated(by), nil
	}
	f := measures.SteadyTHD(x, float64(rate), float64(tone.Hz))
	f.By = by
	return f, nil
}

// handover is the number of the hand-over into the k-th block of a chain's Every: one more per list
// of blocks.
func handover(c *board.Chain, k int) int {
	if c.Split == nil || k < len(c.Blocks) {
		return k
	}
	if k < len(c.Blocks)+len(c.Split.Left) {
		return k + 1
	}
	return k + 2
}

// distorts reports whether a block can: it has a limit, or a non-linear part.
func distorts(p board.Placed, rate dsp.Hertz) bool {
	w := wiring.Between(p, rate, 1e3, 1e6)
	for _, s := range w.Stages {
		if s.Ceiling > 0 {
			return true
		}
	}
	return !w.Circuit.Linear()
}

func highest(x []float64) float64 {
	top := 0.0
	for _, v := range x {
		top = math.Max(top, math.Abs(v))
	}
	return top
}

// knownAlone is what distortionAlone has found, by all that it depends on.
var knownAlone sync.Map

// distortionAlone is the THD, as a ratio, at the output of a block alone between two impedances, of
// a tone of the given peak voltage at its input; 0 where none comes through.
func distortionAlone(p board.Placed, ctx context.Context, rate dsp.Hertz, between [2]dsp.Ohm, hz dsp.Hertz, peak float64) (float64, error) {
	if peak < measures.Silence {
		return 0, nil
	}
	key := ""
	if p.Piece == nil && p.Kind != nil {
		key = fmt.Sprintf("%s %x %x %x %x %.3g %s", p.Kind.Key(), float64(rate), float64(between[0]), float64(between[1]), float64(hz), peak, p.Settings)
		if thd, ok := knownAlone.Load(key); ok {
			return thd.(float64), nil
		}
	}
	const most = 0.1 // s of a tail
	alone := render.NewPlan(wiring.Between(p, rate, between[0], between[1]))
	t, err := playAlone(p, ctx, alone, hz, peak, most)
	if err == nil && t.peak > 0 { // the source's resistance takes some
		t, err = playAlone(p, ctx, alone, hz, peak*peak/t.peak, most)
	}
	if errors.As(err, new(measure.NotMeasurable)) {
		return 0, nil
	}
	if err == nil && key != "" {
		knownAlone.Store(key, t.thd)
	}
	return t.thd, err
}

// playAlone plays a tone of the given peak voltage at the source through a block alone, as it is
// wired, and measures its last tenth of a second, after a tenth and the block's tail (most seconds
// of it).
func playAlone(p board.Placed, ctx context.Context, w *render.Plan, hz dsp.Hertz, level, most float64) (tried, error) {
	rate := w.Rate
	r, err := w.Renderer(p.In(), p.Out())
	if err != nil {
		return tried{}, err
	}
	last := int(0.1 * float64(rate))
	n := int((0.1+math.Min(most, float64(w.Tail())))*float64(rate)) + last
	var taps [2][]float64
	if err := r.Run(ctx, render.Volts(measures.Sines(n, float64(rate), dsp.Tone{Hz: hz, Volts: dsp.Volt(level)})), 0, func(b [][]float64) error {
		for k := range taps {
			taps[k] = append(taps[k], b[k]...)
		}
		return nil
	}); err != nil {
		return tried{}, err
	}
	before, err := measure.FitHarmonics(taps[0][n-last:], float64(rate), float64(hz), 1)
	if err != nil {
		return tried{}, err
	}
	after, err := measure.FitHarmonics(taps[1][n-last:], float64(rate), float64(hz), 10)
	if err != nil {
		return tried{}, err
	}
	return tried{level, after.THD(), before.Amplitude[0], after.Amplitude[0] / before.Amplitude[0]}, nil
}
