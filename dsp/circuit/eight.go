package circuit

import (
	"math"

	"drywire/dsp/gemv"
)

// leastPivot is what the determinant of a pivot must be at least for newton8.
const leastPivot = 1e-6

// larger is max without its care for what is not a number.
func larger(a, b float64) float64 {
	if a > b {
		return a
	}
	return b
}

// judge says what becomes of a step whose Newton correction is so large, in volts, at its worst port and over all.
func (t *Transient) judge(worst, sum float64, giveUp bool) outcome {
	if giveUp && worst > divideAt {
		return left
	}
	if !(sum < 1e12) { // or not a number
		return lost
	}
	rest := worst * worst * (1 / (2 * thermal))
	if rest > portTolerance {
		return going
	}
	if rest > t.report.Residual { // the corrections are far below where a step would be limited
		t.report.Residual = rest
	}
	return solved
}

// newton8 is newton for five to eight ports: on as many rows as a vector operation takes, those that are no port being rows of the identity, and with the
// Jacobian's inverse in place of its factors. Where a pivot is small it leaves the step to newton, which exchanges rows. What is left of an inverse's
// precision otherwise is by far enough: the correction that it gives is some µV, of which a nanovolt matters.
func (t *Transient) newton8(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) {
	w := &t.scratch
	f, di, d := (*[8]float64)(w.f[:8]), (*[8]float64)(w.di[:8]), (*[8]float64)(w.d[:8])
	pp, vv, v0 := (*[8]float64)(p[:8]), (*[8]float64)(v[:8]), (*[8]float64)(t.v0[:8])
	base, cur, weight := (*[8]float64)(w.base[:8]), (*[8]float64)(t.i[:8]), (*[8]float64)(t.weight[:8])
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.dev.eval(v, t.i, t.own, t.oth)
		for k := range di {
			di[k] = cur[k] - base[k]
		}
		gemv.Mul8(f, st.k, 8, di[:])
		for k := range f {
			f[k] += pp[k] + v0[k] - vv[k]
		}
		if !st.invert8(t.own, t.oth) {
			return it, lost
		}
		gemv.Mul8(d, st.inverse, 8, f[:])
		worst, sum := 0.0, 0.0
		for k, x := range d {
			x = math.Abs(x) * weight[k]
			worst, sum = larger(worst, x), sum+x
		}
		switch t.judge(worst, sum, giveUp) {
		case left:
			return it, left
		case lost:
			return it, lost
		case solved:
			for k, x := range d {
				vv[k] += x
			}
			t.dev.advance(t.i, w.d, t.own, t.oth)
			return it, solved
		}
		for k, x := range d {
			w.next[:8][k] = vv[k] + x
		}
		t.dev.limit(w.next, v)
		copy(v, w.next)
	}
	return limit, lost
}

// invert8 makes the inverse of the Jacobian I - K·D. D has own on its diagonal and, in blocks of two, the other derivatives beside it.
func (st *stepper) invert8(own, oth []float64) bool {
	st.inverted = gemv.Jacobian8((*[64]float64)(st.inverse), st.k, (*[8]float64)(own[:8]), (*[8]float64)(oth[:8]), leastPivot)
	return st.inverted
}
