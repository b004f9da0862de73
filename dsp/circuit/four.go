package circuit

import "math"

// newton4 is newton for four ports, the two transistors of a fuzz: the same arithmetic with the loops written out, on arrays that the
// compiler can keep in registers, and without exchanging rows. Where a pivot is small it leaves the step to newton.
func (t *Transient) newton4(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) {
	k := (*[16]float64)(st.k)
	lu := (*[16]float64)(st.jac)
	*(*[4]int)(st.piv) = [4]int{0, 1, 2, 3} // no row changes its place
	pp, vv := (*[4]float64)(p), (*[4]float64)(v)
	v0 := (*[4]float64)(t.point.v)
	base := (*[4]float64)(t.scratch.base)
	cur, own, oth := (*[4]float64)(t.i), (*[4]float64)(t.own), (*[4]float64)(t.oth)
	next := (*[4]float64)(t.scratch.next)
	sharp, weight := t.dev.sharpness(), (*[4]float64)(t.dev.weight)
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.dev.eval(v, t.i, t.own, t.oth)
		// The Jacobian I - K·D; own is D's diagonal, the two transistors' blocks have their other entries in oth.
		g0, g1, g2, g3 := own[0], own[1], own[2], own[3]
		x0, x1, x2, x3 := oth[0], oth[1], oth[2], oth[3] // di[k]/dv[partner]
		a00 := 1 - k[0]*g0 - k[4]*x1
		a01 := -k[4]*g1 - k[0]*x0
		a02 := -k[8]*g2 - k[12]*x3
		a03 := -k[12]*g3 - k[8]*x2
		a10 := -k[1]*g0 - k[5]*x1
		a11 := 1 - k[5]*g1 - k[1]*x0
		a12 := -k[9]*g2 - k[13]*x3
		a13 := -k[13]*g3 - k[9]*x2
		a20 := -k[2]*g0 - k[6]*x1
		a21 := -k[6]*g1 - k[2]*x0
		a22 := 1 - k[10]*g2 - k[14]*x3
		a23 := -k[14]*g3 - k[10]*x2
		a30 := -k[3]*g0 - k[7]*x1
		a31 := -k[7]*g1 - k[3]*x0
		a32 := -k[11]*g2 - k[15]*x3
		a33 := 1 - k[15]*g3 - k[11]*x2
		// F = p + K·(i-base) + v0 - v
		d0, d1, d2, d3 := cur[0]-base[0], cur[1]-base[1], cur[2]-base[2], cur[3]-base[3]
		f0 := pp[0] + v0[0] - vv[0] + ((k[0]*d0 + k[4]*d1) + (k[8]*d2 + k[12]*d3))
		f1 := pp[1] + v0[1] - vv[1] + ((k[1]*d0 + k[5]*d1) + (k[9]*d2 + k[13]*d3))
		f2 := pp[2] + v0[2] - vv[2] + ((k[2]*d0 + k[6]*d1) + (k[10]*d2 + k[14]*d3))
		f3 := pp[3] + v0[3] - vv[3] + ((k[3]*d0 + k[7]*d1) + (k[11]*d2 + k[15]*d3))
		// LU, the pivots kept inverted.
		const small = 1e-6
		if !(math.Abs(a00) > small) {
			return it, lost
		}
		r0 := 1 / a00
		l10, l20, l30 := a10*r0, a20*r0, a30*r0
		a11 -= l10 * a01
		a12 -= l10 * a02
		a13 -= l10 * a03
		a21 -= l20 * a01
		a22 -= l20 * a02
		a23 -= l20 * a03
		a31 -= l30 * a01
		a32 -= l30 * a02
		a33 -= l30 * a03
		if !(math.Abs(a11) > small) {
			return it, lost
		}
		r1 := 1 / a11
		l21, l31 := a21*r1, a31*r1
		a22 -= l21 * a12
		a23 -= l21 * a13
		a32 -= l31 * a12
		a33 -= l31 * a13
		if !(math.Abs(a22) > small) {
			return it, lost
		}
		r2 := 1 / a22
		l32 := a32 * r2
		a33 -= l32 * a23
		if !(math.Abs(a33) > small) {
			return it, lost
		}
		r3 := 1 / a33
		lu[0], lu[1], lu[2], lu[3] = r0, a01, a02, a03
		lu[4], lu[5], lu[6], lu[7] = l10, r1, a12, a13
		lu[8], lu[9], lu[10], lu[11] = l20, l21, r2, a23
		lu[12], lu[13], lu[14], lu[15] = l30, l31, l32, r3
		f1 -= l10 * f0
		f2 -= l20*f0 + l21*f1
		f3 -= l30*f0 + l31*f1 + l32*f2
		f3 *= r3
		f2 = (f2 - a23*f3) * r2
		f1 = (f1 - a12*f2 - a13*f3) * r1
		f0 = (f0 - a01*f1 - a02*f2 - a03*f3) * r0

		worst := math.Abs(f0) * weight[0]
		if x := math.Abs(f1) * weight[1]; x > worst {
			worst = x
		}
		if x := math.Abs(f2) * weight[2]; x > worst {
			worst = x
		}
		if x := math.Abs(f3) * weight[3]; x > worst {
			worst = x
		}
		if giveUp && worst > divideAt {
			return it, left
		}
		if !(worst < 1e12) {
			return it, lost
		}
		if rest := worst * worst * sharp; rest <= portTolerance { // far below where a step would be limited
			if rest > t.report.Residual {
				t.report.Residual = rest
			}
			vv[0] += f0
			vv[1] += f1
			vv[2] += f2
			vv[3] += f3
			cur[0] += g0*f0 + x0*f1
			cur[1] += g1*f1 + x1*f0
			cur[2] += g2*f2 + x2*f3
			cur[3] += g3*f3 + x3*f2
			return it, solved
		}
		next[0], next[1], next[2], next[3] = vv[0]+f0, vv[1]+f1, vv[2]+f2, vv[3]+f3
		t.dev.limit(t.scratch.next, v)
		*vv = *next
	}
	return limit, lost
}

// solve4 solves J·x = d in place with what newton4 left.
func (st *stepper) solve4(d []float64) {
	lu, f := (*[16]float64)(st.jac), (*[4]float64)(d)
	f0, f1, f2, f3 := f[0], f[1], f[2], f[3]
	f1 -= lu[4] * f0
	f2 -= lu[8]*f0 + lu[9]*f1
	f3 -= lu[12]*f0 + lu[13]*f1 + lu[14]*f2
	f3 *= lu[15]
	f2 = (f2 - lu[11]*f3) * lu[10]
	f1 = (f1 - lu[6]*f2 - lu[7]*f3) * lu[5]
	f0 = (f0 - lu[1]*f1 - lu[2]*f2 - lu[3]*f3) * lu[0]
	f[0], f[1], f[2], f[3] = f0, f1, f2, f3
}
