package lfo

import (
	"math"
	"testing"

	"drywire/dsp"
)

// Every value against the wave itself, ten seconds long: within what straight lines miss of a sine,
// (2π/4096)²/8, or in the corner of a triangle, 4/4096/4.
func TestWaves(t *testing.T) {
	const rate = 48000
	for name, c := range map[string]struct {
		wave Wave
		tol  float64
	}{
		"sine":     {Sine, math.Pow(2*math.Pi/4096, 2) / 8 * 1.01},
		"triangle": {Triangle, 1e-9}, // its corners lie on points of the table
		"square":   {Square, 36 * math.Pow(2*math.Pi/4096, 2) / 8},
	} {
		for _, f := range []float64{0, 0.1, 1, 4.321, 12} {
			const start = 0.3
			o := New(c.wave, dsp.Hertz(f), start, rate)
			for n := range 10 * rate {
				_, phase := math.Modf(start + f*float64(n)/rate)
				if got, want := o.Next(), c.wave(phase); math.Abs(got-want) > c.tol {
					t.Fatalf("%s of %v Hz at sample %d: %v, want %v", name, f, n, got, want)
				}
			}
		}
	}
	for phase, want := range map[float64]float64{0: 0, 0.125: 0.5, 0.25: 1, 0.5: 0, 0.75: -1, 0.875: -0.5} {
		if got := Triangle(phase); math.Abs(got-want) > 1e-15 {
			t.Errorf("triangle at %v is %v, want %v", phase, got, want)
		}
	}
}

// Between 10 and 90 % of the way: sin from -artanh(0.8·tanh 6)/6 to +, in closed form
// 2·asin(0.18310)/(2π) of the cycle.
func TestSquareEdge(t *testing.T) {
	want := 2 * math.Asin(math.Atanh(0.8*math.Tanh(6))/6) / (2 * math.Pi)
	first, last := -1.0, -1.0
	for p := -0.2; p < 0.2; p += 1e-5 {
		v := Square(p)
		if v > -0.8 && first < -0.5 {
			first = p
		}
		if v > 0.8 && last < -0.5 {
			last = p
		}
	}
	if got := last - first; math.Abs(got-want) > 3e-5 || math.Abs(got-0.059) > 1e-3 {
		t.Errorf("the edge takes %.5f of the cycle, want %.5f (0.059 stated)", got, want)
	}
}

func TestReset(t *testing.T) {
	o := New(Sine, 3, 0.25, 48000)
	first := o.Next()
	for range 999 {
		o.Next()
	}
	o.Reset()
	if got := o.Next(); got != first || math.Abs(first-1) > 1e-12 {
		t.Errorf("after Reset %v, at first %v, want 1", got, first)
	}
	for _, bad := range []func(){
		func() { New(Sine, -1, 0, 48000) },
		func() { New(Sine, 24000, 0, 48000) },
		func() { New(Sine, 1, 1, 48000) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			bad()
		}()
	}
}
