package gemv

import (
	"math"
	"unsafe"
)

// What a signal goes through block by block: FIR filters over all of it in one call, decaying
// modes, and the question whether it stays within a limit. Each output is computed by itself, by
// the same operations in the same order wherever it stands, so that the bits do not depend on where
// a block ends.

// Stretch is a stretch of a signal, in double or single precision. It is there twice, half a line
// of the processor's cache apart: wherever four or eight neighbouring samples begin, one of the two
// has them in one line, and to load them from two lines costs twice as much.
type Stretch[T float32 | float64] struct{ a, b []T }

const cacheLine = 64 // bytes

// NewStretch makes a stretch of so many zeros.
func NewStretch[T float32 | float64](n int) *Stretch[T] {
	lined := func(beside int) []T {
		size := int(unsafe.Sizeof(T(0)))
		x := make([]T, n+2*cacheLine/size)
		at := (beside + cacheLine - int(uintptr(unsafe.Pointer(&x[0]))%cacheLine)) / size
		return x[at : at+n]
	}
	return &Stretch[T]{lined(0), lined(cacheLine / 2)}
}

// From is the stretch from the given sample on, to be read.
func (z *Stretch[T]) From(from int) []T { return z.a[from:] }

// Write puts x into the stretch, from the given sample on; twice, or once where no filter slides
// over it but From is all that reads it.
func Write(z *Stretch[float64], from int, x []float64, twice bool) {
	copy(z.a[from:from+len(x)], x)
	if twice {
		copy(z.b[from:from+len(x)], x)
	}
}

// least is what Narrow takes for nothing: times a tap of 1e-12 of anything it is still no subnormal
// number of single precision, which processors are slow with.
const least = 1e-25

// Narrow puts x into the stretch, from the given sample on, with zeros for what is under 1e-25.
func Narrow(z *Stretch[float32], from int, x []float64) {
	a, b := z.a[from:from+len(x)], z.b[from:from+len(x)]
	j := 0
	if fast {
		if j = len(x) &^ 7; j > 0 {
			narrowAVX(&a[0], &b[0], &x[0], j, least)
		}
	}
	narrow(a[j:], x[j:])
	copy(b[j:], a[j:])
}

func narrow(z []float32, x []float64) {
	for k, v := range x {
		f := float32(v)
		if f < least && f > -least {
			f = 0
		}
		z[k] = f
	}
}

// Slide is a FIR filter: y[j] = bias + Σ taps[k]·x[from+j+k], summed in the order of the taps. It
// is fastest from 0 on.
func Slide(y []float64, x *Stretch[float64], from int, taps []float64, bias float64) {
	if len(y) == 0 {
		return
	}
	a, b, j := x.a[from:], x.b[from:], 0
	if fast && len(taps) > 0 {
		_, _ = a[len(y)+len(taps)-2], b[len(y)+len(taps)-2]
		if j = len(y) &^ 3; j > 0 {
			slideAVX(&y[0], &a[0], &b[0], j, &taps[0], len(taps), bias)
		}
	}
	slide(y[j:], a[j:], taps, bias)
}

func slide(y, x, taps []float64, bias float64) {
	for j := range y {
		sum := bias
		for k, v := range x[j : j+len(taps)] {
			sum = Fused(taps[k], v, sum)
		}
		y[j] = sum
	}
}

// SlideNear is a FIR filter that is nearly a gain: y[j] = (bias + gain·x[j]) + Σ
// taps[k]·z[from+j+k], with x again in z. The sum is of single precision: where the taps make up a
// thousandth of the gain, it is off by less than -200 dB of the signal, at half the price.
func SlideNear(y, x []float64, gain, bias float64, z *Stretch[float32], from int, taps []float32) {
	if len(y) == 0 {
		return
	}
	a, b, j := z.a[from:], z.b[from:], 0
	if fast && len(taps) > 0 {
		_, _, _ = x[len(y)-1], a[len(y)+len(taps)-2], b[len(y)+len(taps)-2]
		if j = len(y) &^ 7; j > 0 {
			slideNearAVX(&y[0], &x[0], j, gain, bias, &a[0], &b[0], &taps[0], len(taps))
		}
	}
	slideNear(y[j:], x[j:], gain, bias, a[j:], taps)
}

func slideNear(y, x []float64, gain, bias float64, z, taps []float32) {
	x = x[:len(y)]
	for j := range y {
		var sum float32
		for k, v := range z[j : j+len(taps)] {
			sum += float32(taps[k] * v)
		}
		y[j] = (bias + float64(gain*x[j])) + float64(sum)
	}
}

