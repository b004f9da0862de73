// Package gemv adds a matrix times a vector to a few numbers, y ← y + A·x, for four or eight rows, or eight at a time: what the inner loops of filters and circuits are made of.
// The columns of A lie at a constant distance. At the number of rows it is a matrix; at one it is a signal seen through a sliding window, x the taps of a FIR
// filter and y so many neighbouring outputs.
//
// It is not a library of linear algebra: sizes are fixed, nothing is checked but the last column's end.
//
// On processors of the x86 family with AVX2 the loops are in assembly, else in Go. Both do the same operations in the same order, product and sum rounded one
// by one, and give the same bits. Registers of 512 bits were tried: the scalar work of a circuit between the calls lost more than the calls gained. Start reading at Add8; add8 is the plain form.
package gemv

// Add8 adds A·x to y: column k of A is a[k*stride : k*stride+8].
func Add8(y *[8]float64, a []float64, stride int, x []float64) {
	if len(x) == 0 {
		return
	}
	_ = a[(len(x)-1)*stride+7]
	if fast {
		add8AVX(y, &a[0], stride, &x[0], len(x))
		return
	}
	add8(y, a, stride, x)
}

// Add4 adds A·x to y: column k of A is a[k*stride : k*stride+4].
func Add4(y *[4]float64, a []float64, stride int, x []float64) {
	if len(x) == 0 {
		return
	}
	_ = a[(len(x)-1)*stride+3]
	if fast {
		add4AVX(y, &a[0], stride, &x[0], len(x))
		return
	}
	add4(y, a, stride, x)
}

// Mul8 sets y to A·x; it does not wait for what y was.
func Mul8(y *[8]float64, a []float64, stride int, x []float64) {
	if len(x) > 0 && fast {
		_ = a[(len(x)-1)*stride+7]
		mul8AVX(y, &a[0], stride, &x[0], len(x))
		return
	}
	clear(y[:])
	Add8(y, a, stride, x)
}

// Mul4 sets y to A·x.
func Mul4(y *[4]float64, a []float64, stride int, x []float64) {
	if len(x) > 0 && fast {
		_ = a[(len(x)-1)*stride+3]
		mul4AVX(y, &a[0], stride, &x[0], len(x))
		return
	}
	clear(y[:])
	Add4(y, a, stride, x)
}

// Recur sets y to d∘s + A·x, the step of a recursion with a diagonal matrix: y, d and s have as many elements as A has rows, a multiple of eight; column k of A is
// a[k*len(y) : (k+1)*len(y)].
func Recur(y, d, s, a, x []float64) {
	if len(y) == 0 || len(x) == 0 {
		panic("gemv: nothing to do")
	}
	_, _, _ = d[len(y)-1], s[len(y)-1], a[len(x)*len(y)-1]
	if fast {
		recurAVX(&y[0], &d[0], &s[0], &a[0], len(y), &x[0], len(x))
		return
	}
	recur(y, d, s, a, x)
}

func recur(y, d, s, a, x []float64) {
	for r := 0; r < len(y); r += 8 {
		var even, odd [8]float64
		for j := range even {
			even[j] = d[r+j] * s[r+j]
		}
		for k, v := range x {
			c := (*[8]float64)(a[k*len(y)+r:])
			sum := &even
			if k%2 == 1 {
				sum = &odd
			}
			for j := range sum {
				sum[j] += float64(c[j] * v)
			}
		}
		for j := range even {
			y[r+j] = even[j] + odd[j]
		}
	}
}

// add8 sums the columns of even and of odd index apart, which lets the fast form do two additions at a time. The conversions keep a compiler from fusing
// product and sum.
func add8(y *[8]float64, a []float64, stride int, x []float64) {
	even, odd := columns8(a, stride, x, 0), columns8(a, stride, x, 1)
	for r := range y {
		y[r] += even[r] + odd[r]
	}
}

// columns8 is the sum of every second column from the given one on.
func columns8(a []float64, stride int, x []float64, from int) [8]float64 {
	var y0, y1, y2, y3, y4, y5, y6, y7 float64
	for k := from; k < len(x); k += 2 {
		c, v := (*[8]float64)(a[k*stride:]), x[k]
		y0 += float64(c[0] * v)
		y1 += float64(c[1] * v)
		y2 += float64(c[2] * v)
		y3 += float64(c[3] * v)
		y4 += float64(c[4] * v)
		y5 += float64(c[5] * v)
		y6 += float64(c[6] * v)
		y7 += float64(c[7] * v)
	}
	return [8]float64{y0, y1, y2, y3, y4, y5, y6, y7}
}

func add4(y *[4]float64, a []float64, stride int, x []float64) {
	even, odd := columns4(a, stride, x, 0), columns4(a, stride, x, 1)
	for r := range y {
		y[r] += even[r] + odd[r]
	}
}

func columns4(a []float64, stride int, x []float64, from int) [4]float64 {
	var y0, y1, y2, y3 float64
	for k := from; k < len(x); k += 2 {
		c, v := (*[4]float64)(a[k*stride:]), x[k]
		y0 += float64(c[0] * v)
		y1 += float64(c[1] * v)
		y2 += float64(c[2] * v)
		y3 += float64(c[3] * v)
	}
	return [4]float64{y0, y1, y2, y3}
}
