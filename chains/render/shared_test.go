package render_test

import (
	"context"
	"math"
	"slices"
	"sync"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/dsp/section"
)

// TestEightRenderersOfOneWiring: a wiring, and its plan with a knob that moves, serve eight
// renderers at once with the same bits. Everything with memory is in it: delay, reverb, compressor,
// divider, modulation, a power amplifier with sag, a loudspeaker. CI runs it under the race
// detector.
func TestEightRenderersOfOneWiring(t *testing.T) {
	const blocks = "drive: {kind: overdrive}; squeeze: {kind: compressor}; octave: {kind: octave-down}; swirl: {kind: phaser}; " +
		"echo: {kind: delay, time: 50 ms, depth: 1 ms}; hall: {kind: reverb}; power: {kind: poweramp, sag: 8}; box: {kind: speaker}"
	const order = "squeeze, octave, drive, swirl, echo, hall, power, box"
	const rate = 48000
	in := chaintest.Tone(rate/4, rate, 196, 0.2)
	for _, set := range [][]string{nil, {"echo.mix: {at: {0 s: 10 %, 200 ms: 60 %}}"}} {
		plan := render.PlanOf(chaintest.Chain(t, blocks, order, set...), rate, section.Draft)
		var got [8][]float64
		var faults [8]error
		var all sync.WaitGroup
		for k := range got {
			all.Go(func() {
				r, err := plan.Renderer("out")
				if err != nil {
					faults[k] = err
					return
				}
				faults[k] = r.Run(context.Background(), render.Volts(in), 0.1, func(taps [][]float64) error {
					got[k] = append(got[k], taps[0]...)
					return nil
				})
			})
		}
		all.Wait()
		for k, x := range got {
			if faults[k] != nil {
				t.Fatal(faults[k])
			}
			if !slices.Equal(x, got[0]) {
				at := 0
				for x[at] == got[0][at] {
					at++
				}
				t.Errorf("set %v: renderer %d differs from renderer 0 at sample %d: %v and %v V", set, k, at, x[at], got[0][at])
			}
		}
		if top := slices.MaxFunc(got[0], func(a, b float64) int { return int(math.Copysign(1, math.Abs(a)-math.Abs(b))) }); math.Abs(top) < 1e-6 {
			t.Errorf("nothing comes out: %v V at most", top)
		}
	}
}
