package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// A cable after a source of 10 kΩ is a low-pass of first order: R = 10 kΩ (and the cable's 0.1 Ω/m)
// with 1 MΩ beside it, C = 100 pF a metre.
func TestCableLowPass(t *testing.T) {
	k := blocks.Find("cable")
	for _, metres := range []float64{0.05, 6, 30, 100} {
		for _, f := range []float64{100, 1000, 10000, 20000} {
			source := 10e3 + 0.1*metres
			r := source * 1e6 / (source + 1e6)
			want := 1e6 / (source + 1e6) / math.Hypot(1, 2*math.Pi*f*r*100e-12*metres)
			got := rigGain(t, "cable", k.Defaults().With("length", metres), dsp.Hertz(f))
			if off := dsp.ToDB(got / want); math.Abs(off) > 1e-4 {
				t.Errorf("%v m at %v Hz: %.5f dB off the closed form", metres, f, off)
			}
		}
	}
}
