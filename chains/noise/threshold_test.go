package noise

import (
	"math"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/dsp"
)

const hot = "fuzz: {kind: op-amp-fuzz, sustain: 9}; dist: {kind: distortion, distortion: 8}; gate: {kind: gate}"

// A gate behind much gain is held open by the hiss and the hum that are meant to be under it: then it is no quieter last than first, but far louder.
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
