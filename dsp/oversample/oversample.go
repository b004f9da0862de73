// Package oversample converts a signal between a base rate and 2, 4, … 64 times that rate with
// linear-phase FIR filters, so that something non-linear can run in between without folding.
//
// The chain is a cascade of doublings. It is 140 dB down from half the base rate on, so nothing
// folds at all, and so flat below that up and down together null against the delayed input at -120
// dB. The pass band ends at 20 kHz for base rates of 44.1 to 50 kHz and at 0.40 of higher ones. The
// delay is an exact whole number of samples. It is not a converter between arbitrary rates: files
// are resampled elsewhere.
//
// Signals are plain float64 in any unit (volts, as a rule); the gain is one. FIR filters have no
// feedback, so an ended signal becomes exact zeros and no denormal tail can arise.
//
// Start reading at Up and Down, then design.go (how the taps are found) and Clip (a user of both).
package oversample

import (
	"fmt"
	"math/bits"

	"drywire/dsp"
)

// MaxFactor is the highest factor of oversampling.
const MaxFactor = 64

// chunk is how many base samples are worked on at a time. It bounds the buffers and has no
// influence on the output.
const chunk = 64

// stages is the number of doublings in factor. It panics when factor is not one of 1, 2, 4, … 64.
func stages(factor int, base dsp.Hertz) int {
	if factor < 1 || factor > MaxFactor || bits.OnesCount(uint(factor)) != 1 {
		panic(fmt.Sprintf("oversample: factor %d is not a power of two from 1 to %d", factor, MaxFactor))
	}
	if !(base > 0) {
		panic(fmt.Sprintf("oversample: base rate %v Hz is not positive", float64(base)))
	}
	return bits.Len(uint(factor)) - 1
}

// halfLatency is the delay of one direction of the cascade in samples at the high rate: each
// filter's centre tap, counted at its own rate.
func halfLatency(n int, base dsp.Hertz) int {
	sum := 0
	for s := 0; s < n; s++ {
		sum += (len(taps(s, base)) / 2) << (n - 1 - s)
	}
	return sum
}

// Up raises the rate by a factor.
type Up struct {
	factor  int
	base    dsp.Hertz
	latency int
	stages  []upStage // lowest rate first
}

// NewUp makes the way up from the base rate to factor times it. It panics when factor is not one of
// 1, 2, 4, … 64 or base is not positive.
func NewUp(factor int, base dsp.Hertz) *Up {
	n := stages(factor, base)
	u := &Up{factor: factor, base: base, latency: halfLatency(n, base)}
	for s := 0; s < n; s++ {
		u.stages = append(u.stages, newUpStage(taps(s, base), s == 0, chunk<<s))
	}
	return u
}

// Like is another one for the same rates, at rest.
func (u *Up) Like() *Up { return NewUp(u.factor, u.base) }

// Process turns src at the base rate into dst at the high rate; len(dst) is factor·len(src).
// It panics where that does not hold.
func (u *Up) Process(dst, src []float64) {
	if len(dst) != u.factor*len(src) {
		panic("oversample: Up needs len(dst) == factor*len(src)")
	}
	last := len(u.stages) - 1
	if last < 0 {
		copy(dst, src)
		return
	}
	for len(src) > 0 {
		n := min(len(src), chunk)
		copy(u.stages[0].input(n), src[:n])
		for i := range u.stages[:last] {
			u.stages[i].run(u.stages[i+1].input(n<<(i+1)), n<<i)
		}
		u.stages[last].run(dst[:n<<(last+1)], n<<last)
		src, dst = src[n:], dst[n<<(last+1):]
	}
}

// Latency is the delay in samples at the high rate.
func (u *Up) Latency() int { return u.latency }

// Reset forgets all input.
func (u *Up) Reset() {
	for i := range u.stages {
		clear(u.stages[i].buf)
	}
}

// memory is over how many base samples, the newest included, an output sample can reach back.
func (u *Up) memory() int { return 2*u.latency/u.factor + 2 }

// Down lowers the rate by a factor.
type Down struct {
	factor  int
	latency int
	stages  []downStage // highest rate first
}

// NewDown makes the way down from factor times the base rate to the base rate. It panics like
// NewUp.
//
// Its delay is padded so that Up and Down of the same factor and rate together delay by a whole
// number of base samples.
func NewDown(factor int, base dsp.Hertz) *Down {
	n := stages(factor, base)
	half := halfLatency(n, base)
	// Both ways through all filters is 2·half; what is missing to a whole base sample is even,
	// because factor is, and so can be made of whole samples of the two half-rate phases of the
	// first stage.
	pad := (factor - 2*half%factor) % factor
	d := &Down{factor: factor, latency: half + pad}
	for s := n - 1; s >= 0; s-- {
		late := 0
		if s == n-1 {
			late = pad / 2
		}
		d.stages = append(d.stages, newDownStage(taps(s, base), s == 0, late, chunk<<s))
	}
	return d
}

// Process turns src at the high rate into dst at the base rate; len(src) is factor·len(dst). It
// panics where that does not hold.
func (d *Down) Process(dst, src []float64) {
	if len(src) != d.factor*len(dst) {
		panic("oversample: Down needs len(src) == factor*len(dst)")
	}
	last := len(d.stages) - 1
	if last < 0 {
		copy(dst, src)
		return
	}
	for len(dst) > 0 {
		n := min(len(dst), chunk)
		in := src[:n*d.factor]
		for i := range d.stages {
			s := &d.stages[i]
			out := dst[:n]
			if i < last {
				out = s.out[:n<<(last-i)]
			}
			s.run(out, in)
			in = out
		}
		dst, src = dst[n:], src[n*d.factor:]
	}
}

// Latency is the delay in samples at the high rate.
func (d *Down) Latency() int { return d.latency }

// Reset forgets all input.
func (d *Down) Reset() {
	for i := range d.stages {
		clear(d.stages[i].even)
		clear(d.stages[i].odd)
	}
}

// memory is over how many base samples, the newest included, an output sample can reach back.
func (d *Down) memory() int { return 2*d.latency/d.factor + 2 }
