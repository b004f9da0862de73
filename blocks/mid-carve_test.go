package blocks_test

import (
	"math"
	"testing"

	"drywire/dsp"
)

// In the middle of its band the cut is as deep as it says, and far from it there is none: at five
// octaves over or under, a second-order cut of 12 dB and Q 0.9 leaves 0.01 dB or so; closed form
// |H|² = ((1-x²)² + (x/(A·q))²·…) is the filter's own test, here it is the block.
func TestMidCarve(t *testing.T) {
	const source = 1 / 1.01 / 1.0001 // the rig's 10 kΩ into 1 MΩ, 100 Ω into 1 MΩ
	for _, depth := range []float64{0, 9, 24} {
		for _, f := range []float64{250, 650, 2000} {
			y := onRig(t, "mid-carve", map[string]any{"freq": f, "depth": depth}, f, 0.1, 48000)
			if off := dsp.ToDB(line(y, f)/(0.1*source)) + depth; math.Abs(off) > 0.01 {
				t.Errorf("%v dB at %v Hz: %.4f dB off", depth, f, off)
			}
		}
	}
	for _, f := range []float64{20, 18000} {
		y := onRig(t, "mid-carve", map[string]any{"freq": 600.0, "depth": 9.0}, f, 0.1, 48000)
		if off := dsp.ToDB(line(y, f) / (0.1 * source)); math.Abs(off) > 0.05 {
			t.Errorf("at %v Hz, five octaves away, %.4f dB are cut", f, -off)
		}
	}
}

// Less mids are less clipping: behind a cut of 12 dB a note of 650 Hz that would clip does not. The
// ceiling at 9 V is 3 V; 4 V less 12 dB is 1 V. The input amplifier comes before the cut, so 4 V
// clip there at 9 V and not at 18 V, whose ceiling is 7.5 V.
func TestMidCarveHeadroom(t *testing.T) {
	third := func(supply float64) float64 {
		y := onRig(t, "mid-carve", map[string]any{"freq": 650.0, "depth": 12.0, "supply": supply}, 650, 4, 48000)
		return dsp.ToDB(line(y, 1950) / line(y, 650))
	}
	if got := third(18); got > -110 {
		t.Errorf("at 18 V the third harmonic is at %.1f dB", got)
	}
	if got := third(9); got < -30 {
		t.Errorf("at 9 V the third harmonic is at %.1f dB, want some", got)
	}
}
