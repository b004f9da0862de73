package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
)

// The tone network against the nodal equations of its drawing, the wiper without a load:
//
//	(1-l)/39 kΩ = l·s·10 nF + (l-h)/100 kΩ,   (1-h)·s·4 nF = h/22 kΩ + (h-l)/100 kΩ,
//	out = l + (h-l)·tone
func TestOpAmpFuzzTone(t *testing.T) {
	const (
		r1, c1 = 39e3, 10e-9
		c2, r2 = 4e-9, 22e3
		track  = 100e3
	)
	at := func(f dsp.Hertz, tone float64) complex128 {
		s := complex(0, 2*math.Pi*float64(f))
		a11, a12, b1 := 1/r1+s*c1+1/track, complex(-1/track, 0), complex(1/r1, 0)
		a22, b2 := s*c2+1/r2+1/track, s*c2
		det := a11*a22 - a12*a12
		l, h := (b1*a22-a12*b2)/det, (a11*b2-a12*b1)/det
		return l + (h-l)*complex(tone, 0)
	}
	for _, dial := range []float64{2, 5, 8} {
		b := laid("op-amp-fuzz", map[string]float64{"tone": dial})
		for _, f := range []dsp.Hertz{50, 300, 700, 1000, 1500, 5000} {
			got := between(t, b, "op-amp-fuzz.buffered", "op-amp-fuzz.toned", f) / between(t, b, "op-amp-fuzz.buffered", "op-amp-fuzz.o2", f)
			want := at(f, dial/10)
			if off := dsp.ToDB(1 + cmplx.Abs(got/want-1)); off > 0.001 {
				t.Errorf("tone %v, %v Hz: %.5f, want %.5f", dial, float64(f), got, want)
			}
		}
	}
	// What players know it for: at the middle of the control the mids are down.
	mids := dsp.ToDB(cmplx.Abs(at(1000, 0.5)))
	for _, f := range []dsp.Hertz{100, 6000} {
		if side := dsp.ToDB(cmplx.Abs(at(f, 0.5))); side-mids < 4 {
			t.Errorf("%v Hz is only %.2f dB over 1 kHz", float64(f), side-mids)
		}
	}
}

// Each clipping stage has a gain of -(Zf)/Zi for small signals: 470 kΩ, 470 pF and the diodes at
// rest over 8.2 kΩ and 100 nF; closed form.
func TestOpAmpFuzzGain(t *testing.T) {
	b := laid("op-amp-fuzz", nil)
	for _, f := range []dsp.Hertz{50, 200, 1000, 4000} {
		s := complex(0, 2*math.Pi*float64(f))
		zf := 1 / (1/470e3 + s*(470e-12+8e-12) + complex(2*2.52e-9/(1.752*0.0258648), 0))
		want := -zf / (8.2e3 + 1/(s*100e-9))
		got := between(t, b, "op-amp-fuzz.buffered", "op-amp-fuzz.o2", f) / between(t, b, "op-amp-fuzz.buffered", "op-amp-fuzz.o1", f)
		// 3 MHz over the loop's 57 times, with 50 Ω into the next: 1 % at 1 kHz, 2 % at 4 kHz
		if off := dsp.ToDB(1 + cmplx.Abs(got/want-1)); off > 0.25 {
			t.Errorf("%v Hz: gain %.3f, want %.3f (%.3f dB off)", float64(f), got, want, off)
		}
	}
}

// With the sustain full, 20 dB more at the input are next to nothing at the output; with a clean
// signal they would be 20 dB.
func TestOpAmpFuzzSustains(t *testing.T) {
	level := func(peak float64) float64 {
		return dsp.ToDB(rms(onRig(t, "op-amp-fuzz", map[string]any{"sustain": 10.0}, 220, peak, 9600)))
	}
	if got := level(0.1) - level(0.01); got > 4 {
		t.Errorf("20 dB more at the input are %.2f dB at the output", got)
	}
}
