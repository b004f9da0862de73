package circuit

import "math/cmplx"

// scalar is what a circuit's matrices hold: real for the operating point and the transient, complex for AC.
type scalar interface{ float64 | complex128 }

// matrix is dense and row-major.
type matrix[T scalar] struct {
	rows, cols int
	v          []T
}

func newMatrix[T scalar](rows, cols int) matrix[T] {
	return matrix[T]{rows, cols, make([]T, rows*cols)}
}

func (m matrix[T]) at(r, c int) T     { return m.v[r*m.cols+c] }
func (m matrix[T]) set(r, c int, x T) { m.v[r*m.cols+c] = x }
func (m matrix[T]) add(r, c int, x T) { m.v[r*m.cols+c] += x }
func (m matrix[T]) row(r int) []T     { return m.v[r*m.cols : (r+1)*m.cols] }

func (m matrix[T]) clone() matrix[T] {
	return matrix[T]{m.rows, m.cols, append([]T(nil), m.v...)}
}

// times is m·b.
func (m matrix[T]) times(b matrix[T]) matrix[T] {
	out := newMatrix[T](m.rows, b.cols)
	for r := 0; r < m.rows; r++ {
		for k := 0; k < m.cols; k++ {
			if x := m.at(r, k); x != 0 {
				for c := 0; c < b.cols; c++ {
					out.v[r*b.cols+c] += x * b.v[k*b.cols+c]
				}
			}
		}
	}
	return out
}

// plus is m + x·b.
func (m matrix[T]) plus(b matrix[T], x T) matrix[T] {
	out := m.clone()
	for k := range out.v {
		out.v[k] += x * b.v[k]
	}
	return out
}

// columns is a copy of the columns from up to to.
func (m matrix[T]) columns(from, to int) matrix[T] {
	out := newMatrix[T](m.rows, to-from)
	for r := 0; r < m.rows; r++ {
		copy(out.row(r), m.row(r)[from:to])
	}
	return out
}

// taps spreads every column over four, weighed.
func (m matrix[T]) taps(weights [4]T) matrix[T] {
	out := newMatrix[T](m.rows, 4*m.cols)
	for k, x := range m.v {
		for j, w := range weights {
			out.v[4*k+j] = x * w
		}
	}
	return out
}

// byColumn is the elements column by column, each column filled up with zeros to so many rows.
func (m matrix[T]) byColumn(rows int) []T {
	out := make([]T, rows*m.cols)
	for r := 0; r < m.rows; r++ {
		for c, x := range m.row(r) {
			out[c*rows+r] = x
		}
	}
	return out
}

func (m matrix[T]) transpose() matrix[T] {
	out := newMatrix[T](m.cols, m.rows)
	for r := 0; r < m.rows; r++ {
		for c := 0; c < m.cols; c++ {
			out.set(c, r, m.at(r, c))
		}
	}
	return out
}

func magnitude[T scalar](x T) float64 {
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

// lu is a factored square matrix, with rows exchanged for the largest pivot. Rows are scaled first, since
// conductances and branch equations differ by many orders of magnitude.
type lu[T scalar] struct {
	m     matrix[T]
	perm  []int
	scale []float64
}

// factor factors a copy of a; ok is false where a is singular.
func factor[T scalar](a matrix[T]) (lu[T], bool) {
	n := a.rows
	f := lu[T]{a.clone(), make([]int, n), make([]float64, n)}
	m := f.m
	for r := 0; r < n; r++ {
		f.perm[r] = r
		top := 0.0
		for _, x := range m.row(r) {
			top = max(top, magnitude(x))
		}
		if top == 0 {
			return f, false
		}
		f.scale[r] = 1 / top
		for c := range m.row(r) {
			m.v[r*n+c] *= any2[T](f.scale[r])
		}
	}
	for k := 0; k < n; k++ {
		best, at := 0.0, k
		for r := k; r < n; r++ {
			if x := magnitude(m.at(r, k)); x > best {
				best, at = x, r
			}
		}
		if !(best > 1e-300) {
			return f, false
		}
		if at != k {
			a, b := m.row(k), m.row(at)
			for c := range a {
				a[c], b[c] = b[c], a[c]
			}
			f.perm[k], f.perm[at] = f.perm[at], f.perm[k]
		}
		pivot := m.row(k)
		for r := k + 1; r < n; r++ {
			row := m.row(r)
			if row[k] == 0 {
				continue
			}
			q := row[k] / pivot[k]
			row[k] = q
			for c := k + 1; c < n; c++ {
				row[c] -= q * pivot[c]
			}
		}
	}
	return f, true
}

func any2[T scalar](x float64) T {
	var t T
	switch p := any(&t).(type) {
	case *float64:
		*p = x
	case *complex128:
		*p = complex(x, 0)
	}
	return t
}

// solve returns x with a·x = b.
func (f lu[T]) solve(b []T) []T {
	n := f.m.rows
	x := make([]T, n)
	for r := 0; r < n; r++ {
		x[r] = b[f.perm[r]] * any2[T](f.scale[f.perm[r]])
	}
	for r := 0; r < n; r++ {
		row := f.m.row(r)
		for c := 0; c < r; c++ {
			x[r] -= row[c] * x[c]
		}
	}
	for r := n - 1; r >= 0; r-- {
		row := f.m.row(r)
		for c := r + 1; c < n; c++ {
			x[r] -= row[c] * x[c]
		}
		x[r] /= row[r]
	}
	return x
}

// solveMatrix returns X with a·X = B.
func (f lu[T]) solveMatrix(b matrix[T]) matrix[T] {
	out := newMatrix[T](b.rows, b.cols)
	column := make([]T, b.rows)
	for c := 0; c < b.cols; c++ {
		for r := range column {
			column[r] = b.at(r, c)
		}
		for r, x := range f.solve(column) {
			out.set(r, c, x)
		}
	}
	return out
}
