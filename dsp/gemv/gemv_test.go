package gemv

import (
	"math"
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
			Mul8((*[8]float64)(got[1:]), a, stride, x)
			clear(want[1:9])
			add8((*[8]float64)(want[1:]), a, stride, x)
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("eight rows, %d columns at %d: %d of the product is %v, want %v", n, stride, k, got[k], want[k])
				}
			}
			Mul4((*[4]float64)(got[1:]), a, stride, x)
			clear(want[1:5])
			add4((*[4]float64)(want[1:]), a, stride, x)
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("four rows, %d columns at %d: %d of the product is %v, want %v", n, stride, k, got[k], want[k])
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

// Inverses times their matrices are the identity, for random matrices with a heavy diagonal, with rows and columns of very different sizes; both forms
// of the larger give the same bits; what has no inverse is told.
func TestInvert(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	draw := func(n int) []float64 {
		a := make([]float64, n*n)
		left, right := make([]float64, n), make([]float64, n)
		for k := range left {
			left[k], right[k] = math.Exp(3*r.NormFloat64()), math.Exp(3*r.NormFloat64())
		}
		for c := range n {
			for i := range n {
				a[c*n+i] = 0.3 * r.NormFloat64()
				if i == c {
					a[c*n+i] += 3
				}
				a[c*n+i] *= left[i] * right[c]
			}
		}
		return a
	}
	check := func(a, inverse []float64, n int) {
		t.Helper()
		for i := range n {
			for c := range n {
				sum, size := inverse[c*n+i], math.Abs(inverse[c*n+i]) // times the identity in the matrix
				if n == 4 {
					sum, size = 0, 0
				}
				for k := range n {
					x := inverse[k*n+i] * a[c*n+k]
					sum, size = sum+x, size+math.Abs(x)
				}
				if i == c {
					sum--
				}
				if math.Abs(sum) > 1e-13*(1+size) {
					t.Fatalf("%d rows: %g at row %d, column %d of the product less the identity", n, sum, i, c)
				}
			}
		}
	}
	for range 1000 {
		a := draw(8)
		got, want := [64]float64(a), [64]float64(a)
		if !Invert8(&got, 1e-9) || !invert8(&want, 1e-9) {
			t.Fatal("given up")
		}
		if got != want {
			t.Fatal("eight rows: other bits")
		}
		check(a, got[:], 8)
		a = draw(4)
		four := [16]float64(a)
		if !Invert4(&four, 1e-9) {
			t.Fatal("given up")
		}
		check(a, four[:], 4)
	}
	for _, x := range []float64{0, math.NaN(), math.Inf(1)} {
		var a, b [64]float64
		a[27], b[27] = x-1, x-1
		if Invert8(&a, 1e-9) || invert8(&b, 1e-9) {
			t.Errorf("eight rows: a pivot of %v is taken", x)
		}
		four := [16]float64{0: 1, 5: 1, 10: x, 15: 1}
		if Invert4(&four, 1e-9) {
			t.Errorf("four rows: %v on the diagonal is taken", x)
		}
	}
}

func BenchmarkInvert8(b *testing.B) {
	var a [64]float64
	for b.Loop() {
		for k := range a {
			a[k] = 0.1
		}
		for k := range 8 {
			a[9*k] = 1
		}
		Invert8(&a, 1e-9)
	}
}

func BenchmarkInvert4(b *testing.B) {
	var a [16]float64
	for b.Loop() {
		a = [16]float64{1, .1, .1, .1, .1, 1, .2, .3, .1, .4, 1, .2, .1, .3, .3, 1}
		Invert4(&a, 1e-9)
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
