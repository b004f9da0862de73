// Package delayline is a delay line with taps at whole samples, or at any fraction of one.
//
// It holds samples in any unit, volts as a rule, and has no feedback: that is the caller's. Delays
// are in samples, counted from the newest one written; delay 0 is the newest itself.
//
// Nothing here decays, so denormal numbers come out only if they went in.
//
// Start reading at Line.
package delayline

import (
	"fmt"
	"math"
)

// Nearest is the shortest delay of Read, in samples: its interpolator looks at that many newer
// ones.
const Nearest = taps/2 - 1

const (
	taps   = 24  // of the interpolator
	phases = 512 // of a sample at which it is tabled
)

// Line is a delay line.
type Line struct {
	// a ring of a power of two, then its first samples again, so that a short run is in one piece
	buf  []float64
	mask int
	next int // where the next sample goes
	most int
}

// New makes a line of silence that can delay by up to most samples. It panics if most is negative.
func New(most int) *Line {
	if most < 0 {
		panic(fmt.Sprintf("delayline: longest delay %d", most))
	}
	size := 64
	for size < most+taps/2+1 {
		size *= 2
	}
	return &Line{buf: make([]float64, size+taps), mask: size - 1, most: most}
}

// Most is the longest delay in samples.
func (l *Line) Most() int { return l.most }

// Reset fills the line with silence.
func (l *Line) Reset() {
	clear(l.buf)
	l.next = 0
}

// Write adds one sample.
func (l *Line) Write(x float64) {
	l.buf[l.next] = x
	if l.next < taps {
		l.buf[l.mask+1+l.next] = x
	}
	l.next = (l.next + 1) & l.mask
}

// WriteBlock adds samples, the newest last.
func (l *Line) WriteBlock(src []float64) {
	size := l.mask + 1
	for len(src) > 0 {
		n := copy(l.buf[l.next:size], src)
		if l.next < taps {
			copy(l.buf[size:], l.buf[:taps])
		}
		l.next = (l.next + n) & l.mask
		src = src[n:]
	}
}

// Tap is the sample that is delay samples old. It panics beyond the longest delay.
func (l *Line) Tap(delay int) float64 {
	if uint(delay) > uint(l.most) {
		panic(fmt.Sprintf("delayline: delay %d of at most %d samples", delay, l.most))
	}
	return l.buf[(l.next-1-delay)&l.mask]
}

// ReadBlock fills dst with neighbouring samples, the last of which is delay samples old. In a loop
// that writes a block only after it has read one, a delay of d for every sample is ReadBlock(dst,
// d-len(dst)). It panics unless all of dst is within the longest delay.
func (l *Line) ReadBlock(dst []float64, delay int) {
	if len(dst) == 0 {
		return
	}
	if delay < 0 || delay+len(dst)-1 > l.most {
		panic(fmt.Sprintf("delayline: delays %d to %d of at most %d samples", delay, delay+len(dst)-1, l.most))
	}
	from := (l.next - delay - len(dst)) & l.mask
	n := copy(dst, l.buf[from:l.mask+1])
	copy(dst[n:], l.buf)
}

// Read is the signal between the samples, delay samples ago, from Nearest to the longest delay;
// beyond these it panics.
//
// It is the sum of 24 samples weighted by a windowed sinc. The complex error of its response is
// below -85 dB up to 0.38 of the sample rate (18.2 kHz at 48 kHz) for every fraction; a whole delay
// is exact.
func (l *Line) Read(delay float64) float64 {
	if !(delay >= Nearest && delay <= float64(l.most)) {
		panic(fmt.Sprintf("delayline: delay %v of %d to %d samples", delay, Nearest, l.most))
	}
	whole := int(delay)
	at := (delay - float64(whole)) * phases
	row := int(at)
	f := at - float64(row)
	x := (*[taps]float64)(l.buf[(l.next-1-whole-taps/2)&l.mask:])
	a, b := &kernel[row], &kernel[row+1]
	var s0, s1, d0, d1 float64
	for i := 0; i < taps; i += 2 {
		s0 += x[i] * a[i]
		d0 += x[i] * b[i]
		s1 += x[i+1] * a[i+1]
		d1 += x[i+1] * b[i+1]
	}
	s := s0 + s1
	return s + f*((d0+d1)-s)
}

// kernel[r] are the weights of the fraction r/phases, the oldest sample first; there is one row
// more than phases, so that every row has a next one.
var kernel = makeKernel()

func makeKernel() *[phases + 1][taps]float64 {
	k := new([phases + 1][taps]float64)
	const beta = 9.2 // of Kaiser's window: the best trade of ripple against the edge for 24 taps
	for r := range k {
		var sum float64
		for i := range k[r] {
			// The sample i is taps/2 - i samples older than the whole delay.
			x := float64(taps/2-i) - float64(r)/phases
			w := 0.0
			if u := 1 - 4*x*x/(taps*taps); u >= 0 {
				w = bessel0(beta*math.Sqrt(u)) / bessel0(beta)
			}
			if x != 0 {
				w *= math.Sin(math.Pi*x) / (math.Pi * x)
			}
			if r == 0 || r == phases { // whole delays, without the rounding of sin π
				w = 0
				if x == 0 {
					w = 1
				}
			}
			k[r][i] = w
			sum += w
		}
		for i := range k[r] {
			k[r][i] /= sum // a steady voltage is kept exactly
		}
	}
	return k
}

// bessel0 is the modified Bessel function I0 by its power series (DLMF 10.25.2).
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for n := 1.0; term > 1e-17*sum; n++ {
		term *= x * x / (4 * n * n)
		sum += term
	}
	return sum
}
