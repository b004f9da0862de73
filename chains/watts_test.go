package chains_test

import (
	"fmt"
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// ratedLoad is what a power amplifier's watts are stated into.
const ratedLoad = 8 // Ω

// atTheLoad is what a 1 kHz tone of the guitar makes of a power amplifier once its supply has
// settled: peak at its input in V, power into its load in W by the RMS of the voltage across it, and
// distortion there.
func atTheLoad(t *testing.T, c *board.Chain, peak float64) (in, watts, thd float64) {
	t.Helper()
	const rate = 48000
	tone := chaintest.Tone(rate/2, rate, 1000, peak)
	y := rendertest.Render(t, c, rate, section.Normal, render.Volts(tone), "power.in", "dummy.in")
	// the end: whole periods, behind five times the supply's 40 ms
	settled := func(x []float64) []float64 { return x[len(x)-rate/5:] }
	h, err := measure.FitHarmonics(settled(y[1]), rate, 1000, 20)
	if err != nil {
		t.Fatal(err)
	}
	v := chaintest.Rms(settled(y[1]))
	return math.Sqrt2 * chaintest.Rms(settled(y[0])), v * v / ratedLoad, h.THD()
}

// A power amplifier's watts are its distortion-limited output power, as IEC 60268-3 (from memory)
// calls it: what it gives to its rated load of 8 Ω when the output has 10 % of distortion, at which
// valve amplifiers are rated (common practice, no source), with the supply as it is under that load.
// With the level at noon that takes a sine of -10 dBV, the nominal level of equipment that is not
// balanced (common practice), and at 10 a sixth of it more, as the taper has it: 15 %.
func TestWattsAreWatts(t *testing.T) {
	for _, c := range []struct{ watts, sag, level float64 }{{40, 3, 5}, {40, 0, 5}, {5, 3, 10}, {100, 10, 5}, {18, 6, 3}} {
		name := fmt.Sprintf("%v W, sag %v, level %v", c.watts, c.sag, c.level)
		chain := chaintest.Chain(t, fmt.Sprintf("keep: {kind: buffer}; power: {kind: poweramp, watts: %v, sag: %v, level: %v}; dummy: {kind: load-box}", c.watts, c.sag, c.level), "keep, power, dummy")
		low, high := 1e-3, 4.0
		for high/low > 1.003 {
			middle := math.Sqrt(low * high)
			if _, _, thd := atTheLoad(t, chain, middle); thd < 0.1 {
				low = middle
			} else {
				high = middle
			}
		}
		in, watts, thd := atTheLoad(t, chain, low)
		t.Logf("%s: %.2f W with %.1f %% of distortion, from a peak of %.3f V", name, watts, 100*thd, in)
		if math.Abs(watts/c.watts-1) > 0.05 {
			t.Errorf("%s: %.2f W into 8 Ω at 10 %% of distortion, want %v W within 5 %%", name, watts, c.watts)
		}
		// the taper is 15 % at 5, and 5.88 % at 3
		dBV := map[float64]float64{3: -10 + dsp.ToDB(0.15/0.0588), 5: -10, 10: -10 + dsp.ToDB(0.15)}[c.level]
		if got := dsp.VoltsToDBV(in / math.Sqrt2); math.Abs(got-dBV) > 0.3 {
			t.Errorf("%s: from %.2f dBV, want %.2f dBV", name, got, dBV)
		}
	}
}

// Noon is noon: with every knob of an amplifier at noon, a guitar at the level that figures are
// stated for (a tone of 200 mV peak: what the strings of a humbucker give together, common practice)
// takes a power amplifier to between a quarter and all of its watts. That is what players mean by
// noon: a stage hears it, and there is more to come.
func TestNoonIsNoon(t *testing.T) {
	chain := chaintest.Chain(t, "amp: {kind: preamp}; power: {kind: poweramp}; dummy: {kind: load-box}", "amp, power, dummy")
	in, watts, _ := atTheLoad(t, chain, 0.2)
	t.Logf("a tone of 200 mV is %.3f V at the power amplifier and %.2f W of its 40", in, watts)
	if watts < 40/4 || watts > 40 {
		t.Errorf("with all knobs at noon, a tone of 200 mV gives %.3f W, want 10 to 40 W", watts)
	}
}
