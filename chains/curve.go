package chains

import (
	"math"
	"slices"

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
	low, high float64 // of the setting
	slopes    []float64
}

// newCurve needs two points at least, whose times rise.
func newCurve(times, values []float64, unit dsp.Unit, low, high float64) *Curve {
	c := &Curve{Times: times, Values: values, unit: unit, low: low, high: high, slopes: make([]float64, len(times))}
	for k := 1; k < len(times)-1; k++ {
		h0, h1 := times[k]-times[k-1], times[k+1]-times[k]
		s0, s1 := (c.scale(values[k])-c.scale(values[k-1]))/h0, (c.scale(values[k+1])-c.scale(values[k]))/h1
		if s0*s1 > 0 {
			c.slopes[k] = 3 * (h0 + h1) / ((2*h1+h0)/s0 + (h1+2*h0)/s1)
		}
	}
	return c
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
	h := c.Times[k+1] - c.Times[k]
	x := (t - c.Times[k]) / h
	from, to := c.scale(c.Values[k]), c.scale(c.Values[k+1])
	y := from + x*x*(3-2*x)*(to-from) + h*x*(1-x)*((1-x)*c.slopes[k]-x*c.slopes[k+1])
	return min(max(y, min(from, to)), max(from, to)) // what rounding may add
}

// Steps from one frame to the next: how many there are in the range of the setting, or how large one is. The first is for circuits, the second for stages, all of
// whose settings run all the time.
//
// What a linear fade between two settings misses of a gain g is an eighth of g″/g by the square of the step. An audio taper has g″/g = (ln 32.1)² at its top:
// in 128 steps that is -81 dB. A quarter of a dB gives (ln 10/80)²/8: -80 dB.
type grid struct{ circuit, stage float64 }

func (c *Curve) steps() grid {
	span := c.scale(c.high) - c.scale(c.low)
	switch c.unit {
	case dsp.Dial:
		return grid{span / 128, span / 32}
	case dsp.Decibels, dsp.DBVs, dsp.DBus:
		return grid{0.25, 1}
	case dsp.Hertzes:
		return grid{1. / 24, 1. / 12}
	}
	return grid{span / 64, span / 16}
}

// leastFrame is the shortest time between two frames, in seconds. A knob that moves faster goes in larger steps, of this length each.
const leastFrame = 1e-3

// stop is a setting at a sample, exactly.
type stop struct {
	at    int64
	value float64
}

// stops is where the curve passes multiples of a step, and its points.
func (c *Curve) stops(rate dsp.Hertz, step float64) []stop {
	sample := func(t float64) int64 { return int64(math.Round(t * float64(rate))) }
	least := max(1, sample(leastFrame))
	list := []stop{{sample(c.Times[0]), c.Values[0]}}
	for k := 0; k+1 < len(c.Times); k++ {
		from, to := c.scale(c.Values[k]), c.scale(c.Values[k+1])
		end := sample(c.Times[k+1])
		way := 1.0
		first, last := math.Floor(from/step)+1, math.Ceil(to/step)-1
		if to < from {
			way = -1
			first, last = math.Ceil(from/step)-1, math.Floor(to/step)+1
		}
		for n := first; way*(last-n) >= 0; n += way {
			low, high := c.Times[k], c.Times[k+1]
			for range 60 {
				middle := (low + high) / 2
				if way*(c.on(k, middle)-n*step) < 0 {
					low = middle
				} else {
					high = middle
				}
			}
			if at := sample(high); at >= list[len(list)-1].at+least && at <= end-least {
				list = append(list, stop{at, c.value(n * step)})
			}
		}
		list = append(list, stop{end, c.Values[k+1]})
	}
	return list
}
