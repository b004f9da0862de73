package gemv

import (
	"math/rand/v2"
	"testing"
)

// The fast forms give the plain ones' bits, for matrices and for sliding windows, and touch nothing beyond y.
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
		for _, stride := range []int{1, 4, 8, 12} {
			a, x := draw(n*stride+8), draw(n)
			y := draw(10)
			got, want := append([]float64(nil), y...), append([]float64(nil), y...)
			Add8((*[8]float64)(got[1:]), a, stride, x)
			add8((*[8]float64)(want[1:]), a, stride, x)
			sum := y[3]
			for k := range x {
				sum += a[k*stride+2] * x[k]
			}
			if d := got[3] - sum; d > 1e-12 || d < -1e-12 {
				t.Errorf("%d columns at %d: %v, want %v", n, stride, got[3], sum)
			}
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("eight rows, %d columns at %d: %d is %v, want %v", n, stride, k, got[k], want[k])
				}
			}
			got, want = append(got[:0], y...), append(want[:0], y...)
			Add4((*[4]float64)(got[1:]), a, stride, x)
			add4((*[4]float64)(want[1:]), a, stride, x)
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("four rows, %d columns at %d: %d is %v, want %v", n, stride, k, got[k], want[k])
				}
			}
		}
	}
}

func TestRecurSameBits(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	draw := func(n int) []float64 {
		x := make([]float64, n)
		for k := range x {
			x[k] = r.NormFloat64()
		}
		return x
	}
	for _, rows := range []int{8, 16, 32} {
		for n := 1; n < 20; n++ {
			a, x, d, s := draw(n*rows), draw(n), draw(rows), draw(rows)
			got, want := draw(rows+1), make([]float64, rows)
			beyond := got[rows]
			Recur(got[:rows], d, s, a, x)
			recur(want, d, s, a, x)
			for k := range want {
				sum := d[k] * s[k]
				for c := range x {
					sum += a[c*rows+k] * x[c]
				}
				if off := got[k] - sum; got[k] != want[k] || off > 1e-12 || off < -1e-12 {
					t.Errorf("%d rows, %d columns: %d is %v, plain %v, want %v", rows, n, k, got[k], want[k], sum)
				}
			}
			if got[rows] != beyond {
				t.Errorf("%d rows, %d columns: written beyond the end", rows, n)
			}
		}
	}
}

func BenchmarkRecur(b *testing.B) {
	a, x, y, d, s := make([]float64, 8*12), make([]float64, 12), make([]float64, 8), make([]float64, 8), make([]float64, 8)
	for b.Loop() {
		Recur(y, d, s, a, x)
	}
}

func BenchmarkAdd8(b *testing.B) {
	a, x := make([]float64, 200), make([]float64, 64)
	var y [8]float64
	for b.Loop() {
		Add8(&y, a, 1, x)
	}
}

func BenchmarkAdd4(b *testing.B) {
	a, x := make([]float64, 200), make([]float64, 12)
	var y [4]float64
	for b.Loop() {
		Add4(&y, a, 4, x)
	}
}
