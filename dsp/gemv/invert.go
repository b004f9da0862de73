package gemv

import "math"

// Jacobian8 sets a to the inverse of I - K·D, all matrices of eight rows and column by column, what Newton's method needs of devices with currents i(v) behind a resistance K. D = di/dv
// has own on its diagonal and, in blocks of two, the other derivatives beside it: oth[k] in row k.
//
// It is Gauss-Jordan elimination with the blocks of two for pivots, which stay where they are: it is for what has a heavy diagonal. It gives up, and says so, where the determinant of a pivot is
// not larger than least.
func Jacobian8(a *[64]float64, k []float64, own, oth *[8]float64, least float64) bool {
	if fast {
		_ = k[63]
		return jacobian8AVX(&a[0], &k[0], &own[0], &oth[0], least)
	}
	return jacobian8(a, k, own, oth, least)
}

// jacobian8 makes two columns of the matrix at a time, one pair after the other, the unit vectors that they have in the identity, and lets the columns of the identity become the inverse in the same
// place: with the pivot P and the pair's columns C, each column loses C·P⁻¹ times its two elements in the pivot's rows, and has P⁻¹ times these left in there. A division serves two rows, and half as many
// wait for one another.
func jacobian8(a *[64]float64, k []float64, own, oth *[8]float64, least float64) bool {
	for c := 0; c < 8; c += 2 {
		u, v := k[8*c:8*c+8], k[8*c+8:8*c+16]
		for r := range 8 {
			a[8*c+r] = -(float64(u[r]*own[c]) + float64(v[r]*oth[c+1]))
			a[8*c+8+r] = -(float64(u[r]*oth[c]) + float64(v[r]*own[c+1]))
		}
		a[9*c]++
		a[9*c+9]++
	}
	for k := 0; k < 8; k += 2 {
		x, y := [8]float64(a[8*k:8*k+8]), [8]float64(a[8*k+8:8*k+16])
		det := float64(x[k]*y[k+1]) - float64(y[k]*x[k+1])
		if !(math.Abs(det) > least) || math.IsInf(det, 0) {
			return false
		}
		r := 1 / det
		p00, p01, p10, p11 := y[k+1]*r, -y[k]*r, -x[k+1]*r, x[k]*r
		x[k], x[k+1], y[k], y[k+1] = -1, 0, 0, -1
		var cx, cy [8]float64
		for r := range cx {
			cx[r] = float64(x[r]*p00) + float64(y[r]*p10)
			cy[r] = float64(x[r]*p01) + float64(y[r]*p11)
		}
		clear(a[8*k : 8*k+16])
		a[9*k], a[9*k+9] = 1, 1
		for j := range 8 {
			column := (*[8]float64)(a[8*j:])
			s, t := column[k], column[k+1]
			column[k], column[k+1] = 0, 0
			for r := range column {
				column[r] -= float64(cx[r]*s) + float64(cy[r]*t)
			}
		}
	}
	return true
}
