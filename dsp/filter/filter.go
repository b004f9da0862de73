// Package filter holds the tone-shaping filters of first and second order: peak, shelves, low-pass
// and high-pass, and chains of them.
//
// Each is an analogue prototype carried over by the bilinear transform, warped so that its corner
// frequency is exact. The prototypes are those of the "Cookbook formulae for audio EQ biquad filter
// coefficients" (W3C Note, 2021). The steep filters of rate conversion are in oversample.
//
// Signals are in any unit, volts as a rule. Frequencies are in Hz, gains in dB.
//
// Start reading at Peak, then newBiquad.
package filter

import (
	"fmt"
	"math"
	"math/cmplx"

	"drywire/dsp"
)

// tiny is the size, in the signal's unit, under which the whole memory of a filter is taken for
// zero. So a decaying tail ends, rather than become denormal numbers that processors are slow with.
const tiny = 1e-100

// Biquad is one filter of first or second order (a biquadratic section) with its memory. The zero
// value is not usable.
type Biquad struct {
	b0, b1, b2, a1, a2 float64    // of z^0, z^-1, z^-2; a0 is one
	s1, s2             float64    // memory, in the signal's unit
	num, den           [3]float64 // prototype: coefficients of s^0, s^1, s^2, corner at 1 rad/s
	k                  float64    // tan(π·corner/rate)
	rate               float64    // Hz
}

// Peak raises or lowers a band around f by gain dB; q is the ratio of f to the bandwidth (cookbook:
// between the points of half the gain in dB). It panics unless f is over 0 and under half the rate,
// and q over 0.
func Peak(f dsp.Hertz, gain, q float64, rate dsp.Hertz) *Biquad {
	a := math.Pow(10, gain/40)
	return newBiquad(f, q, rate, [3]float64{1, a / q, 1}, [3]float64{1, 1 / (a * q), 1})
}

// LowShelf raises or lowers what is below f by gain dB; at f it is half of that. q shapes the
// slope: 0.7071 is the steepest without overshoot. It panics where Peak does.
func LowShelf(f dsp.Hertz, gain, q float64, rate dsp.Hertz) *Biquad {
	a := math.Pow(10, gain/40)
	r := math.Sqrt(a) / q
	return newBiquad(f, q, rate, [3]float64{a * a, a * r, a}, [3]float64{1, r, a})
}

// HighShelf raises or lowers what is above f by gain dB; at f it is half of that. q is as in
// LowShelf. It panics where Peak does.
func HighShelf(f dsp.Hertz, gain, q float64, rate dsp.Hertz) *Biquad {
	a := math.Pow(10, gain/40)
	r := math.Sqrt(a) / q
	return newBiquad(f, q, rate, [3]float64{a, a * r, a * a}, [3]float64{a, r, 1})
}

// LowPass falls by 12 dB per octave above f; q is its gain at f. It panics where Peak does.
func LowPass(f dsp.Hertz, q float64, rate dsp.Hertz) *Biquad {
	return newBiquad(f, q, rate, [3]float64{1, 0, 0}, [3]float64{1, 1 / q, 1})
}

// HighPass falls by 12 dB per octave below f; q is its gain at f. It panics where Peak does.
func HighPass(f dsp.Hertz, q float64, rate dsp.Hertz) *Biquad {
	return newBiquad(f, q, rate, [3]float64{0, 0, 1}, [3]float64{1, 1 / q, 1})
}

// OnePoleLow falls by 6 dB per octave above f, where it is 3 dB down. It panics where Peak does.
func OnePoleLow(f dsp.Hertz, rate dsp.Hertz) *Biquad {
	return newBiquad(f, 1, rate, [3]float64{1, 0, 0}, [3]float64{1, 1, 0})
}

// OnePoleHigh falls by 6 dB per octave below f, where it is 3 dB down. It panics where Peak does.
func OnePoleHigh(f dsp.Hertz, rate dsp.Hertz) *Biquad {
	return newBiquad(f, 1, rate, [3]float64{0, 1, 0}, [3]float64{1, 1, 0})
}

