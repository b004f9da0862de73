package oversample

import (
	"fmt"
	"math"

	"drywire/dsp/gemv"
)

// Fir is a symmetric FIR filter at one rate, with exact latency. Its methods are for one goroutine.
type Fir struct {
	taps []float64
	buf  []float64 // samples of the past, then a chunk
}

const firChunk = 512

func newFir(taps []float64) *Fir {
	return &Fir{taps: taps, buf: make([]float64, len(taps)-1+firChunk+slack)}
}

// Latency is the delay in samples of its rate.
func (f *Fir) Latency() int { return len(f.taps) / 2 }

// Reset forgets all input.
func (f *Fir) Reset() { clear(f.buf) }

// Process filters src into dst, of equal length. dst may be src.
func (f *Fir) Process(dst, src []float64) {
	past := len(f.taps) - 1
	for len(src) > 0 {
		n := min(len(src), firChunk)
		copy(f.buf[past:], src[:n])
		for i := 0; i < n; i += 8 {
			var y [8]float64
			gemv.Add8(&y, f.buf[i:], f.taps)
			copy(dst[i:n], y[:])
		}
		copy(f.buf[:past], f.buf[n:])
		dst, src = dst[n:], src[n:]
	}
}

// bridgeRipple is what a bridge is off by in its pass band and in its stop band.
const bridgeRipple = 1e-5

// NewBridge is what hands a signal on at a high rate from something non-linear to the next. It takes
// away what is near half that rate: there, what went on above half of it has folded down, and there
// the next would take it for a part of the signal. Its pass band ends at a share of its rate, its
// stop band begins at another, under a half.
//
// What comes out is coefficients of the quintic B-spline that is the signal (see
// transient.Options). It panics where there is no such filter of some hundred taps.
func NewBridge(pass, stop float64) *Fir {
	// at the samples, the spline is (1, 26, 66, 26, 1)/120 of the coefficients
	shape := func(w float64) float64 { return 60 / (33 + 26*math.Cos(w) + math.Cos(2*w)) }
	return newFir(memo(2, pass+1000*stop, func() []float64 {
		bands := []band{{0, 2 * math.Pi * pass, 1, 1, shape}, {2 * math.Pi * stop, math.Pi, 0, 1, nil}}
		for m := 4; m < 100; m++ {
			a, dev := minimax(m+1, false, bands)
			if dev > bridgeRipple {
				continue
			}
			h, sum := make([]float64, 2*m+1), a[0]
			h[m] = a[0]
			for k := 1; k <= m; k++ {
				h[m-k], h[m+k] = a[k]/2, a[k]/2
				sum += a[k]
			}
			for k := range h { // what rests stays where it is
				h[k] /= sum
			}
			return h
		}
		panic(fmt.Sprintf("oversample: no bridge that passes up to %v and stops from %v on", pass, stop))
	}))
}

// SplineDroopLatency is by how many samples NewSplineDroop delays.
const SplineDroopLatency = 6

// NewSplineDroop compensates the droop of means over a cubic B-spline of four steps, sinc⁴(f). With
// x = πf and q = sin²x it is a polynomial in the second difference, the square of
//
//	1/sinc² = x²/sin²x = arcsin²(√q)/q = 1 + q/3 + 8q²/45 + 4q³/35 + …
//
// up to q⁶: 13 taps. What the series leaves out is under 0.001 dB at a fifth of the rate.
func NewSplineDroop() *Fir {
	const late = SplineDroopLatency
	return newFir(memo(3, 0, func() []float64 {
		var series [late + 1]float64
		c := 1.0
		for n := range series {
			series[n] = c
			c *= 2 * float64((n+1)*(n+1)) / float64((n+2)*(2*n+3))
		}
		taps := make([]float64, 2*late+1)
		power := [2*late + 1]float64{late: 1} // qⁿ as taps
		for n := range series {
			square := 0.0
			for k := range n + 1 {
				square += series[k] * series[n-k]
			}
			for k, x := range power {
				taps[k] += square * x
			}
			var next [2*late + 1]float64 // times q: -1/4, 1/2, -1/4
			for k, x := range power {
				next[k] += x / 2
				if k > 0 {
					next[k-1] -= x / 4
				}
				if k < 2*late {
					next[k+1] -= x / 4
				}
			}
			power = next
		}
		return taps
	}))
}
