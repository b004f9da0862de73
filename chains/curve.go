package chains

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"drywire/dsp"
)

// Curve is a setting over time: a knob that is turned while the recording plays.
//
// It goes through its points by a monotone cubic with the slopes of SIAM J. Sci. Stat. Comput. 5(2), 300-304, 1984 (a weighted harmonic mean of the slopes
// on either side; level where these differ in sign), which keeps the condition of SIAM J. Numer. Anal. 17(2), 238-246, 1980: between two points it never
// leaves their range. It begins and ends level, since before the first point and after the last the value holds: so it has no corner anywhere, as
// nothing has that a hand or a foot moves. Where octaves count (frequencies, ratios), so does it.
type Curve struct {
	Times  []float64 // seconds, rising
	Values []float64 // in the setting's unit

	unit      dsp.Unit
	low, high float64               // of the setting
	cubic     interp.PiecewiseCubic // of the setting on the axis of scale, over the time in seconds
}

// newCurve needs two points at least, whose times rise.
func newCurve(times, values []float64, unit dsp.Unit, low, high float64) *Curve {
	slopes := make([]float64, len(times))
	c := &Curve{Times: times, Values: values, unit: unit, low: low, high: high}
	for k := 1; k < len(times)-1; k++ {
		h0, h1 := times[k]-times[k-1], times[k+1]-times[k]
		s0, s1 := (c.scale(values[k])-c.scale(values[k-1]))/h0, (c.scale(values[k+1])-c.scale(values[k]))/h1
		if s0*s1 > 0 {
			slopes[k] = 3 * (h0 + h1) / ((2*h1+h0)/s0 + (h1+2*h0)/s1)
		}
	}
	c.fit(slopes)
	return c
}

// fit lays the cubic through the points, with these slopes.
func (c *Curve) fit(slopes []float64) {

	places := make([]float64, len(c.Values))
	for k, v := range c.Values {
		places[k] = c.scale(v)
	}
	c.cubic.FitWithDerivatives(c.Times, places, slopes)
}

// octaves says whether the setting goes by octaves.
func (c *Curve) octaves() bool {
	switch c.unit {
	case dsp.Hertzes, dsp.Ratios, dsp.None:
		return c.low > 0
	}
	return false
}

// scale is the setting on the axis on which the curve runs, and value is back.
func (c *Curve) scale(v float64) float64 {
	if c.octaves() {
		return math.Log2(v)
	}
	return v
}

func (c *Curve) value(x float64) float64 {
	if c.octaves() {
		return min(max(math.Exp2(x), c.low), c.high)
	}
	return x
}

// At is the setting at a time.
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
	return c.value(c.on(k-1, float64(t)))
}

// on is the cubic from point k to the next, on its axis.
func (c *Curve) on(k int, t float64) float64 {
	from, to := c.scale(c.Values[k]), c.scale(c.Values[k+1])
	return min(max(c.cubic.Predict(t), min(from, to)), max(from, to)) // what rounding may add
}

// slope is how fast the curve goes at a time, on its axis, per second.
func (c *Curve) slope(t float64) float64 {
	if t < c.Times[0] || t > c.Times[len(c.Times)-1] {
		return 0
	}
	return c.cubic.PredictDerivative(t)
}

// way is how far the curve goes from one time to another with no point between them, and the terms of that in x, x² and x³, where x goes from 0 to 1.
func (c *Curve) way(from, to float64) (far float64, terms [3]float64) {
	k, _ := slices.BinarySearch(c.Times, (from+to)/2)
	if k == 0 || k == len(c.Times) {
		return 0, terms
	}
	k--
	h := to - from
	far = c.on(k, to) - c.on(k, from)
	d0, d1 := h*c.slope(from), h*c.slope(to)
	return far, [3]float64{d0, 3*far - 2*d0 - d1, d0 + d1 - 2*far}
}

// leastFrame is the shortest time between two frames, in seconds. A knob that moves faster goes in larger steps, of this length each.
const leastFrame = 0.25e-3

// stop is a setting at a sample, exactly.
type stop struct {
	at    int64
	value float64
}

// stops is where the curve passes any of some places on its axis, which are sorted, and its points.
func (c *Curve) stops(rate dsp.Hertz, places []float64) []stop {
	sample := func(t float64) int64 { return int64(math.Round(t * float64(rate))) }
	least := max(1, sample(leastFrame))
	list := []stop{{sample(c.Times[0]), c.Values[0]}}
	for k := 0; k+1 < len(c.Times); k++ {
		from, to := c.scale(c.Values[k]), c.scale(c.Values[k+1])
		end := sample(c.Times[k+1])
		way, between := 1.0, slices.Clone(places)
		if to < from {
			way = -1
			slices.Reverse(between)
		}
		for _, place := range between {
			if way*(place-from) <= 0 || way*(to-place) <= 0 {
				continue
			}
			low, high := c.Times[k], c.Times[k+1]
			for range 60 {
				middle := (low + high) / 2
				if way*(c.on(k, middle)-place) < 0 {
					low = middle
				} else {
					high = middle
				}
			}
			if at := sample(high); at >= list[len(list)-1].at+least && at <= end-least {
				list = append(list, stop{at, c.value(place)})
			}
		}
		list = append(list, stop{end, c.Values[k+1]})
	}
	return list
}

// places is the points' places on the axis and so many others in the range of the setting, as far as the curve goes; for a setting that goes by octaves, so many in
// each of them.
func (c *Curve) places(count float64) []float64 {
	var list []float64
	for _, v := range c.Values {
		list = append(list, c.scale(v))
	}
	low, high := slices.Min(list), slices.Max(list)
	step := (c.scale(c.high) - c.scale(c.low)) / count
	if c.octaves() {
		step = 1 / count
	}
	for n := math.Floor(low/step) + 1; n*step < high; n++ {
		list = append(list, n*step)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// stagePlaces is where a stage has a setting. They all run all the time, so there are few: 64 of a dial, one every half a decibel, a twelfth of an octave of a frequency.
// A fade over half a decibel misses a gain by (ln 10/40)²/8 of it, which is -68 dB, and so does one over a 64th of an audio taper at its top.
func (c *Curve) stagePlaces() []float64 {
	switch c.unit {
	case dsp.Dial:
		return c.places(64)
	case dsp.Decibels, dsp.DBVs, dsp.DBus:
		return c.places(2 * (c.high - c.low))
	case dsp.Hertzes:
		return c.places(12)
	}
	return c.places(16)
}
