// Package gemv is what the inner loops of filters are made of, eight numbers at a time. It is not a
// library of linear algebra: sizes are fixed, nothing is checked but ends.
//
// On processors of the x86 family with AVX2 and FMA the loops are in assembly, else in Go. Both do
// the same operations in the same order, Fused where products are added up, and on one type of
// processor give the same bits. Registers of 512 bits were tried: the scalar work between the calls
// lost more than the calls gained, and filters over whole blocks gained 4 %.
//
// Start reading at Add8; add8 is the plain form. For whole signals see Slide and Mode.
package gemv

// Add8 adds to y eight neighbouring outputs of a FIR filter: to output j the sum of x[k] times the
// sample a[j+k].
func Add8(y *[8]float64, a, x []float64) {
	if len(x) == 0 {
		return
	}
	_ = a[len(x)+6]
	if fast {
		add8AVX(y, &a[0], &x[0], len(x))
		return
	}
	add8(y, a, x)
}

// add8 sums the taps of even and of odd index apart, which lets the fast form do two additions at a
// time.
func add8(y *[8]float64, a, x []float64) {
	even, odd := taps8(a, x, 0), taps8(a, x, 1)
	for r := range y {
		y[r] += even[r] + odd[r]
	}
}

// taps8 is what every second tap from the given one on gives.
func taps8(a, x []float64, from int) [8]float64 {
	var y0, y1, y2, y3, y4, y5, y6, y7 float64
	for k := from; k < len(x); k += 2 {
		c, v := (*[8]float64)(a[k:]), x[k]
		y0 = Fused(c[0], v, y0)
		y1 = Fused(c[1], v, y1)
		y2 = Fused(c[2], v, y2)
		y3 = Fused(c[3], v, y3)
		y4 = Fused(c[4], v, y4)
		y5 = Fused(c[5], v, y5)
		y6 = Fused(c[6], v, y6)
		y7 = Fused(c[7], v, y7)
	}
	return [8]float64{y0, y1, y2, y3, y4, y5, y6, y7}
}