// Within reports whether all of x is between -limit and limit, these included; what is not a number
// is not.
func Within(x []float64, limit float64) bool {
	j := 0
	if fast {
		if j = len(x) &^ 15; j > 0 && !withinAVX(&x[0], j, limit) {
			return false
		}
	}
	return within(x[j:], limit)
}

func within(x []float64, limit float64) bool {
	for _, v := range x {
		if !(math.Abs(v) <= limit) {
			return false
		}
	}
	return true
}

// Mode is a decaying oscillation, w[n] = pole·w[n-1] + u[n] with a complex pole, or with a real one
// a decay, that is heard as re·Re w + im·Im w.
//
// It is stepped four samples at a time, w[n] = pole⁴·w[n-4] + u[n] + pole·u[n-1] + pole²·u[n-2] +
// pole³·u[n-3], so that four of them wait for the four before, not each for the one before.
type Mode struct {
	// Of every number four times the same: the real parts of pole, pole², pole³ and pole⁴, their
	// imaginary parts, re and im.
	of    [10][4]float64
	state [2][4]float64 // of the last four samples, the oldest first: real and imaginary parts
	real  bool
}

// NewMode makes a mode at rest.
func NewMode(pole complex128, re, im float64) Mode {
	m := Mode{real: imag(pole) == 0}
	p := pole
	for k := range 4 {
		m.of[k], m.of[4+k] = four(real(p)), four(imag(p))
		p *= pole
	}
	m.of[8], m.of[9] = four(re), four(im)
	return m
}

func four(x float64) [4]float64 { return [4]float64{x, x, x, x} }

// Reset puts the mode to rest.
func (m *Mode) Reset() { m.state = [2][4]float64{} }

// Flush takes what is under a level for nothing.
func (m *Mode) Flush(level float64) {
	for c := range m.state {
		for k, x := range m.state[c] {
			if x < level && x > -level {
				m.state[c][k] = 0
			}
		}
	}
}

// AddModes adds modes to y, in their order. u is as for Add. A complex one and a real one after it
// are stepped together: neither alone keeps the processor busy.
func AddModes(modes []Mode, y, u []float64) {
	for len(modes) > 0 {
		m := &modes[0]
		if n := len(y) &^ 3; fast && n > 0 && len(modes) > 1 && !m.real && modes[1].real {
			_ = u[len(y)+2]
			bothAVX(&y[0], &u[3], n, &m.of[0][0], &m.state[0][0], &modes[1].of[0][0], &modes[1].state[0][0])
			m.add(y[n:], u[n:])
			modes[1].add(y[n:], u[n:])
			modes = modes[2:]
			continue
		}
		m.Add(y, u)
		modes = modes[1:]
	}
}

// Add adds the mode to y. u has three samples more than y in front: those before the first of y.
func (m *Mode) Add(y, u []float64) {
	if len(y) == 0 {
		return
	}
	_ = u[len(y)+2]
	j := 0
	if fast {
		if j = len(y) &^ 3; j > 0 {
			if m.real {
				decayAVX(&y[0], &u[3], j, &m.of[0][0], &m.state[0][0])
			} else {
				ringAVX(&y[0], &u[3], j, &m.of[0][0], &m.state[0][0])
			}
		}
	}
	m.add(y[j:], u[j:])
}

func (m *Mode) add(y, u []float64) {
	c := &m.of
	x, i := m.state[0], m.state[1]
	for j := range y {
		u0, u1, u2, u3 := u[j+3], u[j+2], u[j+1], u[j]
		now := (u0 + float64(c[0][0]*u1)) + (float64(c[1][0]*u2) + float64(c[2][0]*u3))
		if m.real {
			now += float64(c[3][0] * x[0])
			y[j] += float64(c[8][0] * now)
			x = [4]float64{x[1], x[2], x[3], now}
			continue
		}
		other := float64(c[4][0]*u1) + (float64(c[5][0]*u2) + float64(c[6][0]*u3))
		now = (now + float64(c[3][0]*x[0])) - float64(c[7][0]*i[0])
		other = (other + float64(c[3][0]*i[0])) + float64(c[7][0]*x[0])
		y[j] = (y[j] + float64(c[8][0]*now)) + float64(c[9][0]*other)
		x, i = [4]float64{x[1], x[2], x[3], now}, [4]float64{i[1], i[2], i[3], other}
	}
	m.state = [2][4]float64{x, i}
}
