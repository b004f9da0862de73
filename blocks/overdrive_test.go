package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// laid is a kind alone on a bench under its own name, its output loaded by 1 MΩ.
func laid(kind string, set map[string]float64) *blocks.Bench {
	k := blocks.Find(kind)
	s := k.Defaults()
	for knob, v := range set {
		s = s.With(knob, v)
	}
	b := blocks.NewBench(gainRate, 1)
	b.Place(kind, k, s)
	b.R("load", kind+".out", circuit.Ground, 1e6)
	return b
}

// between is the small-signal transfer from a stage's drive to a node of the same section.
func between(t *testing.T, b *blocks.Bench, from, to string, f dsp.Hertz) complex128 {
	t.Helper()
	for _, part := range b.Circuit.Split() {
		if part.HasNode(from) {
			return ac(t, part).Transfer(from, f, to)[0]
		}
	}
	t.Fatalf("no node %s", from)
	return 0
}

// The gain before the diodes: 1 + Zf/Zg, where Zf is 51 kΩ and the drive control with 51 pF beside
// it and Zg is 4.7 kΩ with 47 nF; closed form. The ends of the range are 11.9 and 118 times by the
// paper (DAFx-07 on distortion and overdrive circuits). What an op-amp of 3 MHz with 50 Ω into 1 kΩ
// and 220 nF takes is in it, and so are the 16 Hz of 1 µF and 10 kΩ before it.
func TestOverdriveGain(t *testing.T) {
	const tolerance = 0.02 // dB: the op-amp's input resistance, and what hangs on the 220 nF
	for _, c := range []struct{ drive, feedback, top float64 }{{0, 51e3 + 1, 11.9}, {10, 551e3, 118}} {
		if got := 1 + c.feedback/4.7e3; math.Abs(got/c.top-1) > 0.005 {
			t.Errorf("drive %v: 1 + Rf/Rg is %.2f, published %v", c.drive, got, c.top)
		}
		b := laid("overdrive", map[string]float64{"drive": c.drive})
		for _, f := range []dsp.Hertz{50, 200, 720, 2000, 5000} {
			s := complex(0, 2*math.Pi*float64(f))
			zf := 1 / (complex(1/c.feedback, 0) + s*(51e-12+8e-12))
			// The pair at rest: 2·Is/(n·Vt).
			zf = 1 / (1/zf + complex(2*2.52e-9/(1.752*0.0258648), 0))
			zg := 4.7e3 + 1/(s*47e-9)
			ideal := 1 + zf/zg
			load := 1e3 + 1/(s*220e-9)
			open := load / (load + 50) / (1e-5 + complex(0, float64(f)/3e6))
			want := ideal / (1 + ideal/open) * (s * 10e3 * 1e-6 / (1 + s*10e3*1e-6))
			got := between(t, b, "overdrive.buffered", "overdrive.o1", f)
			if off := dsp.ToDB(1 + cmplx.Abs(got/want-1)); off > tolerance {
				t.Errorf("drive %v, %v Hz: gain %.4f, want %.4f (%.3f dB off)", c.drive, float64(f), got, want, off)
			}
		}
	}
}

// Alike diodes either way leave no even harmonics; two in series one way do.
func TestOverdriveSymmetry(t *testing.T) {
	second := func(clipping string) float64 {
		y := onRig(t, "overdrive", map[string]any{"clipping": clipping, "drive": 8.0}, 500, 0.2, 19200)
		return dsp.ToDB(line(y, 1000) / line(y, 500))
	}
	if got := second("symmetric"); got > -90 {
		t.Errorf("symmetric: second harmonic at %.1f dB", got)
	}
	if got := second("asymmetric"); got < -30 {
		t.Errorf("asymmetric: second harmonic at %.1f dB, want some", got)
	}
}
