package dense

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Modes is a state matrix in block-diagonal form: 2×2 blocks [re im; -im re] for complex pairs,
// then real values. Where the eigenvectors are too nearly parallel to be trusted it keeps the
// matrix dense.
type Modes struct {
	Re, Im []float64 // of the pairs
	Real   []float64
	Dense  []float64 // n×n, nil unless needed
	tmp    []float64
}

// FullModes is those of a matrix of n rows that is kept as it is.
func FullModes(n int, v []float64) Modes { return Modes{Dense: v, tmp: make([]float64, n)} }

// Step is s ← A·s.
func (m *Modes) Step(s []float64) {
	if m.Dense != nil {
		n := len(s)
		copy(m.tmp, s)
		for k := range s {
			s[k] = Dot(m.Dense[k*n:k*n+n], m.tmp)
		}
		return
	}
	im := m.Im[:len(m.Re)]
	pairs := s[:2*len(im)]
	for k, re := range m.Re {
		x, y := pairs[2*k], pairs[2*k+1]
		i := im[k]
		pairs[2*k] = re*x + i*y
		pairs[2*k+1] = re*y - i*x
	}
	rest := s[2*len(im):]
	real := m.Real[:len(rest)]
	for k, r := range real {
		rest[k] *= r
	}
}

// Resolve solves z·s = A·s + b for s, of n states. It panics where z is a pole.
func (m *Modes) Resolve(z complex128, n int, b func(k int) complex128) []complex128 {
	s := make([]complex128, n)
	if m.Dense != nil {
		a := New[complex128](n, n)
		rhs := make([]complex128, n)
		for k, x := range m.Dense {
			a.V[k] = complex(-x, 0)
		}
		for k := range rhs {
			a.Add(k, k, z)
			rhs[k] = b(k)
		}
		f, ok := Factor(a)
		if !ok {
			panic("dense: a pole on the unit circle")
		}
		return f.Solve(rhs)
	}
	for k, re := range m.Re { // (z-re)·x - im·y = b0, im·x + (z-re)·y = b1
		d, im := z-complex(re, 0), complex(m.Im[k], 0)
		b0, b1 := b(2*k), b(2*k+1)
		det := d*d + im*im
		s[2*k], s[2*k+1] = (d*b0+im*b1)/det, (d*b1-im*b0)/det
	}
	for k, r := range m.Real {
		j := 2*len(m.Re) + k
		s[j] = b(j) / (z - complex(r, 0))
	}
	return s
}

// NewModes finds the modes of a: A = from·D·to. States in modal coordinates are to·s; a step is A
// to the given power. Where the modes do not give a back it keeps the power itself, and to and from
// are the identity.
func NewModes(a Matrix[float64], power int) (m Modes, to, from Matrix[float64]) {
	n := a.Rows
	identity := New[float64](n, n)
	for k := 0; k < n; k++ {
		identity.Set(k, k, 1)
	}
	dense := func() (Modes, Matrix[float64], Matrix[float64]) {
		am := identity
		for k := 0; k < power; k++ {
			am = a.Times(am)
		}
		return FullModes(n, am.V), identity, identity
	}
	if n == 0 {
		return Modes{}, identity, identity
	}
	var eig mat.Eigen
	if !eig.Factorize(mat.NewDense(n, n, append([]float64(nil), a.V...)), mat.EigenRight) {
		return dense()
	}
	values := eig.Values(nil)
	var vectors mat.CDense
	eig.VectorsTo(&vectors)
	order := make([]int, n)
	for k := range order {
		order[k] = k
	}
	sort.SliceStable(order, func(i, j int) bool { // pairs first
		return imag(values[order[i]]) != 0 && imag(values[order[j]]) == 0
	})
	from = New[float64](n, n)
	col := 0
	for k := 0; k < n; k++ {
		j := order[k]
		v := values[j]
		if imag(v) < 0 {
			continue // the conjugate's columns hold it
		}
		scale := 0.0
		for r := 0; r < n; r++ {
			scale = math.Max(scale, Magnitude(vectors.At(r, j)))
		}
		for r := 0; r < n; r++ {
			from.Set(r, col, real(vectors.At(r, j))/scale)
		}
		col++
		if imag(v) > 0 {
			for r := 0; r < n; r++ {
				from.Set(r, col, imag(vectors.At(r, j))/scale)
			}
			col++
			m.Re, m.Im = append(m.Re, real(v)), append(m.Im, imag(v))
		} else {
			m.Real = append(m.Real, real(v))
		}
	}
	f, ok := Factor(from)
	if col != n || !ok {
		return dense()
	}
	to = f.SolveMatrix(identity)
	// from·D·to must give a back.
	back := New[float64](n, n)
	column := make([]float64, n)
	for c := 0; c < n; c++ {
		for r := range column {
			column[r] = to.At(r, c)
		}
		m.Step(column)
		for r, x := range column {
			back.Set(r, c, x)
		}
	}
	back = from.Times(back)
	norm, worst := MaxAbs(a.V), 0.0
	for k := range a.V {
		worst = max(worst, math.Abs(a.V[k]-back.V[k]))
	}
	if !(worst <= modeTolerance*norm) {
		return dense()
	}
	for k := range m.Re {
		z := cmplx.Pow(complex(m.Re[k], m.Im[k]), complex(float64(power), 0))
		m.Re[k], m.Im[k] = real(z), imag(z)
	}
	for k, x := range m.Real {
		m.Real[k] = math.Pow(x, float64(power))
	}
	return m, to, from
}

// modeTolerance is how well the modes must give the state matrix back, relative to its largest
// entry.
const modeTolerance = 1e-10

// A state that fades never reaches zero by itself, and its last decades are subnormal numbers,
// which cost a processor ten times a usual one. So every FlushEvery steps, counted from the start
// and thus whatever the calls, a state under a level that no sound has, FlushUnder, becomes zero.
const (
	FlushEvery = 64
	FlushUnder = 1e-60
)

// Flush makes zero what is under FlushUnder.
func Flush(s []float64) {
	for k, x := range s {
		if x < FlushUnder && x > -FlushUnder {
			s[k] = 0
		}
	}
}
