package oversample

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/gemv"
)

// Clip limits a signal to between two voltages, without memory, and with little aliasing.
//
// What goes over the limits, the excess, is computed at the high rate, brought down and taken away from the
// delayed input. So a signal that stays between the limits passes bit for bit, and costs next to nothing.
// The output may go past the limits by as much as cutting harmonics off at half the base rate makes an edge
// ring.
//
// Aliasing is kept low twice: by the high rate, and by taking the mean of the excess along the straight line
// between neighbouring samples (first-order antiderivative antialiasing: "Reducing the aliasing of nonlinear
// waveshaping using continuous-time convolution", DAFx-16). Four neighbouring means make the value at the sample
// in their middle, to fourth order: (-1, 7, 7, -1)/12. So the treble loss of the means is made good; what is left
// at frequency f and high rate r is a gain of sinc(f/r)·(7·cos(πf/r) - cos(3πf/r))/6 on the excess, within
// 0.004 dB at 20 kHz and 48 kHz times 8.
type Clip struct {
	lo, hi  float64 // volts
	factor  int
	latency int
	held    int // samples for which the excess is held back
	up      *Up
	down    *Down

	past    []float64  // the input before this chunk, then the chunk
	last    []float64  // what past becomes
	before  int        // how much of past lies before the chunk
	high    []float64  // the chunk at the high rate
	excess  []float64  // samples held back, then the chunk's
	back    []float64  // the excess at the base rate
	lastV   float64    // volts, the last high sample
	means   [3]float64 // volts, the last mean excesses, the newest last
	safe    float64    // volts; inputs up to here cannot reach the limits at the high rate
	quiet   int        // for how many samples, up to the chunk, the input has been safe
	idle    int        // for how many samples, up to the chunk, the excess has been zero
	stale   bool       // the chunks before were left out and up has not seen them
	restful int        // a quiet of this length leaves every memory here zero, but that of up
	reached bool       // whether there has been any excess since the last Reset
}

// most is how many samples pass in one piece.
const most = 512

// NewClip makes a limiter to [lo, hi] volts that computes at factor times the base rate. It panics unless
// lo <= 0 <= hi, lo < hi, and like NewUp.
func NewClip(lo, hi float64, base dsp.Hertz, factor int) *Clip {
	if !(lo <= 0 && 0 <= hi && lo < hi) {
		panic(fmt.Sprintf("oversample: limits %v V and %v V do not have silence between them", lo, hi))
	}
	c := &Clip{lo: lo, hi: hi, factor: factor, up: NewUp(factor, base), down: NewDown(factor, base)}
	// Four means give the value two high samples back; the excess is held until that is a whole base sample.
	whole := (2 + factor - 1) / factor
	c.held = whole*factor - 2
	c.latency = (c.up.Latency()+c.down.Latency())/factor + whole
	c.before = max(c.latency, c.up.memory())
	c.past, c.last = make([]float64, c.before+most), make([]float64, c.before)
	c.high = make([]float64, factor*chunk)
	c.excess = make([]float64, c.held+factor*chunk)
	c.back = make([]float64, chunk)
	c.restful = c.up.memory() + c.down.memory() + 4
	c.safe = min(hi, -lo) / c.swell() * (1 - 1e-9)
	c.Reset()
	return c
}

// swell is the largest ratio of a high sample to the largest input: the largest sum of magnitudes of the
// taps that meet in one sample.
func (c *Clip) swell() float64 {
	impulse, h := make([]float64, c.up.memory()), make([]float64, c.factor*c.up.memory())
	impulse[0] = 1
	c.up.Process(h, impulse)
	var most float64
	for p := 0; p < c.factor; p++ {
		var sum float64
		for i := p; i < len(h); i += c.factor {
			sum += math.Abs(h[i])
		}
		most = max(most, sum)
	}
	return most
}

// Latency is the delay in base samples.
func (c *Clip) Latency() int { return c.latency }

// Reset forgets all input.
func (c *Clip) Reset() {
	c.up.Reset()
	c.down.Reset()
	clear(c.past)
	clear(c.excess)
	c.lastV, c.means = 0, [3]float64{}
	c.quiet, c.idle, c.stale = c.restful, c.restful, false
	c.reached = false
}

