package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Samples that alternate between ±100 V are half the rate, which the way up into a limiter stops.
// Behind rails they come out at no more than what a band limit rings at the worst, 2.4 times 7.5 V.
func TestAlternatingSamplesBehindRails(t *testing.T) {
	for _, name := range []string{"compressor", "eq"} {
		k := blocks.Find(name)
		for _, rate := range []dsp.Hertz{44100, 48000, 96000} {
			rig, err := blockstest.NewRig(k, k.Defaults(), false, rate, section.Normal)
			if err != nil {
				t.Fatal(err)
			}
			x := make([]float64, 12000)
			for i := 2000; i < 8000; i++ {
				x[i] = 100 * float64(1-2*(i%2))
			}
			rig.Process(x, x)
			largest := 0.0
			for _, v := range x {
				largest = max(largest, math.Abs(v))
			}
			t.Logf("%s at %v Hz: at most %.1f V", name, float64(rate), largest)
			if largest > 2.4*7.5 {
				t.Errorf("%s at %v Hz: %.1f V behind rails of 7.5 V, want %.0f at most", name, float64(rate), largest, 2.4*7.5)
			}
		}
	}
}
