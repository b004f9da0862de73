package transient

import (
	"math"

	"drywire/dsp/gemv"
)

// row is a number for every port, for circuits of up to eight: as many as two vector registers
// hold. What is no port is zero.
type row [8]float64

// ports is what a step has to do with the ports of a circuit of up to eight, whatever the step's
// length.
type ports struct {
	v, next      row // V, at the last step's end and, as far as known, at this one's
	i, own, oth  row // port currents at next and their derivatives, see circuit.Devices.Eval
	v0, base     row // port voltages and currents at the operating point
	weight       row // of errors in the port voltages
	limitInverse row // see circuit.Devices.LimitInverse
	f, d         row // residual of the port voltages, and Newton's correction of it
	di, second   row // deviations of the port currents from rest; second differences
	last, before row // the same deviations at the ends of the last step and the one before
}

// workspace is what a step of one length has beside them.
type workspace struct {
	p, want      row // linear parts of the port voltages: of the last solution and of this step
	tangent      row // where the last Jacobian leads
	off, ahead   row // the predictor's error at the last solution, and as it is expected
	k, inverse   [64]float64
	width, pairs int // rows of a column, 4 or 8; pairs of ports
}

// newWorkspace makes it for so many ports, from the columns of K, of so many rows each.
func newWorkspace(width, ports int, k []float64) *workspace {
	s := &workspace{width: width, pairs: (ports + 1) / 2}
	copy(s.k[:], k)
	for j := range width {
		s.inverse[j*width+j] = 1
	}
	return s
}

// What follows is a step's arithmetic on the ports. Each has a plain form, which says what it does,
// and on processors with AVX2 and FMA one in assembly that does the same operations in the same
// order and gives the same numbers.

// predict sets next to where the step from v to the linear parts P·x will lead, by the last
// Jacobian. It returns the longest way to there over all ports, as a share of the step below which
// limiting is inactive.
func (t *ports) predict(s *workspace, p, x []float64) float64 {
	if fast && len(x) > 0 {
		_ = p[len(x)*s.width-1]
		if s.width == 4 {
			return predict4(t, s, &p[0], &x[0], len(x))
		}
		return predict8(t, s, &p[0], &x[0], len(x))
	}
	return t.predictPlain(s, p, x)
}

func (t *ports) predictPlain(s *workspace, p, x []float64) float64 {
	s.want = s.columns(p, x)
	var d row
	for k := range d {
		d[k] = s.want[k] - s.p[k]
	}
	moved := s.times(&s.inverse, &d)
	far := 0.0
	for k := range moved {
		s.tangent[k] = t.v[k] + moved[k]
		t.next[k] = s.tangent[k] + s.ahead[k]
		far = larger(far, math.Abs(t.next[k]-t.v[k])*t.limitInverse[k])
	}
	return far
}

// correct sets d to Newton's correction of next, where the devices have the currents i and the
// derivatives own and oth, and inverse to the inverse of the Jacobian there. It returns the largest
// correction, weighed; +Inf where one is not a number or beyond all sense; and -1 where the
// Jacobian has no inverse by this method: inverse is then not to be used.
func (t *ports) correct(s *workspace) float64 {
	if fast {
		if s.width == 4 {
			return correct4(t, s, s.pairs, leastPivot)
		}
		return correct8(t, s, s.pairs, leastPivot)
	}
	return t.correctPlain(s)
}

func (t *ports) correctPlain(s *workspace) float64 {
	for k := range t.di {
		t.di[k] = t.i[k] - t.base[k]
	}
	t.f = s.times(&s.k, &t.di)
	for k := range t.f {
		t.f[k] += s.want[k] + t.v0[k] - t.next[k]
	}
	if !s.invert(&t.own, &t.oth) {
		return -1
	}
	t.d = s.times(&s.inverse, &t.f)
	worst := 0.0
	for k, x := range t.d {
		x = math.Abs(x) * t.weight[k]
		if !(x <= beyondSense) {
			return math.Inf(1)
		}
		worst = larger(worst, x)
	}
	return worst
}

const (
	leastPivot  = 1e-6 // what the determinant of a pivot must be at least
	beyondSense = 1e12 // V
)

// settle makes the last correction, after which the step is solved: next, and the currents'
// deviations along their tangent. It returns by how many volts, weighed, the currents' second
// differences over the step move a port: r is the length of this step over that of the last, scale
// is 2r/(1+r).
func (t *ports) settle(s *workspace, r, scale float64) float64 {
	if fast {
		if s.width == 4 {
			return settle4(t, s, r, scale)
		}
		return settle8(t, s, r, scale)
	}
	return t.settlePlain(s, r, scale)
}

func (t *ports) settlePlain(s *workspace, r, scale float64) float64 {
	for k := range t.d {
		t.next[k] += t.d[k]
		t.di[k] += gemv.Fused(t.own[k], t.d[k], t.oth[k]*t.d[k^1])
		off := t.next[k] - s.tangent[k]
		s.ahead[k] = off + (off - s.off[k])
		s.off[k] = off
		t.second[k] = scale * gemv.Fused(-r, t.last[k]-t.before[k], t.di[k]-t.last[k])
	}
	s.p = s.want
	worst := 0.0
	for k, x := range s.times(&s.k, &t.second) {
		worst = larger(worst, math.Abs(x)*t.weight[k])
	}
	return worst
}

