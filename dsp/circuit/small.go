package circuit

import "math"

// newton2 is newton for two ports, one transistor or two junctions: as newton4, with the loops written out.
func (t *Transient) newton2(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) {
	k, lu := (*[8]float64)(st.k), (*[4]float64)(st.jac)
	*(*[2]int)(st.piv) = [2]int{0, 1}
	pp, vv, v0 := (*[2]float64)(p), (*[2]float64)(v), (*[2]float64)(t.point.v)
	base := (*[2]float64)(t.scratch.base)
	cur, own, oth := (*[2]float64)(t.i), (*[2]float64)(t.own), (*[2]float64)(t.oth)
	next := (*[2]float64)(t.scratch.next)
	sharp, weight := t.dev.sharpness(), (*[2]float64)(t.dev.weight)
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.dev.eval(v, t.i, t.own, t.oth)
		g0, g1, x0, x1 := own[0], own[1], oth[0], oth[1]
		a00 := 1 - k[0]*g0 - k[4]*x1
		a01 := -k[4]*g1 - k[0]*x0
		a10 := -k[1]*g0 - k[5]*x1
		a11 := 1 - k[5]*g1 - k[1]*x0
		d0, d1 := cur[0]-base[0], cur[1]-base[1]
		f0 := pp[0] + v0[0] - vv[0] + (k[0]*d0 + k[4]*d1)
		f1 := pp[1] + v0[1] - vv[1] + (k[1]*d0 + k[5]*d1)
		if !(math.Abs(a00) > smallPivot) {
			return it, lost
		}
		r0 := 1 / a00
		l10 := a10 * r0
		a11 -= l10 * a01
		if !(math.Abs(a11) > smallPivot) {
			return it, lost
		}
		r1 := 1 / a11
		lu[0], lu[1], lu[2], lu[3] = r0, a01, l10, r1
		f1 = (f1 - l10*f0) * r1
		f0 = (f0 - a01*f1) * r0
		w0, w1 := math.Abs(f0)*weight[0], math.Abs(f1)*weight[1]
		worst := larger(w0, w1)
		if giveUp && worst > divideAt {
			return it, left
		}
		if !(w0+w1 < 1e12) { // or not a number
			return it, lost
		}
		if rest := worst * worst * sharp; rest <= portTolerance {
			t.report.Residual = larger(t.report.Residual, rest)
			vv[0] += f0
			vv[1] += f1
			cur[0] += g0*f0 + x0*f1
			cur[1] += g1*f1 + x1*f0
			return it, solved
		}
		next[0], next[1] = vv[0]+f0, vv[1]+f1
		t.dev.limit(t.scratch.next, v)
		*vv = *next
	}
	return limit, lost
}

// smallPivot is the pivot under which a step is left to newton, which exchanges rows.
const smallPivot = 1e-6

// newton3 is newton for three ports, of which the first two may be one device's.
func (t *Transient) newton3(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) {
	k, lu := (*[12]float64)(st.k), (*[9]float64)(st.jac)
	*(*[3]int)(st.piv) = [3]int{0, 1, 2}
	pp, vv, v0 := (*[3]float64)(p), (*[3]float64)(v), (*[3]float64)(t.point.v)
	base := (*[3]float64)(t.scratch.base)
	cur, own, oth := (*[3]float64)(t.i), (*[3]float64)(t.own), (*[3]float64)(t.oth)
	next := (*[3]float64)(t.scratch.next)
	sharp, weight := t.dev.sharpness(), (*[3]float64)(t.dev.weight)
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.dev.eval(v, t.i, t.own, t.oth)
		g0, g1, g2, x0, x1 := own[0], own[1], own[2], oth[0], oth[1]
		a00, a01, a02 := 1-k[0]*g0-k[4]*x1, -k[4]*g1-k[0]*x0, -k[8]*g2
		a10, a11, a12 := -k[1]*g0-k[5]*x1, 1-k[5]*g1-k[1]*x0, -k[9]*g2
		a20, a21, a22 := -k[2]*g0-k[6]*x1, -k[6]*g1-k[2]*x0, 1-k[10]*g2
		d0, d1, d2 := cur[0]-base[0], cur[1]-base[1], cur[2]-base[2]
		f0 := pp[0] + v0[0] - vv[0] + (k[0]*d0 + k[4]*d1 + k[8]*d2)
		f1 := pp[1] + v0[1] - vv[1] + (k[1]*d0 + k[5]*d1 + k[9]*d2)
		f2 := pp[2] + v0[2] - vv[2] + (k[2]*d0 + k[6]*d1 + k[10]*d2)
		if !(math.Abs(a00) > smallPivot) {
			return it, lost
		}
		r0 := 1 / a00
		l10, l20 := a10*r0, a20*r0
		a11 -= l10 * a01
		a12 -= l10 * a02
		a21 -= l20 * a01
		a22 -= l20 * a02
		if !(math.Abs(a11) > smallPivot) {
			return it, lost
		}
		r1 := 1 / a11
		l21 := a21 * r1
		a22 -= l21 * a12
		if !(math.Abs(a22) > smallPivot) {
			return it, lost
		}
		r2 := 1 / a22
		lu[0], lu[1], lu[2] = r0, a01, a02
		lu[3], lu[4], lu[5] = l10, r1, a12
		lu[6], lu[7], lu[8] = l20, l21, r2
		f1 -= l10 * f0
		f2 = (f2 - l20*f0 - l21*f1) * r2
		f1 = (f1 - a12*f2) * r1
		f0 = (f0 - a01*f1 - a02*f2) * r0
		w0, w1, w2 := math.Abs(f0)*weight[0], math.Abs(f1)*weight[1], math.Abs(f2)*weight[2]
		worst := larger(larger(w0, w1), w2)
		if giveUp && worst > divideAt {
			return it, left
		}
		if !(w0+w1+w2 < 1e12) { // or not a number
			return it, lost
		}
		if rest := worst * worst * sharp; rest <= portTolerance {
			t.report.Residual = larger(t.report.Residual, rest)
			vv[0] += f0
			vv[1] += f1
			vv[2] += f2
			cur[0] += g0*f0 + x0*f1
			cur[1] += g1*f1 + x1*f0
			cur[2] += g2 * f2
			return it, solved
		}
		next[0], next[1], next[2] = vv[0]+f0, vv[1]+f1, vv[2]+f2
		t.dev.limit(t.scratch.next, v)
		*vv = *next
	}
	return limit, lost
}

// solve2 and solve3 solve J·x = d in place with what newton2 and newton3 left.
func (st *stepper) solve2(d []float64) {
	lu, f := (*[4]float64)(st.jac), (*[2]float64)(d)
	f[1] = (f[1] - lu[2]*f[0]) * lu[3]
	f[0] = (f[0] - lu[1]*f[1]) * lu[0]
}

func (st *stepper) solve3(d []float64) {
	lu, f := (*[9]float64)(st.jac), (*[3]float64)(d)
	f0, f1, f2 := f[0], f[1], f[2]
	f1 -= lu[3] * f0
	f2 = (f2 - lu[6]*f0 - lu[7]*f1) * lu[8]
	f1 = (f1 - lu[5]*f2) * lu[4]
	f0 = (f0 - lu[1]*f1 - lu[2]*f2) * lu[0]
	f[0], f[1], f[2] = f0, f1, f2
}