// newBiquad applies the bilinear transform s = (1 - z^-1) / (k·(1 + z^-1)) to the prototype num/den
// in s. It panics unless 0 < f < rate/2 and q > 0.
func newBiquad(f dsp.Hertz, q float64, rate dsp.Hertz, num, den [3]float64) *Biquad {
	if !(f > 0 && f < rate/2) || !(q > 0) || math.IsInf(q, 1) {
		panic(fmt.Sprintf("filter: %v Hz at a rate of %v Hz with q %v", float64(f), float64(rate), q))
	}
	s := &Biquad{num: num, den: den, rate: float64(rate)}
	s.k = math.Tan(math.Pi * float64(f) / float64(rate))
	b, a := bilinear(num, s.k), bilinear(den, s.k)
	if den[2] == 0 && num[2] == 0 { // first order: both have the factor 1 + z^-1 too many
		b, a = [3]float64{num[0]*s.k + num[1], num[0]*s.k - num[1]}, [3]float64{den[0]*s.k + den[1], den[0]*s.k - den[1]}
	}
	s.b0, s.b1, s.b2 = b[0]/a[0], b[1]/a[0], b[2]/a[0]
	s.a1, s.a2 = a[1]/a[0], a[2]/a[0]
	return s
}

// bilinear is the polynomial p in s, times (k·(1 + z^-1))², as a polynomial in z^-1.
func bilinear(p [3]float64, k float64) [3]float64 {
	c, l, q := p[0]*k*k, p[1]*k, p[2]
	return [3]float64{c + l + q, 2 * (c - q), c - l + q}
}

// Response is the complex gain at f: the prototype at the frequency that the transform makes of f.
func (s *Biquad) Response(f dsp.Hertz) complex128 {
	w := complex(0, math.Tan(math.Pi*float64(f)/s.rate)/s.k)
	return (complex(s.num[0], 0) + w*(complex(s.num[1], 0)+w*complex(s.num[2], 0))) /
		(complex(s.den[0], 0) + w*(complex(s.den[1], 0)+w*complex(s.den[2], 0)))
}

// Tail is for how long the output goes on after the input has ended, until 60 dB down: the time of
// the slower pole.
func (s *Biquad) Tail() dsp.Second {
	root := cmplx.Sqrt(complex(s.a1*s.a1-4*s.a2, 0))
	r := max(cmplx.Abs(complex(-s.a1, 0)+root), cmplx.Abs(complex(-s.a1, 0)-root)) / 2
	if r == 0 {
		return 0
	}
	return dsp.Second(-math.Log(1000) / math.Log(r) / s.rate)
}

// Process filters src into dst, of equal length; dst may be src. It panics where the lengths
// differ.
func (s *Biquad) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("filter: Process needs len(dst) == len(src)")
	}
	dst = dst[:len(src)]
	if s.b2 == 0 && s.a2 == 0 {
		s.first(dst, src)
		return
	}
	// Transposed direct form II: its sums stay as small as the signal. The output is written into
	// the memory's equations, s1 = b1·x + s2 - a1·y and s2 = b2·x - a2·y, for the shortest way from
	// one sample to the next.
	b0, a1, a2 := s.b0, s.a1, s.a2
	c1, c2 := s.b1-a1*b0, s.b2-a2*b0
	s1, s2 := s.s1, s.s2
	for i, x := range src {
		y := b0*x + s1
		s1, s2 = (c1*x+s2)-a1*s1, c2*x-a2*s1
		if math.Abs(s1)+math.Abs(s2) < tiny {
			s1, s2 = 0, 0
		}
		dst[i] = y
	}
	s.s1, s.s2 = s1, s2
}

// first is Process of a filter of first order.
func (s *Biquad) first(dst, src []float64) {
	b0, a1, c1, s1 := s.b0, s.a1, s.b1-s.a1*s.b0, s.s1
	for i, x := range src {
		y := b0*x + s1
		if s1 = c1*x - a1*s1; math.Abs(s1) < tiny {
			s1 = 0
		}
		dst[i] = y
	}
	s.s1 = s1
}

// Reset forgets all input.
func (s *Biquad) Reset() { s.s1, s.s2 = 0, 0 }

// Cascade is filters one after the other. The zero value passes everything.
type Cascade []*Biquad

// Process filters src into dst, of equal length; dst may be src. It panics where the lengths
// differ.
func (c Cascade) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("filter: Process needs len(dst) == len(src)")
	}
	if len(c) == 0 {
		copy(dst, src)
	}
	for _, s := range c {
		s.Process(dst, src)
		src = dst
	}
}

// Response is the product of the sections' gains at f.
func (c Cascade) Response(f dsp.Hertz) complex128 {
	h := complex(1, 0)
	for _, s := range c {
		h *= s.Response(f)
	}
	return h
}

// Tail is for how long the output goes on after the input has ended, until 60 dB down: the sum of
// the sections' at most.
func (c Cascade) Tail() dsp.Second {
	var t dsp.Second
	for _, s := range c {
		t += s.Tail()
	}
	return t
}

// Reset forgets all input.
func (c Cascade) Reset() {
	for _, s := range c {
		s.Reset()
	}
}
