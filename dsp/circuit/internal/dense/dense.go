// Package dense holds the small dense matrices of circuits, real and complex: products, factors
// (LU), and the modes of a state matrix, which make a step of it cheap. It is independent of
// circuits.
//
// Start reading at Matrix, then Factor and NewModes.
package dense

import (
	"math"
	"math/cmplx"
)

// Scalar is what a circuit's matrices hold: real for the operating point and the transient, complex
// for AC.
type Scalar interface{ float64 | complex128 }

// Matrix is dense and row-major.
type Matrix[T Scalar] struct {
	Rows, Cols int
	V          []T
}

// New is a matrix of zeros.
func New[T Scalar](rows, cols int) Matrix[T] {
	return Matrix[T]{rows, cols, make([]T, rows*cols)}
}

// Row is that row itself, not a copy.
func (m Matrix[T]) Row(r int) []T { return m.V[r*m.Cols : (r+1)*m.Cols] }

// At is the element of a row and a column, both from 0.
func (m Matrix[T]) At(r, c int) T { return m.V[r*m.Cols+c] }

// Set replaces an element.
func (m Matrix[T]) Set(r, c int, x T) { m.V[r*m.Cols+c] = x }

// Add adds to an element.
func (m Matrix[T]) Add(r, c int, x T) { m.V[r*m.Cols+c] += x }

// Clone is a copy.
func (m Matrix[T]) Clone() Matrix[T] {
	return Matrix[T]{m.Rows, m.Cols, append([]T(nil), m.V...)}
}

// Times is m·b.
func (m Matrix[T]) Times(b Matrix[T]) Matrix[T] {
	out := New[T](m.Rows, b.Cols)
	for r := 0; r < m.Rows; r++ {
		for k := 0; k < m.Cols; k++ {
			if x := m.At(r, k); x != 0 {
				for c := 0; c < b.Cols; c++ {
					out.V[r*b.Cols+c] += x * b.V[k*b.Cols+c]
				}
			}
		}
	}
	return out
}

// Plus is m + x·b.
func (m Matrix[T]) Plus(b Matrix[T], x T) Matrix[T] {
	out := m.Clone()
	for k := range out.V {
		out.V[k] += x * b.V[k]
	}
	return out
}

// Columns is a copy of the columns from up to to.
func (m Matrix[T]) Columns(from, to int) Matrix[T] {
	out := New[T](m.Rows, to-from)
	for r := 0; r < m.Rows; r++ {
		copy(out.Row(r), m.Row(r)[from:to])
	}
	return out
}

// Spread spreads every column over four, weighed.
func (m Matrix[T]) Spread(weights [4]T) Matrix[T] {
	out := New[T](m.Rows, 4*m.Cols)
	for k, x := range m.V {
		for j, w := range weights {
			out.V[4*k+j] = x * w
		}
	}
	return out
}

// ByColumn is the elements column by column, each column filled up with zeros to that many rows.
func (m Matrix[T]) ByColumn(rows int) []T {
	out := make([]T, rows*m.Cols)
	for r := 0; r < m.Rows; r++ {
		for c, x := range m.Row(r) {
			out[c*rows+r] = x
		}
	}
	return out
}

// Transpose is the matrix with rows for columns.
func (m Matrix[T]) Transpose() Matrix[T] {
	out := New[T](m.Cols, m.Rows)
	for r := 0; r < m.Rows; r++ {
		for c := 0; c < m.Cols; c++ {
			out.Set(c, r, m.At(r, c))
		}
	}
	return out
}

// Magnitude is |x|.
func Magnitude[T Scalar](x T) float64 {
	switch y := any(x).(type) {
	case float64:
		if y < 0 {
			return -y
		}
		return y
	case complex128:
		return cmplx.Abs(y)
	}
	return 0
}

// LU is a factored square matrix, with rows exchanged for the largest pivot. Rows are scaled first,
// since conductances and branch equations differ by many orders of Magnitude. What is zero is
// passed over, which gives the same numbers: the matrix of a long chain of blocks has few elements
// in a row, and the cost grows with their number and not with the cube of its size.
type LU[T Scalar] struct {
	m     Matrix[T]
	perm  []int
	scale []float64
	// of each row, the columns before the diagonal that are not zero, and those behind it: a
	// circuit in a row has few of them
	lower, upper [][]int
}

