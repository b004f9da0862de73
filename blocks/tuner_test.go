package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// By its wire, the tuner's 1 MΩ stands beside the load's; by its buffer, 10 kΩ into 1 MΩ and 100 Ω
// into 1 MΩ.
func TestTunerDividers(t *testing.T) {
	k := blocks.Find("tuner")
	for word, want := range map[string]float64{"off": 500e3 / 510e3, "on": 1e6 / 1.01e6 * 1e6 / 1.0001e6} {
		if off := dsp.ToDB(rigGain(t, "tuner", k.Defaults().WithWord("buffer", word), 1000) / want); math.Abs(off) > 1e-4 {
			t.Errorf("buffer %s: %.5f dB off the closed form", word, off)
		}
	}
}
