package render_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp/section"
)

// Rows of every kind: sections, a limiter and a power amplifier, one that begins with a stage, and
// what is left of them in between.
const (
	rowBlocks = "power: {kind: poweramp}; boost: {kind: boost, gain: 20 dB}; drive: {kind: overdrive}; fuzz: {kind: op-amp-fuzz}; vol: {kind: volume}; " +
		"dist: {kind: distortion}; buffer: {kind: buffer}; valves: {kind: preamp}; echo: {kind: delay, time: 20 ms}; box: {kind: speaker}"
	rowOrder = "boost, drive, vol, fuzz, buffer, dist, echo, valves, power, box"
)

func rowInput(n int) []float64 {
	rng := rand.New(rand.NewPCG(3, 4))
	in := chaintest.Tone(n, 48000, 330, 0.2)
	for k := range in {
		in[k] += 0.02 * rng.NormFloat64()
	}
	return in
}

// What is remembered is what a render gives, bit for bit, at every jack of a row too, whichever of
// them are read together; and so it is of Orders that change nothing.
func TestRowsThroughMemo(t *testing.T) {
	in := rowInput(3000)
	c := chaintest.Chain(t, rowBlocks, rowOrder)
	w := render.PlanOf(c, 48000, section.Draft)
	m := render.NewMemo(in, 48000, section.Draft, 1<<30)
	orders := render.NewOrders(in, 48000, section.Draft, 1<<30)
	orders.Literal = true
	order := orders.Order(w)
	jacks := c.Jacks()
	all := rendertest.Render(t, c, 48000, section.Draft, render.Volts(in), jacks...)
	for k, jack := range jacks {
		got, err := m.Signal(context.Background(), w, jack)
		if err != nil {
			t.Fatal(err)
		}
		again, err := order.Signal(context.Background(), jack)
		if err != nil {
			t.Fatal(err)
		}
		alone := rendertest.Render(t, c, 48000, section.Draft, render.Volts(in), jack)[0]
		for what, x := range map[string][]float64{"remembered": got, "in orders": again, "alone": alone} {
			if !slices.Equal(x, all[k]) {
				t.Errorf("%s %s differs from what is rendered with all jacks by %.1f dB", jack, what, chaintest.Residual(x, all[k]))
			}
		}
	}
}

func TestRowsInAnyCalls(t *testing.T) {
	in := rowInput(4000)
	c := chaintest.Chain(t, rowBlocks, rowOrder)
	jacks := c.Jacks()
	want := rendertest.Render(t, c, 48000, section.Draft, render.Volts(in), jacks...)
	for _, sizes := range [][]int{{1}, {7}, {479}, {1, 512, 3, 100}} {
		got := rendertest.Render(t, c, 48000, section.Draft, &chaintest.Ragged{Rest: in, Sizes: sizes}, jacks...)
		for j := range jacks {
			if !slices.Equal(got[j], want[j]) {
				t.Errorf("pieces of %v: %s differs by %.1f dB", sizes, jacks[j], chaintest.Residual(got[j], want[j]))
			}
		}
	}
}

// A take with a row is where a take without one is: with levels at which nothing clips, a click
// comes out of two overdrives where it comes out of one, but for what their filters delay.
func TestRowsAreAligned(t *testing.T) {
	for _, q := range []section.Quality{section.Draft, section.Normal} {
		for _, rate := range []float64{44100, 48000, 96000} {
			in := make([]float64, int(rate)/4)
			for k := range in {
				in[k] = 1e-6 * math.Sin(2*math.Pi*800*float64(k)/rate)
			}
			// apart: a delay that is off the signal, which has memory, between them
			row := chaintest.Chain(t, "a: {kind: distortion}; b: {kind: distortion}", "a, b")
			apart := chaintest.Chain(t, "a: {kind: distortion}; echo: {kind: delay, mix: 0 %}; b: {kind: distortion}", "a, echo, b")
			x := rendertest.Render(t, row, rate, q, render.Volts(in), "out")[0]
			y := rendertest.Render(t, apart, rate, q, render.Volts(in), "out")[0]
			phase := func(x []float64) float64 {
				var re, im float64
				for k := len(x) / 2; k < len(x)/2+int(rate)/20; k++ {
					turn := 2 * math.Pi * 800 * float64(k) / rate
					re, im = re+x[k]*math.Cos(turn), im+x[k]*math.Sin(turn)
				}
				return math.Atan2(im, re)
			}
			// a sample is 0.05 to 0.11 rad; the buffers of the delay load by less than 0.003
			if d := phase(x) - phase(y); math.Abs(d) > 0.005 {
				t.Errorf("%s at %v Hz: %v rad between a row and the same apart", q.Name, rate, d)
			}
		}
	}
}
