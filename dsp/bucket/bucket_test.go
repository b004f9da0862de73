package bucket

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
)

const rate = 48000

// A line of 4096 stages delays by 4096/(2·clock): 204.8 ms at 10 kHz, from memory what data sheets
// give for a line of that length.
func TestClock(t *testing.T) {
	if got := Clock(4096, 0.2048); math.Abs(float64(got)-10e3) > 1e-6 {
		t.Errorf("clock %v Hz, want 10 kHz", float64(got))
	}
}

// Butterworth, fourth order: 1/√(1 + (f/corner)⁸), with the bilinear transform's frequencies.
func TestFilters(t *testing.T) {
	const corner = 3000
	a, b := Filters(corner, rate)
	for _, f := range []float64{100, 1000, 3000, 6000, 12000} {
		x := math.Tan(math.Pi*f/rate) / math.Tan(math.Pi*corner/rate)
		want := 1 / math.Sqrt(1+math.Pow(x, 8))
		if got := cmplx.Abs(a.Response(dsp.Hertz(f)) * b.Response(dsp.Hertz(f))); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("gain at %v Hz is %v, want %v", f, got, want)
		}
	}
}

// With nothing between, expanding undoes compressing, whatever comes.
func TestNull(t *testing.T) {
	c := NewCompander(0.5, 30, 20e-3, rate)
	random := rand.New(rand.NewPCG(1, 2))
	x, y := make([]float64, rate), make([]float64, rate)
	for k := range x {
		x[k] = math.Exp(-5*float64(k%9000)/9000) * random.NormFloat64()
		y[k] = x[k]
	}
	c.Compress(y)
	c.Expand(y)
	for k := range x {
		if math.Abs(y[k]-x[k]) > 1e-12 {
			t.Fatalf("sample %d is %v, was %v", k, y[k], x[k])
		}
	}
}

// A steady voltage of x volts comes out as √(x·level), 2:1 in dB, down to the range: then the gain
// is the highest. Closed form.
func TestCompress(t *testing.T) {
	for _, c := range []struct{ in, want float64 }{{2, 1}, {0.5, 0.5}, {0.05, math.Sqrt(0.025)}, {1e-5, 1e-5 * math.Pow(10, 1.5)}} {
		x := make([]float64, rate)
		for k := range x {
			x[k] = c.in
		}
		NewCompander(0.5, 30, 20e-3, rate).Compress(x)
		if got := x[rate-1]; math.Abs(got/c.want-1) > 1e-6 {
			t.Errorf("%v V is compressed to %v V, want %v V", c.in, got, c.want)
		}
	}
}
