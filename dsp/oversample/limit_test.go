package oversample

import (
	"math"
	"testing"
)

// loudSine is a sine at a high rate, of whole periods.
func loudSine(n, periods int, peak float64) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = peak * math.Sin(2*math.Pi*float64(periods*k)/float64(n)+0.3)
	}
	return x
}

// What stays between the limits passes bit for bit, late by the latency.
func TestLimitPasses(t *testing.T) {
	x := loudSine(1000, 37, 0.999)
	y := make([]float64, len(x))
	l := NewLimit(1, -1, 2)
	l.Process(y, x)
	for k := l.Latency(); k < len(x); k++ {
		if y[k] != x[k-l.Latency()] {
			t.Fatalf("sample %d: %v, want %v", k, y[k], x[k-l.Latency()])
		}
	}
}

// A sine over the limits: its first and third harmonic against the closed form of a clipped sine.
// With a peak of A and limits of ±1 and θ = arcsin(1/A), b1 = (2A/π)(θ + sinθ·cosθ), and
// b3 = (A/π)·(sin2θ - sin4θ/2) + (4/3π)·cos3θ.
func TestLimitClipsASine(t *testing.T) {
	const n, periods, peak = 1 << 14, 129, 2.5
	x := loudSine(2*n, 2*periods, peak/3)
	y := make([]float64, len(x))
	l := NewLimit(3, -1, 1)
	l.Process(y, x)
	theta := math.Asin(1 / peak)
	want := map[int]float64{
		1: 2 * peak / math.Pi * (theta + math.Sin(theta)*math.Cos(theta)),
		3: peak/math.Pi*(math.Sin(2*theta)-math.Sin(4*theta)/2) + 4/(3*math.Pi)*math.Cos(3*theta),
	}
	for h, b := range want {
		var re, im float64
		for k, v := range y[n:] {
			turn := 2 * math.Pi * float64(h*periods*k) / n
			re, im = re+v*math.Cos(turn), im+v*math.Sin(turn)
		}
		if got := 2 * math.Hypot(re, im) / n; math.Abs(got-math.Abs(b)) > 1e-4 {
			t.Errorf("harmonic %d: %v, want %v", h, got, math.Abs(b))
		}
	}
}

// No result depends on how a signal is cut into calls, also from where nothing is over to where
// something is and back; Reset makes it new; and the signal may be limited where it lies.
func TestLimitInAnyCalls(t *testing.T) {
	var x []float64
	for _, peak := range []float64{0.3, 4, 0.2, 1.01, 0.5} {
		x = append(x, loudSine(700, 11, peak)...)
	}
	want := make([]float64, len(x))
	l := NewLimit(1, -1, 1)
	l.Process(want, x)
	for _, size := range []int{1, 3, 7, 64, 479} {
		l.Reset()
		got := append([]float64(nil), x...)
		for at := 0; at < len(got); at += size {
			part := got[at:min(at+size, len(got))]
			l.Process(part, part)
		}
		for k := range got {
			if got[k] != want[k] {
				t.Fatalf("pieces of %d: sample %d is %v, want %v", size, k, got[k], want[k])
			}
		}
	}
}
