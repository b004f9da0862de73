package convolver

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Against the sum that a convolution is, for responses shorter and longer than a block, and however
// the signal is cut into calls: bit for bit.
func TestProcess(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	noise := func(n int) []float64 {
		x := make([]float64, n)
		for k := range x {
			x[k] = r.NormFloat64()
		}
		return x
	}
	for _, length := range []int{1, 7, block, block + 1, 3*block - 5} {
		h, x := noise(length), noise(5*block+13)
		c := New(h)
		whole := make([]float64, len(x))
		c.Process(whole, x)
		for n := c.Latency(); n < len(x); n++ {
			want := 0.0
			for k := 0; k < length && k <= n-c.Latency(); k++ {
				want += h[k] * x[n-c.Latency()-k]
			}
			if math.Abs(whole[n]-want) > 1e-12*math.Sqrt(float64(length))*10 {
				t.Fatalf("%d taps: sample %d is %v, want %v", length, n, whole[n], want)
			}
		}
		for _, size := range []int{1, 7, 64, 479} {
			c.Reset()
			y := append([]float64(nil), x...)
			for at := 0; at < len(y); at += size {
				end := min(at+size, len(y))
				c.Process(y[at:end], y[at:end])
			}
			for n := range y {
				if y[n] != whole[n] {
					t.Fatalf("%d taps in calls of %d: sample %d differs", length, size, n)
				}
			}
		}
	}
}

// Silence comes out of silence, exactly, and nothing is allocated.
func TestSilence(t *testing.T) {
	c := New([]float64{1, 0.5, 0.25})
	x := make([]float64, 3*block)
	c.Process(x, x)
	for n, v := range x {
		if v != 0 {
			t.Fatalf("sample %d is %v", n, v)
		}
	}
	if n := testing.AllocsPerRun(5, func() { c.Process(x, x) }); n > 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkProcess(b *testing.B) {
	for _, taps := range []int{1000, 10000, 100000} {
		b.Run(fmt.Sprint(taps), func(b *testing.B) {
			c := New(make([]float64, taps))
			x := make([]float64, 48000)
			for k := range x {
				x[k] = math.Sin(float64(k))
			}
			for b.Loop() {
				c.Process(x, x)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/48000, "ns/sample")
		})
	}
}
