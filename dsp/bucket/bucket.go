// Package bucket holds what is around a bucket-brigade delay line: the anti-aliasing and
// reconstruction filters, and the compander that keeps the signal above the line's noise. The delay
// itself is package delayline's.
//
// A line with a fixed number of stages is clocked the slower the longer its delay, so long delays
// have little bandwidth. The compander halves the level in dB before the line and doubles it after;
// whatever the line does to the level is doubled with it. The samples that the clock takes, their
// aliasing, and the line's distortion are not modelled. Signals are in volts.
//
// Start reading at Clock, then Compander.
package bucket

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/filter"
)

// Clock is the clock frequency of a line of that many stages for a delay: a cycle of the clock
// moves a sample by two stages.
func Clock(stages int, delay dsp.Second) dsp.Hertz {
	return dsp.Hertz(float64(stages) / 2 / float64(delay))
}

// Filters are the low-passes before and after a line, each of second order; together they are a
// Butterworth filter of fourth order, 3 dB down at the corner.
func Filters(corner, rate dsp.Hertz) (before, after *filter.Biquad) {
	return filter.LowPass(corner, 1/(2*math.Cos(math.Pi/8)), rate), filter.LowPass(corner, 1/(2*math.Cos(3*math.Pi/8)), rate)
}

// Compander is a compressor of 2:1 and an expander of 1:2, each led by a rectifier and an averaging
// capacitor on the line's side of it. With nothing between them they cancel to the last digits.
type Compander struct {
	level   float64 // V, mean of the rectified signal at which the gain is one
	lowest  float64 // V, mean under which the gain moves no further
	average float64 // share of the way that the capacitor goes in a sample
	squeeze float64 // V, the compressor's mean
	stretch float64 // V, the expander's
}

// NewCompander makes one with that level (volts, mean of the rectified signal) at which its gain is
// one, and that range (dB) of gain under it; average is the capacitor's time constant in s. It
// panics unless all are positive.
func NewCompander(level, span float64, average dsp.Second, rate dsp.Hertz) *Compander {
	if !(level > 0 && span > 0 && average > 0 && rate > 0) {
		panic(fmt.Sprintf("bucket: compander of %v V, %v dB, %v s at %v Hz", level, span, float64(average), float64(rate)))
	}
	return &Compander{level: level, lowest: level * dsp.FromDB(-span), average: 1 - math.Exp(-1/float64(average*dsp.Second(rate)))}
}

// Compress halves the level of x in dB, in place: its gain is the inverse of what the mean of its
// own output, a sample ago, gives the expander.
func (c *Compander) Compress(x []float64) {
	m := c.squeeze
	for k, v := range x {
		v *= c.level / max(m, c.lowest)
		m = c.mean(m, v)
		x[k] = v
	}
	c.squeeze = m
}

// Expand doubles the level of x in dB, in place.
func (c *Compander) Expand(x []float64) {
	m := c.stretch
	for k, v := range x {
		x[k] = v * max(m, c.lowest) / c.level
		m = c.mean(m, v)
	}
	c.stretch = m
}

// mean is the capacitor's next voltage; near nothing it is nothing, for denormal numbers are slow.
func (c *Compander) mean(m, v float64) float64 {
	if m += c.average * (math.Abs(v) - m); m < 1e-30 {
		return 0
	}
	return m
}

// Rest is the expander's gain when nothing comes: what it makes of the line's noise.
func (c *Compander) Rest() float64 { return c.lowest / c.level }

// Reset empties both capacitors.
func (c *Compander) Reset() { c.squeeze, c.stretch = 0, 0 }
