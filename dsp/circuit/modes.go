package circuit

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// modes is a state matrix in block-diagonal form: 2×2 blocks [re im; -im re] for complex pairs, then real
// values. Where the eigenvectors are too nearly parallel to be trusted it keeps the matrix dense.
type modes struct {
	re, im []float64 // of the pairs
	real   []float64
	dense  []float64 // n×n, nil unless needed
	tmp    []float64
}

// step is s ← A·s.
func (m *modes) step(s []float64) {
	if m.dense != nil {
		n := len(s)
		copy(m.tmp, s)
		for k := range s {
			s[k] = dot(m.dense[k*n:k*n+n], m.tmp)
		}
		return
	}
	im := m.im[:len(m.re)]
	pairs := s[:2*len(im)]
	for k, re := range m.re {
		x, y := pairs[2*k], pairs[2*k+1]
		i := im[k]
		pairs[2*k] = re*x + i*y
		pairs[2*k+1] = re*y - i*x
	}
	rest := s[2*len(im):]
	real := m.real[:len(rest)]
	for k, r := range real {
		rest[k] *= r
	}
}

// resolve solves z·s = A·s + b for s.
func (m *modes) resolve(z complex128, n int, b func(k int) complex128) []complex128 {
	s := make([]complex128, n)
	if m.dense != nil {
		a := newMatrix[complex128](n, n)
		rhs := make([]complex128, n)
		for k, x := range m.dense {
			a.v[k] = complex(-x, 0)
		}
		for k := range rhs {
			a.add(k, k, z)
			rhs[k] = b(k)
		}
		f, ok := factor(a)
		if !ok {
			panic("circuit: a pole on the unit circle")
		}
		return f.solve(rhs)
	}
	for k, re := range m.re { // (z-re)·x - im·y = b0, im·x + (z-re)·y = b1
		d, im := z-complex(re, 0), complex(m.im[k], 0)
		b0, b1 := b(2*k), b(2*k+1)
		det := d*d + im*im
		s[2*k], s[2*k+1] = (d*b0+im*b1)/det, (d*b1-im*b0)/det
	}
	for k, r := range m.real {
		j := 2*len(m.re) + k
		s[j] = b(j) / (z - complex(r, 0))
	}
	return s
}

// newModes finds the modes of a: A = from·D·to. States in modal coordinates are to·s; a step is A to the given power.
func newModes(a matrix[float64], power int) (m modes, to, from matrix[float64]) {
	n := a.rows
	identity := newMatrix[float64](n, n)
	for k := 0; k < n; k++ {
		identity.set(k, k, 1)
	}
	dense := func() (modes, matrix[float64], matrix[float64]) {
		am := identity
		for k := 0; k < power; k++ {
			am = a.times(am)
		}
		return modes{dense: am.v, tmp: make([]float64, n)}, identity, identity
	}
	if n == 0 {
		return modes{}, identity, identity
	}
	var eig mat.Eigen
	if !eig.Factorize(mat.NewDense(n, n, append([]float64(nil), a.v...)), mat.EigenRight) {
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
	from = newMatrix[float64](n, n)
	col := 0
	for k := 0; k < n; k++ {
		j := order[k]
		v := values[j]
		if imag(v) < 0 {
			continue // the conjugate's columns hold it
		}
		scale := 0.0
		for r := 0; r < n; r++ {
			scale = math.Max(scale, magnitude(vectors.At(r, j)))
		}
		for r := 0; r < n; r++ {
			from.set(r, col, real(vectors.At(r, j))/scale)
		}
		col++
		if imag(v) > 0 {
			for r := 0; r < n; r++ {
				from.set(r, col, imag(vectors.At(r, j))/scale)
			}
			col++
			m.re, m.im = append(m.re, real(v)), append(m.im, imag(v))
		} else {
			m.real = append(m.real, real(v))
		}
	}
	f, ok := factor(from)
	if col != n || !ok {
		return dense()
	}
	to = f.solveMatrix(identity)
	// Trust, but verify: from·D·to must give a back.
	back := newMatrix[float64](n, n)
	column := make([]float64, n)
	for c := 0; c < n; c++ {
		for r := range column {
			column[r] = to.at(r, c)
		}
		m.step(column)
		for r, x := range column {
			back.set(r, c, x)
		}
	}
	back = from.times(back)
	norm, worst := maxAbs(a.v), 0.0
	for k := range a.v {
		worst = max(worst, math.Abs(a.v[k]-back.v[k]))
	}
	if !(worst <= modeTolerance*norm) {
		return dense()
	}
	for k := range m.re {
		z := cmplx.Pow(complex(m.re[k], m.im[k]), complex(float64(power), 0))
		m.re[k], m.im[k] = real(z), imag(z)
	}
	for k, x := range m.real {
		m.real[k] = math.Pow(x, float64(power))
	}
	return m, to, from
}

// modeTolerance is how well the modes must give the state matrix back, relative to its largest entry.
const modeTolerance = 1e-10

// A state that fades never reaches zero by itself, and its last decades are subnormal numbers, which cost a processor ten times a usual one. So every
// so many steps, counted from the start and thus whatever the calls, a state under a level that no sound has becomes zero.
const (
	flushEvery = 64
	flushUnder = 1e-60
)

func flush(s []float64) {
	for k, x := range s {
		if x < flushUnder && x > -flushUnder {
			s[k] = 0
		}
	}
}
