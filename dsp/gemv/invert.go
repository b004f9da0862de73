package gemv

import "math"

// Invert8 turns a matrix A of eight rows, column by column, into the inverse of the identity and A, by Gauss-Jordan elimination, and leaves the pivots where they are: it is
// for what has a heavy diagonal. It gives up, and says so, where a pivot is not larger than least.
func Invert8(a *[64]float64, least float64) bool {
	if fast {
		return invert8AVX(&a[0], least)
	}
	return invert8(a, least)
}

// invert8 makes column k of I + A, one after the other, the unit vector that it has in the identity, and lets the columns of the identity become the inverse in the same
// place: each column loses column k times its element in row k over the pivot, and keeps that quotient in row k.
func invert8(a *[64]float64, least float64) bool {
	for k := range 8 {
		pivot := 1 + a[8*k+k]
		if !(math.Abs(pivot) > least) || math.IsInf(pivot, 0) {
			return false
		}
		p := 1 / pivot
		c := [8]float64(a[8*k : 8*k+8])
		clear(a[8*k : 8*k+8])
		a[8*k+k] = 1
		for j := range 8 {
			column := (*[8]float64)(a[8*j:])
			t := column[k] * p
			column[k] = 0
			for r := range column {
				column[r] -= float64(c[r] * t)
			}
			column[k] = t
		}
	}
	return true
}

// Invert4 turns a matrix of four rows into its inverse, by cofactors: with a single division, it is the shorter way to wait for. It gives up where the determinant is not larger than least times
// the sum of its terms' sizes.
func Invert4(a *[16]float64, least float64) bool {
	// Determinants of two rows of the first two columns, and of the last two.
	s0, s1, s2 := a[0]*a[5]-a[1]*a[4], a[0]*a[6]-a[2]*a[4], a[0]*a[7]-a[3]*a[4]
	s3, s4, s5 := a[1]*a[6]-a[2]*a[5], a[1]*a[7]-a[3]*a[5], a[2]*a[7]-a[3]*a[6]
	c0, c1, c2 := a[8]*a[13]-a[9]*a[12], a[8]*a[14]-a[10]*a[12], a[8]*a[15]-a[11]*a[12]
	c3, c4, c5 := a[9]*a[14]-a[10]*a[13], a[9]*a[15]-a[11]*a[13], a[10]*a[15]-a[11]*a[14]
	d0, d1, d2, d3, d4, d5 := s0*c5, s1*c4, s2*c3, s3*c2, s4*c1, s5*c0
	det := ((d0 - d1) + (d2 + d3)) + (d5 - d4)
	size := (math.Abs(d0) + math.Abs(d1)) + (math.Abs(d2) + math.Abs(d3)) + (math.Abs(d4) + math.Abs(d5))
	if !(math.Abs(det) > least*size) || math.IsInf(size, 0) {
		return false
	}
	r := 1 / det
	*a = [16]float64{
		(a[5]*c5 - a[6]*c4 + a[7]*c3) * r, (a[2]*c4 - a[1]*c5 - a[3]*c3) * r, (a[13]*s5 - a[14]*s4 + a[15]*s3) * r, (a[10]*s4 - a[9]*s5 - a[11]*s3) * r,
		(a[6]*c2 - a[4]*c5 - a[7]*c1) * r, (a[0]*c5 - a[2]*c2 + a[3]*c1) * r, (a[14]*s2 - a[12]*s5 - a[15]*s1) * r, (a[8]*s5 - a[10]*s2 + a[11]*s1) * r,
		(a[4]*c4 - a[5]*c2 + a[7]*c0) * r, (a[1]*c2 - a[0]*c4 - a[3]*c0) * r, (a[12]*s4 - a[13]*s2 + a[15]*s0) * r, (a[9]*s2 - a[8]*s4 - a[11]*s0) * r,
		(a[5]*c1 - a[4]*c3 - a[6]*c0) * r, (a[0]*c3 - a[1]*c1 + a[2]*c0) * r, (a[13]*s1 - a[12]*s3 - a[14]*s0) * r, (a[8]*s3 - a[9]*s1 + a[10]*s0) * r,
	}
	return true
}
