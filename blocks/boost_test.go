package blocks_test

import (
	"math"
	"slices"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// gainRate is the rate at which gain blocks are measured here.
const gainRate = 48000

// onRig runs n samples of a tone through a block on the rig, and gives the last half of what comes
// out.
func onRig(tb testing.TB, kind string, set map[string]any, frequency, peak float64, n int) []float64 {
	tb.Helper()
	return wholeOnRig(tb, kind, set, frequency, peak, n)[n/2:]
}

// wholeOnRig gives all of it.
func wholeOnRig(tb testing.TB, kind string, set map[string]any, frequency, peak float64, n int) []float64 {
	tb.Helper()
	k := blocks.Find(kind)
	s := k.Defaults()
	for knob, v := range set {
		switch v := v.(type) {
		case string:
			s = s.WithWord(knob, v)
		case float64:
			s = s.With(knob, v)
		}
	}
	r, err := blockstest.NewRig(k, s, false, gainRate, section.Normal)
	if err != nil {
		tb.Fatal(err)
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = peak * math.Sin(2*math.Pi*frequency*float64(i)/gainRate)
	}
	r.Process(x, x)
	if f := r.Report().Failures; f > 0 {
		tb.Errorf("%s: the solver failed %d times", kind, f)
	}
	return x
}

// rms of a signal.
func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// line is the peak of a signal's line at a frequency that fits it.
func line(x []float64, frequency float64) float64 {
	var re, im float64
	for k, v := range x {
		sin, cos := math.Sincos(2 * math.Pi * frequency * float64(k) / gainRate)
		re += v * cos
		im += v * sin
	}
	return 2 * math.Hypot(re, im) / float64(len(x))
}

// The ceiling of a clean boost follows the rails: half the supply less 1.5 V, so 3 V at 9 V and 7.5
// V at 18 V (closed form).
func TestBoostCeiling(t *testing.T) {
	const tolerance = 0.02 // of the ceiling: two resistors of the output and the ripple of a band limit
	top := map[float64]float64{}
	for _, supply := range []float64{9, 12, 18} {
		y := onRig(t, "boost", map[string]any{"gain": 30.0, "supply": supply}, 100, 2, 9600)
		// The plateau of a square wave: the median of its magnitude, where the edges' ringing is no
		// part of it.
		for k, v := range y {
			y[k] = math.Abs(v)
		}
		slices.Sort(y)
		top[supply] = y[len(y)/2]
		if want := supply/2 - 1.5; math.Abs(top[supply]/want-1) > tolerance {
			t.Errorf("at %v V the boost clips at %.3f V, want %.3f V", supply, top[supply], want)
		}
	}
	if got := top[18] / top[9]; math.Abs(got/2.5-1) > tolerance {
		t.Errorf("from 9 V to 18 V the ceiling rises %.3f times, want 2.5", got)
	}
}

// Below its ceiling the boost is a number: its gain, times what its input takes from the rig's 10
// kΩ and its output from the rig's 1 MΩ.
func TestBoostIsClean(t *testing.T) {
	for _, gain := range []float64{0, 12, 30} {
		y := onRig(t, "boost", map[string]any{"gain": gain}, 1000, 0.05, 9600)
		want := 0.05 * dsp.FromDB(gain) / 1.01 / 1.0001
		got := line(y, 1000)
		if db := dsp.ToDB(got / want); math.Abs(db) > 0.01 {
			t.Errorf("gain %v dB: %.4f dB off", gain, db)
		}
		for _, f := range []float64{2000, 3000} {
			if over := dsp.ToDB(line(y, f) / got); over > -120 {
				t.Errorf("gain %v dB: %v Hz at %.1f dB", gain, f, over)
			}
		}
	}
}