// Factor factors a copy of a; ok is false where a is singular.
func Factor[T Scalar](a Matrix[T]) (LU[T], bool) {
	n := a.Rows
	f := LU[T]{m: a.Clone(), perm: make([]int, n), scale: make([]float64, n)}
	m := f.m
	for r := 0; r < n; r++ {
		f.perm[r] = r
		top := 0.0
		for _, x := range m.Row(r) {
			top = max(top, Magnitude(x))
		}
		if top == 0 {
			return f, false
		}
		f.scale[r] = 1 / top
		for c := range m.Row(r) {
			m.V[r*n+c] *= fromReal[T](f.scale[r])
		}
	}
	var filled []int // columns behind k in which the pivot's row is not zero
	for k := 0; k < n; k++ {
		best, at := 0.0, k
		for r := k; r < n; r++ {
			if y := m.V[r*n+k]; y != 0 {
				if x := Magnitude(y); x > best {
					best, at = x, r
				}
			}
		}
		if !(best > 1e-300) {
			return f, false
		}
		if at != k {
			a, b := m.Row(k), m.Row(at)
			for c := range a {
				a[c], b[c] = b[c], a[c]
			}
			f.perm[k], f.perm[at] = f.perm[at], f.perm[k]
		}
		pivot := m.Row(k)
		filled = filled[:0]
		for c := k + 1; c < n; c++ {
			if pivot[c] != 0 {
				filled = append(filled, c)
			}
		}
		for r := k + 1; r < n; r++ {
			row := m.V[r*n : r*n+n]
			if row[k] == 0 {
				continue
			}
			q := row[k] / pivot[k]
			row[k] = q
			for _, c := range filled {
				row[c] -= q * pivot[c]
			}
		}
	}
	f.lower, f.upper = filledOf(m)
	return f, true
}

// filledOf is the columns before and behind the diagonal that are not zero, row by row.
func filledOf[T Scalar](m Matrix[T]) (lower, upper [][]int) {
	n := m.Rows
	count := 0
	for _, x := range m.V {
		if x != 0 {
			count++
		}
	}
	all := make([]int, 0, count)
	lower, upper = make([][]int, n), make([][]int, n)
	for r := range n {
		row, from := m.Row(r), len(all)
		for c, x := range row[:r] {
			if x != 0 {
				all = append(all, c)
			}
		}
		lower[r] = all[from:]
		from = len(all)
		for c, x := range row[r+1:] {
			if x != 0 {
				all = append(all, r+1+c)
			}
		}
		upper[r] = all[from:]
	}
	return lower, upper
}

// fromReal is x as a T.
func fromReal[T Scalar](x float64) T {
	var t T
	switch p := any(&t).(type) {
	case *float64:
		*p = x
	case *complex128:
		*p = complex(x, 0)
	}
	return t
}

// Solve returns x with a·x = b.
func (f LU[T]) Solve(b []T) []T {
	n := f.m.Rows
	x := make([]T, n)
	for r := 0; r < n; r++ {
		x[r] = b[f.perm[r]] * fromReal[T](f.scale[f.perm[r]])
	}
	for r := 0; r < n; r++ {
		row := f.m.Row(r)
		for _, c := range f.lower[r] {
			x[r] -= row[c] * x[c]
		}
	}
	for r := n - 1; r >= 0; r-- {
		row := f.m.Row(r)
		for _, c := range f.upper[r] {
			x[r] -= row[c] * x[c]
		}
		x[r] /= row[r]
	}
	return x
}

// SolveMatrix returns X with a·X = B.
func (f LU[T]) SolveMatrix(b Matrix[T]) Matrix[T] {
	out := New[T](b.Rows, b.Cols)
	column := make([]T, b.Rows)
	for c := 0; c < b.Cols; c++ {
		for r := range column {
			column[r] = b.At(r, c)
		}
		for r, x := range f.Solve(column) {
			out.Set(r, c, x)
		}
	}
	return out
}

// MaxAbs is the largest magnitude, 0 of none.
func MaxAbs(v []float64) float64 {
	m := 0.0
	for _, x := range v {
		m = max(m, math.Abs(x))
	}
	return m
}

// Dot is the product of a and as much of b, which must be as long, in two sums.
func Dot(a, b []float64) float64 {
	b = b[:len(a)]
	var x, y float64
	k := 0
	for ; k+1 < len(a); k += 2 {
		x += a[k] * b[k]
		y += a[k+1] * b[k+1]
	}
	if k < len(a) {
		x += a[k] * b[k]
	}
	return x + y
}
