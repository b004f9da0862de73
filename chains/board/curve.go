package board

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/interp"

	"drywire/dsp"
)

// Curve is a setting over time: a knob that is turned while the recording plays.
//
// It goes through its points by a monotone cubic with the slopes of SIAM J. Sci. Stat. Comput.
// 5(2), 300-304, 1984 (a weighted harmonic mean of the slopes on either side; level where these
// differ in sign), which keeps the condition of SIAM J. Numer. Anal. 17(2), 238-246, 1980: between
// two points it never leaves their range (monotone). Its slope is zero at both ends, since before
// the first point and after the last the value holds: the first derivative is continuous, as of
// anything that a hand or a foot moves. Frequencies and ratios are interpolated in octaves.
type Curve struct {
	Times  []float64 // seconds, rising
	Values []float64 // in the setting's unit

	Unit      dsp.Unit
	Low, High float64               // of the setting
	cubic     interp.PiecewiseCubic // of the setting on the axis of scale, over the time in seconds
}

// NewCurve is a curve through values, in the unit, at times in seconds; low and high are the ends
// of the setting's range. It panics where there are fewer than two points or their times do not
// rise.
func NewCurve(times, values []float64, unit dsp.Unit, low, high float64) *Curve {
	slopes := make([]float64, len(times))
	c := &Curve{Times: times, Values: values, Unit: unit, Low: low, High: high}
	for k := 1; k < len(times)-1; k++ {
		h0, h1 := times[k]-times[k-1], times[k+1]-times[k]
		s0, s1 := (c.Scale(values[k])-c.Scale(values[k-1]))/h0, (c.Scale(values[k+1])-c.Scale(values[k]))/h1
		if s0*s1 > 0 {
			slopes[k] = 3 * (h0 + h1) / ((2*h1+h0)/s0 + (h1+2*h0)/s1)
		}
	}
	c.fit(slopes)
	return c
}

// fit interpolates the points by the cubic with these slopes.
func (c *Curve) fit(slopes []float64) {

	places := make([]float64, len(c.Values))
	for k, v := range c.Values {
		places[k] = c.Scale(v)
	}
	c.cubic.FitWithDerivatives(c.Times, places, slopes)
}

// Octaves reports whether the setting goes by octaves.
func (c *Curve) Octaves() bool {
	switch c.Unit {
	case dsp.Hertzes, dsp.Ratios, dsp.None:
		return c.Low > 0
	}
	return false
}

// Scale is the setting, in its unit, on the axis on which the curve runs: log2 of it where it runs
// in octaves.
func (c *Curve) Scale(v float64) float64 {
	if c.Octaves() {
		return math.Log2(v)
	}
	return v
}

// Value is the setting at a place of that axis; in octaves, within the setting's range.
func (c *Curve) Value(x float64) float64 {
	if c.Octaves() {
		return min(max(math.Exp2(x), c.Low), c.High)
	}
	return x
}

// At is the setting at a time, in its unit.
func (c *Curve) At(t dsp.Second) float64 {
	k, exact := slices.BinarySearch(c.Times, float64(t))
	switch {
	case exact:
		return c.Values[k]
	case k == 0:
		return c.Values[0]
	case k == len(c.Times):
		return c.Values[k-1]
	}
	return c.Value(c.On(k-1, float64(t)))
}

// On is the cubic from point k to the next, on its axis, at t in seconds.
func (c *Curve) On(k int, t float64) float64 {
	from, to := c.Scale(c.Values[k]), c.Scale(c.Values[k+1])
	return min(max(c.cubic.Predict(t), min(from, to)), max(from, to)) // what rounding may add
}

// Slope is how fast the curve goes at t in seconds, on its axis, per second.
func (c *Curve) Slope(t float64) float64 {
	if t < c.Times[0] || t > c.Times[len(c.Times)-1] {
		return 0
	}
	return c.cubic.PredictDerivative(t)
}

// LeastFrame is the shortest time between two frames, in seconds. A knob that moves faster goes in
// larger steps, of this length each.
const LeastFrame = 0.25e-3

// Curves is the settings of a block that move, by their knobs.
type Curves map[string]*Curve

// With is a copy with one knob moved, or, by nil, left where it is.
func (c Curves) With(knob string, curve *Curve) Curves {
	if curve == nil && c[knob] == nil {
		return c
	}
	c = maps.Clone(c)
	if c == nil {
		c = Curves{}
	}
	delete(c, knob)
	if curve != nil {
		c[knob] = curve
	}
	return c
}

// String is the curve as a file has it.
func (c *Curve) String() string {
	var points []string
	for k, t := range c.Times {
		points = append(points, fmt.Sprintf("%s: %s", dsp.FormatQuantity(t, dsp.Seconds), dsp.FormatQuantity(c.Values[k], c.Unit)))
	}
	return "{at: {" + strings.Join(points, ", ") + "}}"
}

// Round is the chain as it is heard when the stretch of the recording from sample a to b is played
// round and round: what moves with the recording begins again with it. The render's first sample is
// that of the recording at a+first, where first may be under 0 and is rounds before, and it is n
// samples long.
func (c *Chain) Round(rate dsp.Hertz, a, b, first, n int64) *Chain {
	if len(c.Turns) == 0 {
		return c
	}
	turns := make([]Turn, len(c.Turns))
	values := make([]float64, len(c.Turns))
	for k, t := range c.Turns {
		curve := t.Curve.round(rate, a, b, first, n)
		turns[k], values[k] = Turn{t.Target, curve}, curve.At(0)
	}
	r := c.With(values)
	r.Turns = turns
	return r
}

// round is the curve of Chain.Round. From the end of the stretch it goes back to the beginning in
// leastFrame.
func (c *Curve) round(rate dsp.Hertz, a, b, first, n int64) *Curve {
	r := &Curve{Unit: c.Unit, Low: c.Low, High: c.High}
	var slopes []float64
	length := b - a
	turn := first / length // the round that the render begins in
	if first%length < 0 {
		turn--
	}
	from, to := float64(a)/float64(rate), float64(b)/float64(rate)-LeastFrame
	add := func(t, shift float64) {
		r.Times = append(r.Times, t+shift)
		r.Values = append(r.Values, c.At(dsp.Second(t)))
		slopes = append(slopes, c.Slope(t))
	}
	for ; turn*length < first+n; turn++ {
		// from the recording's time to the render's
		shift := float64(turn*length-first-a) / float64(rate)
		begin := max(from, -shift) // no frame is before the render
		if begin >= to {
			continue
		}
		add(begin, shift)
		for _, t := range c.Times {
			if t > begin+LeastFrame && t < to-LeastFrame {
				add(t, shift)
			}
		}
		add(to, shift)
	}
	r.fit(slopes)
	return r
}