// columns is A·x for as many columns as x has numbers, four sums side by side.
func (s *workspace) columns(a, x []float64) row {
	var sums [4]row
	for k, v := range x {
		for j, c := range a[k*s.width : (k+1)*s.width] {
			sums[k%4][j] = gemv.Fused(c, v, sums[k%4][j])
		}
	}
	var out row
	for k := range out {
		out[k] = (sums[0][k] + sums[2][k]) + (sums[1][k] + sums[3][k])
	}
	return out
}

// times is A·x for a square matrix, the columns of even and of odd index apart.
func (s *workspace) times(a *[64]float64, x *row) row {
	var sums [2]row
	for k, v := range x[:2*s.pairs] {
		for j, c := range a[k*s.width : (k+1)*s.width] {
			sums[k%2][j] = gemv.Fused(c, v, sums[k%2][j])
		}
	}
	for k := range sums[0] {
		sums[0][k] += sums[1][k]
	}
	return sums[0]
}

// invert sets inverse to that of I - K·D. D has own on its diagonal and, in blocks of two, the
// other derivatives beside it: oth[k] in row k.
//
// It is Gauss-Jordan elimination with the blocks of two for pivots, which stay where they are: it
// is for what has a heavy diagonal. It gives up, and says so, where the determinant of a pivot is
// not larger than leastPivot.
//
// It makes two columns of the matrix at a time, one pair after the other, the unit vectors that
// they have in the identity, and lets the columns of the identity become the inverse in the same
// place: with the pivot P and the pair's columns C, each column loses C·P⁻¹ times its two elements
// in the pivot's rows, and has P⁻¹ times these left in there. The inverse of the determinant comes
// in last, so that what does not need it is done while it is computed.
func (s *workspace) invert(own, oth *row) bool {
	w, n, a := s.width, 2*s.pairs, &s.inverse
	for c := 0; c < n; c += 2 {
		u, v := s.k[w*c:w*c+w], s.k[w*c+w:w*c+2*w]
		for r := range w {
			a[w*c+r] = -gemv.Fused(u[r], own[c], v[r]*oth[c+1])
			a[w*c+w+r] = -gemv.Fused(u[r], oth[c], v[r]*own[c+1])
		}
		a[w*c+c]++
		a[w*c+w+c+1]++
	}
	for k := 0; k < n; k += 2 {
		var x, y, ux, uy row
		copy(x[:], a[w*k:w*k+w])
		copy(y[:], a[w*k+w:w*k+2*w])
		x0, x1, y0, y1 := x[k], x[k+1], y[k], y[k+1]
		det := gemv.Fused(x0, y1, -(y0 * x1))
		if !(math.Abs(det) > leastPivot) || math.IsInf(det, 0) {
			return false
		}
		r := 1 / det
		x[k], x[k+1], y[k], y[k+1] = -1, 0, 0, -1
		for j := range ux {
			ux[j] = gemv.Fused(x[j], y1, -(y[j] * x1))
			uy[j] = gemv.Fused(y[j], x0, -(x[j] * y0))
		}
		for j := range n {
			column := a[w*j : w*j+w]
			if j == k || j == k+1 {
				clear(column)
				column[j] = 1
			}
			p, q := column[k], column[k+1]
			column[k], column[k+1] = 0, 0
			for i := range column {
				column[i] = gemv.Fused(-r, gemv.Fused(uy[i], q, ux[i]*p), column[i])
			}
		}
	}
	return true
}

// larger is max without its care for what is not a number.
func larger(a, b float64) float64 {
	if a > b {
		return a
	}
	return b
}

// carry is the step of the modes: next is what the states s become by themselves, on the diagonal
// and, in blocks of two, beside it, and by so many columns of drive times x. All have a multiple of
// four rows.
func carry(next, s, diagonal, turn, drive, x []float64) {
	if fast && len(x) > 0 {
		_, _, _, _ = s[len(next)-1], diagonal[len(next)-1], turn[len(next)-1], drive[len(next)*len(x)-1]
		carryAVX(&next[0], &s[0], &diagonal[0], &turn[0], &drive[0], len(next), &x[0], len(x))
		return
	}
	carryPlain(next, s, diagonal, turn, drive, x)
}

func carryPlain(next, s, diagonal, turn, drive, x []float64) {
	for r := range next {
		even, odd := diagonal[r]*s[r], turn[r]*s[r^1]
		for k := 0; k < len(x); k += 2 {
			even = gemv.Fused(drive[k*len(next)+r], x[k], even)
			if k+1 < len(x) {
				odd = gemv.Fused(drive[(k+1)*len(next)+r], x[k+1], odd)
			}
		}
		next[r] = even + odd
	}
}

// product is that of a, whose length is a multiple of eight, and as much of b.
func product(a, b []float64) float64 {
	if fast && len(a) > 0 {
		_ = b[len(a)-1]
		return productAVX(&a[0], &b[0], len(a))
	}
	return productPlain(a, b)
}

func productPlain(a, b []float64) float64 {
	var s [8]float64
	for k := 0; k < len(a); k += 8 {
		for j := range s {
			s[j] = gemv.Fused(a[k+j], b[k+j], s[j])
		}
	}
	return ((s[0] + s[4]) + (s[2] + s[6])) + ((s[1] + s[5]) + (s[3] + s[7]))
}