// Reached says whether the input has gone past a limit since the last Reset, in between samples too.
func (c *Clip) Reached() bool { return c.reached }

// Process limits src into dst, both in volts, of equal length. dst may be src.
//
// What is left out to save time is only ever work whose result is known: a filter without feedback gives the
// same bits for the same recent input, and exact zero for zeros. So where a call ends does not matter,
// although it decides about what is left out.
func (c *Clip) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("oversample: Clip needs len(dst) == len(src)")
	}
	for len(src) > 0 {
		if n := c.pass(dst, src); n > 0 {
			src, dst = src[n:], dst[n:]
			continue
		}
		n := min(len(src), chunk)
		copy(c.past[c.before:], src[:n])
		in := c.past[c.before : c.before+n]
		late := c.past[c.before-c.latency:][:n]
		if c.work(in) {
			for i, v := range late {
				dst[i] = v - c.back[i]
			}
		} else {
			copy(dst, late)
		}
		copy(c.past, c.past[n:n+c.before])
		src, dst = src[n:], dst[n:]
	}
}

// pass delays as much of src as certainly has no excess, in one piece, and returns how much that is: none where the input has not been quiet for long.
func (c *Clip) pass(dst, src []float64) int {
	if c.quiet < c.restful {
		return 0
	}
	n := min(len(src), most)
	if !gemv.Within(src[:n], c.safe) {
		if n = min(n, chunk); !gemv.Within(src[:n], c.safe) {
			return 0
		}
	}
	if n >= c.before {
		// dst may be src.
		copy(c.last, src[n-c.before:n])
		copy(dst[c.latency:n], src[:n-c.latency])
		copy(dst, c.past[c.before-c.latency:c.before])
		copy(c.past, c.last)
	} else {
		copy(c.past[c.before:], src[:n])
		copy(dst[:n], c.past[c.before-c.latency:])
		copy(c.past, c.past[n:n+c.before])
	}
	c.stale = true
	return n
}

// work computes the excess of the chunk in at the base rate into back; false says that it is zero.
func (c *Clip) work(in []float64) bool {
	n := len(in)
	c.quiet += n
	if !gemv.Within(in, c.safe) {
		for i, v := range in {
			if !(math.Abs(v) <= c.safe) {
				c.quiet = n - 1 - i
			}
		}
	}
	if c.stale { // let up see what it has missed and still remembers
		c.stale = false
		for m := c.up.memory(); m > 0; {
			k := min(m, chunk)
			c.up.Process(c.high[:c.factor*k], c.past[c.before-m:][:k])
			c.lastV = c.high[c.factor*k-1]
			m -= k
		}
	}
	high := c.high[:c.factor*n]
	c.up.Process(high, in)
	if c.mend(c.excess[c.held:], high) {
		c.idle, c.reached = 0, true
	} else if c.idle += n; c.idle > c.down.memory()+4+n {
		c.idle = c.down.memory() + 4 + n
		clear(c.excess)
		return false
	}
	c.down.Process(c.back[:n], c.excess[:len(high)])
	copy(c.excess, c.excess[len(high):][:c.held])
	return true
}

// mend writes the excess of v, two samples late, into e and says whether there is any.
func (c *Clip) mend(e, v []float64) (some bool) {
	e = e[:len(v)]
	lastV, m := c.lastV, c.means
	last := c.over(lastV)
	for i, x := range v {
		var a float64 // the mean of over along the line from lastV to x
		over := c.over(x)
		if over != 0 || last != 0 {
			if over*last > 0 {
				a = (over + last) / 2
			} else {
				// over²/2 is the antiderivative; the step from lastV to x is no smaller than either over.
				a = (over - last) * (over + last) / (2 * (x - lastV))
			}
		}
		y := (7*(m[1]+m[2]) - (m[0] + a)) / 12
		some = some || y != 0
		e[i] = y
		lastV, last = x, over
		m[0], m[1], m[2] = m[1], m[2], a
	}
	c.lastV, c.means = lastV, m
	return some || m != [3]float64{}
}

// over is by how many volts v is beyond the limits.
func (c *Clip) over(v float64) float64 {
	switch {
	case v > c.hi:
		return v - c.hi
	case v < c.lo:
		return v - c.lo
	}
	return 0
}
