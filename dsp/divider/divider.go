// Package divider halves a note's frequency as an analogue octave pedal does: a filter that favours
// the fundamental, a comparator that follows its peaks, two flip-flops that divide by two and by
// four, and switches that the flip-flops throw.
//
// The first octave is the filtered note, turned upside down at every flip; the second is the second
// flip-flop's square wave, as high as the filtered note's peaks.
//
// It is no pitch detector: it counts peaks. A clean note has one peak of either sign in a cycle and
// divides well; in a chord, or a note whose harmonics are stronger than its fundamental, it counts
// extra peaks and mistracks.
//
// The switches do not alias: each jump is a band-limited step, placed between the samples.
// Signals are in volts.
//
// Start reading at Divider.Process, then step.go.
package divider

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/filter"
)

// The circuit's values: common practice, no source.
const (
	// Hz, of the filter of second order: a guitar's low fundamentals against their harmonics
	corner = 200.0
	memory = 60e-3 // s, in which the peak detectors fall to 1/e
	share  = 0.5   // of a peak at which the comparator switches

	// Threshold is the peak, in volts, that the filtered note must have for the comparator to
	// switch.
	Threshold = 2e-3
)

// Divider makes octaves of what comes in. The zero value is not usable.
type Divider struct {
	low       *filter.Biquad
	forget    float64    // the detectors', per sample
	top, deep float64    // V, the detected peaks
	up        bool       // the comparator's output
	margin    [2]float64 // V, by how much it had not switched yet one and two samples ago, negative
	last      [2]float64 // V, the filtered note then
	q1, q2    float64    // the flip-flops, 1 or -1
	flips     int
	one, two  steps
	note      [chunk]float64
}

const chunk = 64 // samples worked on at a time; no influence on the output

// New makes a divider. It panics unless the filter's corner is under half the rate.
func New(rate dsp.Hertz) *Divider {
	if !(rate > 2*corner) {
		panic(fmt.Sprintf("divider: rate %v Hz", float64(rate)))
	}
	d := &Divider{
		low:    filter.LowPass(corner, math.Sqrt2/2, rate),
		forget: math.Exp(-1 / (memory * float64(rate))),
	}
	d.Reset()
	return d
}

// Latency is by how many samples the octaves come after the input: half the length of a step.
func (d *Divider) Latency() int { return half }

// Tail is for how long the octaves go on after the input has ended, until 60 dB down: the filter,
// and then what the detectors remember.
func (d *Divider) Tail() dsp.Second { return d.low.Tail() + dsp.Second(memory*math.Log(1000)) }

// Flips is how often the first flip-flop has flipped: once in a cycle where it tracks.
func (d *Divider) Flips() int { return d.flips }

// Reset puts the divider to rest.
func (d *Divider) Reset() {
	d.low.Reset()
	d.top, d.deep, d.up, d.flips = 0, 0, false, 0
	d.margin, d.last = [2]float64{}, [2]float64{}
	d.q1, d.q2 = 1, 1
	d.one, d.two = steps{}, steps{}
}

// Process turns src into its octave below at one and the second octave below at two, all of equal
// length; one or two may be src. It panics where the lengths differ.
func (d *Divider) Process(one, two, src []float64) {
	if len(one) != len(src) || len(two) != len(src) {
		panic("divider: Process needs slices of equal length")
	}
	for at := 0; at < len(src); at += chunk {
		note := d.note[:min(chunk, len(src)-at)]
		d.low.Process(note, src[at:at+len(note)])
		for k, x := range note {
			d.compare(x)
			one[at+k] = d.one.next(d.q1 * x)
			two[at+k] = d.two.next(d.q2 * d.peak())
		}
	}
}

// peak is the mean of the two detected peaks; under the threshold there is nothing to divide.
func (d *Divider) peak() float64 { return max(0, (d.top-d.deep)/2-Threshold) }

// compare takes a sample of the filtered note to the detectors and the comparator.
func (d *Divider) compare(x float64) {
	d.top, d.deep = max(x, d.forget*d.top), min(x, d.forget*d.deep)
	if d.top < 1e-30 { // far above denormal numbers, which processors are slow with
		d.top = 0
	}
	if d.deep > -1e-30 {
		d.deep = 0
	}
	margin := x - share*max(d.top, Threshold)
	if d.up {
		margin = share*min(d.deep, -Threshold) - x
	}
	if margin > 0 {
		if d.up = !d.up; d.up {
			d.flip(crossing(margin, d.margin[0], d.margin[1]), x)
		}
		margin = 0 // the next threshold is another one
		d.margin[0] = 0
	}
	d.margin = [2]float64{margin, d.margin[0]}
	d.last = [2]float64{x, d.last[0]}
}

// crossing is how many samples ago, less than one, the parabola through now, one and two samples
// ago crossed zero, by one step of Newton's method from where the straight line did.
func crossing(now, before, earlier float64) float64 {
	if before >= 0 { // the threshold was another one
		return 0
	}
	ago := now / (now - before)
	if earlier < before {
		v, slope := parabola(ago, now, before, earlier)
		ago = max(0, min(1, ago-v/slope))
	}
	return ago
}

// parabola is the value that many samples ago, and its slope towards the past.
func parabola(ago, now, before, earlier float64) (v, slope float64) {
	b := 2*before - (3*now+earlier)/2
	c := (now - 2*before + earlier) / 2
	return now + ago*(b+ago*c), b + 2*ago*c
}

// flip throws the first flip-flop, that many samples ago, less than one, the note being at x now;
// and at every second time the second.
func (d *Divider) flip(ago, x float64) {
	v, slope := parabola(ago, x, d.last[0], d.last[1])
	d.flips++
	d.q1 = -d.q1
	d.one.jump(ago, 2*d.q1*v, -2*d.q1*slope)
	if d.q1 > 0 {
		d.q2 = -d.q2
		d.two.jump(ago, 2*d.q2*d.peak(), 0)
	}
}
