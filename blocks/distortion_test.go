package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
)

// The op-amp's gain: 1 + Zf/Zg with 470 Ω and 2.2 µF, and the gain control with 100 pF; closed
// form, with what an op-amp of 3 MHz takes and the 1.6 Hz before it.
func TestDistortionGain(t *testing.T) {
	const tolerance = 0.02 // dB: the op-amp's resistances and its load
	for _, c := range []struct{ dial, feedback float64 }{{0, 1}, {10, 100e3}} {
		b := laid("distortion", map[string]float64{"distortion": c.dial})
		for _, f := range []dsp.Hertz{50, 150, 1000, 5000} {
			s := complex(0, 2*math.Pi*float64(f))
			zf := 1 / (complex(1/c.feedback, 0) + s*100e-12)
			ideal := 1 + zf/(470+1/(s*2.2e-6))
			load := 1/(s*4.7e-6) + 2.2e3 + 1/(s*10e-9)
			open := load / (load + 50) / (1e-5 + complex(0, float64(f)/3e6))
			want := ideal / (1 + ideal/open) * (s * 0.1 / (1 + s*0.1))
			got := between(t, b, "distortion.buffered", "distortion.o1", f)
			if off := dsp.ToDB(1 + cmplx.Abs(got/want-1)); off > tolerance {
				t.Errorf("distortion %v, %v Hz: gain %.4f, want %.4f (%.3f dB off)", c.dial, float64(f), got, want, off)
			}
		}
	}
}

// The tone control's low-pass, from the diodes on: 3.3 nF with 1.5 kΩ and 100 kΩ, or 1.5 kΩ and an
// ohm; closed form.
func TestDistortionTone(t *testing.T) {
	for dial, r := range map[float64]float64{0: 101.5e3, 10: 1501} {
		b := laid("distortion", map[string]float64{"tone": dial})
		for _, f := range []dsp.Hertz{100, 475, 3000, 15000} {
			got := cmplx.Abs(between(t, b, "distortion.buffered", "distortion.filtered", f) / between(t, b, "distortion.buffered", "distortion.clip", f))
			want := 1 / math.Hypot(1, 2*math.Pi*float64(f)*r*3.3e-9)
			if off := dsp.ToDB(got / want); math.Abs(off) > 0.001 {
				t.Errorf("tone %v, %v Hz: %.5f dB off", dial, float64(f), off)
			}
		}
	}
}

// Diodes to ground hold what passes them: the peak at the jack is a diode's voltage at the current
// that 2.2 kΩ lets through. By i = Is·exp(v/(n·Vt)) with 45.3 mV, the voltage at the rail of 3 V is
// 0.589 V.
func TestDistortionHolds(t *testing.T) {
	v := 0.6
	for range 50 { // 45.3 mV·ln(i/Is + 1), i = (3 V - v)/2.2 kΩ
		v = 1.752 * 0.0258648 * math.Log((3-v)/2.2e3/2.52e-9+1)
	}
	if math.Abs(v-0.589) > 0.001 {
		t.Fatalf("closed form gives %.4f V", v)
	}
	y := onRig(t, "distortion", map[string]any{"distortion": 10.0, "tone": 10.0, "level": 10.0}, 200, 0.5, 9600)
	top := 0.0
	for _, x := range y {
		top = max(top, math.Abs(x))
	}
	// From 200 Hz to the jack there is a coupling of 1 µF with 100 kΩ, which lets a square wave sag
	// by 2.5 % of its height either way, and a band limit.
	if top < 0.95*v || top > 1.12*v {
		t.Errorf("peak at the jack is %.4f V, want about %.4f V", top, v)
	}
}
