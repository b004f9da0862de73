package dense_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit/circuittest"
	"drywire/dsp/circuit/internal/dense"
)

// TestModes: the block-diagonal form moves the states as the dense matrix to the same power does,
// within what NewModes asks of itself.
func TestModes(t *testing.T) {
	for name, n := range circuittest.NonLinear() {
		p, err := n.Operating()
		if err != nil {
			t.Fatal(err)
		}
		const micro = 64
		h, err := p.Discrete(1/384e3/micro, []string{"out"})
		if err != nil {
			t.Fatal(err)
		}
		size := h.A.Rows
		m, to, from := dense.NewModes(h.A, micro)
		if m.Dense != nil {
			t.Errorf("%s: kept dense", name)
		}
		power := dense.New[float64](size, size)
		for k := 0; k < size; k++ {
			power.Set(k, k, 1)
		}
		for range micro {
			power = h.A.Times(power)
		}
		worst, norm := 0.0, dense.MaxAbs(power.V)
		for c := 0; c < size; c++ {
			s := make([]float64, size)
			for k := range s {
				s[k] = to.At(k, c)
			}
			m.Step(s)
			for r := 0; r < size; r++ {
				worst = max(worst, math.Abs(dense.Dot(from.Row(r), s)-power.At(r, c)))
			}
		}
		// NewModes holds one step to 1e-10; micro of them may add up.
		if worst > micro*1e-10*norm {
			t.Errorf("%s: off by %.3g of %.3g", name, worst, norm)
		}
		t.Logf("%s: %d states, modes within %.0f dB of the dense matrix", name, size, dsp.ToDB(worst/norm))

		// A dense twin of m, for Resolve and Step.
		whole := dense.FullModes(size, power.V)
		z := cmplx.Exp(complex(0, 0.3))
		b := func(k int) complex128 { return complex(float64(k+1), 1) }
		wantS := whole.Resolve(z, size, b)
		gotS := m.Resolve(z, size, func(k int) complex128 {
			var x complex128
			for c := 0; c < size; c++ {
				x += complex(to.At(k, c), 0) * b(c)
			}
			return x
		})
		for r := 0; r < size; r++ {
			var x complex128
			for c := 0; c < size; c++ {
				x += complex(from.At(r, c), 0) * gotS[c]
			}
			if d := cmplx.Abs(x - wantS[r]); d > 1e-7*(1+cmplx.Abs(wantS[r])) {
				t.Errorf("%s: resolve gives %v for state %d, want %v", name, x, r, wantS[r])
			}
		}
	}
	// A matrix whose eigenvectors are parallel stays dense, and moves right.
	jordan := dense.New[float64](2, 2)
	copy(jordan.V, []float64{0.5, 1, 0, 0.5})
	m, to, from := dense.NewModes(jordan, 3)
	if m.Dense == nil {
		t.Fatal("a Jordan block was taken apart")
	}
	s := []float64{to.At(0, 1), to.At(1, 1)}
	m.Step(s)
	if got := dense.Dot(from.Row(0), s); math.Abs(got-0.75) > 1e-12 { // 3·0.5²
		t.Errorf("the block's cube has %v, want 0.75", got)
	}
}
