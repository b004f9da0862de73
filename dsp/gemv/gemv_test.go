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

// Inverses times I - K·D are the identity, for random K and D whose product leaves a heavy diagonal, with rows and columns of very different sizes; both forms give the same bits; what has no
// inverse is told.
func TestJacobian(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 1000 {
		var k [64]float64
		var own, oth, size [8]float64
		for c := range size {
			size[c] = math.Exp(3 * r.NormFloat64())
		}
		for c := range 8 { // K·D has these sizes in its rows and one over them in its columns
			own[c], oth[c] = (2+r.Float64())/size[c], 0.3*r.NormFloat64()/size[c^1]
			for i := range 8 {
				k[8*c+i] = 0.2 * r.NormFloat64() * size[i]
				if i == c {
					k[8*c+i] -= 2 * size[i]
				}
			}
		}
		var got, want [64]float64
		if !Jacobian8(&got, k[:], &own, &oth, 1e-6) || !jacobian8(&want, k[:], &own, &oth, 1e-6) {
			t.Fatal("given up")
		}
		if got != want {
			t.Fatal("other bits")
		}
		// The matrix itself, written out: element i, c of K·D is the sum of K's over the block's two rows.
		for i := range 8 {
			for c := range 8 {
				sum, all := 0.0, 0.0
				for j := range 8 {
					m := -(k[8*c+j]*own[c] + k[8*(c^1)+j]*oth[c^1])
					if j == c {
						m++
					}
					x := got[8*j+i] * m
					sum, all = sum+x, all+math.Abs(x)
				}
				if i == c {
					sum--
				}
				if math.Abs(sum) > 1e-13*(1+all) {
					t.Fatalf("%g at row %d, column %d of the product less the identity", sum, i, c)
				}
			}
		}
	}
	for _, x := range []float64{0, math.NaN(), math.Inf(1)} { // on the diagonal of the third row
		var k, a [64]float64
		own, oth := [8]float64{2: 1}, [8]float64{}
		k[18] = 1 - x
		if Jacobian8(&a, k[:], &own, &oth, 1e-6) || jacobian8(&a, k[:], &own, &oth, 1e-6) {
			t.Errorf("a pivot of %v is taken", x)
		}
	}
}

func BenchmarkJacobian8(b *testing.B) {
	var k, a [64]float64
	for j := range k {
		k[j] = -0.1
	}
	for j := range 8 {
		k[9*j] = -1
	}
	own, oth := [8]float64{1, 1, 1, 1, 1, 1, 1, 1}, [8]float64{.1, .1, .1, .1, .1, .1, .1, .1}
	for b.Loop() {
		Jacobian8(&a, k[:], &own, &oth, 1e-9)
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
