package measure

import (
	"math"
	"testing"
)

// filtered is the levels of a tone in dB SPL behind third-octave filters.
func filtered(hz, level float64) [28]float64 {
	s := Spectrum{Step: hz, Density: []float64{0, 1 / hz, 0}}
	return s.ZwickerLevels(level)
}

// The standard's own totals for its stationary test signals (ISO 532-1:2017, annexes B.2 and B.3,
// from memory): the noise of a machine, given by its levels; and tones, given as sound files, which
// go through the filters here in closed form: within the 5 % that the standard allows there.
func TestZwickerAgainstTheStandard(t *testing.T) {
	for _, c := range []struct {
		name      string
		levels    [28]float64
		want, tol float64 // sone, and as a share of it
	}{
		{"signal 1, machine", [28]float64{-60, -60, 78, 79, 89, 72, 80, 89, 75, 87, 85, 79, 86, 80, 71, 70, 72, 71, 72, 74, 69, 65, 67, 77, 68, 58, 45, 30}, 83.296, 0.0005},
		{"signal 2, 250 Hz at 80 dB", filtered(250, 80), 14.655, 0.05},
		{"signal 3, 1 kHz at 60 dB", filtered(1000, 60), 4.019, 0.05},
		{"signal 4, 4 kHz at 40 dB", filtered(4000, 40), 1.549, 0.05},
		{"1 kHz at 40 dB, by definition of the sone", filtered(1000, 40), 1, 0.05},
	} {
		got := Zwicker(c.levels)
		t.Logf("%s: %.3f sone, %.1f phon", c.name, got, Phon(got))
		if math.Abs(got/c.want-1) > c.tol {
			t.Errorf("%s: %.3f sone, want %.3f within %.2f %%", c.name, got, c.want, 100*c.tol)
		}
	}
}

// Ten phon more are twice as loud, from one sone on; silence is none.
func TestPhon(t *testing.T) {
	for _, c := range [][2]float64{{1, 40}, {2, 50}, {16, 80}} {
		if got := Phon(c[0]); math.Abs(got-c[1]) > 1e-9 {
			t.Errorf("%v sone: %v phon, want %v", c[0], got, c[1])
		}
	}
	if n := Zwicker(Spectrum{Step: 100, Density: make([]float64, 200)}.ZwickerLevels(0)); n != 0 {
		t.Errorf("silence: %v sone", n)
	}
	if p := Phon(0); p != 3 {
		t.Errorf("silence: %v phon, want 3", p)
	}
}
