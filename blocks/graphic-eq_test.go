package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
)

// One band against its analogue curve, (s² + g·s/Q + 1)/(s² + s/Q + 1) with Q = √2 and for a cut
// its inverse: closed form. Up to 2 kHz the bilinear transform's squeezing is under 0.05 dB.
func TestGraphicEQBand(t *testing.T) {
	curve := func(x, g float64) float64 {
		if g < 1 {
			return 1 / cmplxRatio(x, 1/g)
		}
		return cmplxRatio(x, g)
	}
	for name, f0 := range map[string]float64{"b62": 62.5, "b500": 500, "b1k": 1000} {
		for _, gain := range []float64{-12, -3, 6, 12} {
			for _, octaves := range []float64{-1, -0.5, 0, 0.5, 1} {
				f := math.Round(f0*math.Pow(2, octaves)/2) * 2 // a whole number of periods in the half second that is looked at
				y := onRig(t, "graphic-eq", map[string]any{name: gain}, f, 0.05, 48000)
				got := dsp.ToDB(line(y, f) / (0.05 / 1.01 / 1.0001))
				want := dsp.ToDB(curve(f/f0, dsp.FromDB(gain)))
				if math.Abs(got-want) > 0.05 {
					t.Errorf("%s at %v dB, %v Hz: %.3f dB, want %.3f dB", name, gain, f, got, want)
				}
			}
		}
	}
}

// cmplxRatio is |s² + g·s/Q + 1| / |s² + s/Q + 1| at s = jx, Q = √2.
func cmplxRatio(x, g float64) float64 {
	s := complex(0, x)
	return cmplx.Abs(s*s+complex(g/math.Sqrt2, 0)*s+1) / cmplx.Abs(s*s+s/math.Sqrt2+1)
}

// All sliders in the middle, it is a wire with a buffer: bit for bit but for the resistors.
func TestGraphicEQFlat(t *testing.T) {
	y := onRig(t, "graphic-eq", nil, 1000, 0.05, 9600)
	if off := dsp.ToDB(line(y, 1000) / (0.05 / 1.01 / 1.0001)); math.Abs(off) > 1e-6 {
		t.Errorf("%v dB off", off)
	}
}
