package noise

import (
	"drywire/chains/board"
	"drywire/chains/render"
	"drywire/dsp/section"
	"math"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/dsp"
)

const hot = "fuzz: {kind: op-amp-fuzz, sustain: 9}; dist: {kind: distortion, distortion: 8}; gate: {kind: gate}"

// A gate behind much gain is held open by the hiss and the hum that are meant to be under it: then
// it is no quieter last than first, but far louder.
func TestHissOpensGate(t *testing.T) {
	level := func(order string) float64 {
		l, err := At(chaintest.Chain(t, hot, order, "guitar.pickup: single-coil"), 48000, "out")
		if err != nil {
			t.Fatal(err)
		}
		return dsp.ToDB(l.RMS(AWeighted))
	}
	first, last := level("gate, fuzz, dist"), level("fuzz, dist, gate")
	t.Logf("gate first %.1f dBV, last %.1f dBV", first, last)
	if got := last - first; !(math.Abs(got-28.6) < 1) { // by a rendering with the noise of every element and hum
		t.Errorf("gate last is %.1f dB louder than first, want 28.6", got)
	}
}

// rest renders a chain at rest with its noise.
func rest(t *testing.T, c *board.Chain, seconds int) []float64 {
	t.Helper()
	r, err := render.PlanOf(c, 48000, section.Draft).Renderer("out")
	if err != nil {
		t.Fatal(err)
	}
	if err := AddNoise(r, 3); err != nil {
		t.Fatal(err)
	}
	return runNoise(t, r, make([]float64, seconds*48000))[0]
}

// The pauses of a take have the level that the ledger says, with hum and ripple, by small-signal
// responses or rendered: of a recording that was made into a load too, whose winding hangs from the
// recorded voltage, and of two paths that share a noise.
func TestPausesOfTake(t *testing.T) {
	const bound = 0.5 // dB
	loaded := chaintest.MustParse(t, `
drywire: 1
recording: {file: a.wav, full_scale: 1 V, load: {resistance: 1 MΩ, cable: 3 m}}
guitar: {pickup: single-coil, volume: 7}
supplies: {daisy: {isolated: no, outputs: {1: {voltage: 9 V, current: 100 mA}}}}
blocks: {fuzz: {kind: fuzz, power: daisy.1}, boost: {kind: boost, power: daisy.1}, a: {kind: buffer}, b: {kind: eq, level: 3 dB}}
order: [fuzz, boost]
takes:
  - {name: fuzz first}
  - {name: boost first, order: [boost, fuzz]}
  - {name: paths, order: [boost, {split: {left: [a], right: [b], mix: mono}}]}
`)
	list := append(loaded.Chains(), chaintest.Chain(t, hot, "fuzz, dist, gate", "guitar.pickup: single-coil"))
	for _, c := range list {
		l, err := At(c, 48000, "out")
		if err != nil {
			t.Fatal(err)
		}
		m := newNoiseMeter(48000, noiseCells)
		h := m.spectrum(rest(t, c, 5)[48000:])
		heard := &Ledger{Centres: h.centres, Widths: m.widths, Whole: h.density}
		for _, w := range []struct {
			name string
			by   func(float64) float64
		}{{"unweighted", Flat}, {"A-weighted", AWeighted}} {
			off := dsp.ToDB(heard.RMS(w.by) / l.RMS(w.by))
			t.Logf("%s: %s %.2f dBV, off by %+.3f dB, near %v", c.Take, w.name, dsp.ToDB(l.RMS(w.by)), off, l.Near)
			if !(math.Abs(off) <= bound) {
				t.Errorf("%s: %s, the pause is %+.2f dB off the ledger, want %v dB", c.Take, w.name, off, bound)
			}
		}
	}
}

// Takes differ by the order and not by the draw: where the order makes no difference to a noise,
// there is none to be heard.
func TestTakesShareTheirDraw(t *testing.T) {
	const kinds = "drive: {kind: overdrive, drive: 9}; eq: {kind: eq, high: 6 dB}; buffer: {kind: buffer}"
	a, b := rest(t, chaintest.Chain(t, kinds, "drive, eq, buffer"), 2), rest(t, chaintest.Chain(t, kinds, "drive, buffer, eq"), 2)
	if d := chaintest.Residual(a, b); !(d < -12) {
		t.Errorf("two orders of linear blocks differ by %.1f dB at rest, want the noise of their own stages: under -12 dB", d)
	}
}
