package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// With short cables a patch bay is a wire; with long ones, behind 10 kΩ, the low-pass of all their
// capacitance, as the resistance of the cables is nothing beside that.
func TestPatchBayLowPass(t *testing.T) {
	k := blocks.Find("patch-bay")
	for _, run := range []float64{0.5, 10, 50} {
		for _, f := range []float64{100, 1000, 10000} {
			r := 10e3 * 1e6 / (10e3 + 1e6)
			want := 1e6 / (10e3 + 1e6) / math.Hypot(1, 2*math.Pi*f*r*2*run*100e-12)
			if off := dsp.ToDB(rigGain(t, "patch-bay", k.Defaults().With("run", run), dsp.Hertz(f)) / want); math.Abs(off) > 0.01 {
				t.Errorf("%v m at %v Hz: %.4f dB off the closed form", run, f, off)
			}
		}
	}
}
