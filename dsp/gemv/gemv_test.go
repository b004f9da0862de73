package gemv

import (
	"math/rand/v2"
	"testing"
)

// The fast forms give the plain ones' bits, and touch nothing beyond y.
func TestSameBits(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	draw := func(n int) []float64 {
		x := make([]float64, n)
		for k := range x {
			x[k] = r.NormFloat64()
		}
		return x
	}
	for n := 0; n < 40; n++ {
		for range 4 {
			a, x := draw(n+8), draw(n)
			y := draw(10)
			got, want := append([]float64(nil), y...), append([]float64(nil), y...)
			Add8((*[8]float64)(got[1:]), a, x)
			add8((*[8]float64)(want[1:]), a, x)
			sum := y[3]
			for k := range x {
				sum += a[k+2] * x[k]
			}
			if d := got[3] - sum; d > 1e-12 || d < -1e-12 {
				t.Errorf("%d taps: %v, want %v", n, got[3], sum)
			}
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("%d taps: output %d is %v, want %v", n, k, got[k], want[k])
				}
			}
		}
	}
}

func BenchmarkAdd8(b *testing.B) {
	a, x := make([]float64, 200), make([]float64, 64)
	var y [8]float64
	for b.Loop() {
		Add8(&y, a, x)
	}
}
