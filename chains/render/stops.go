package render

import (
	"math"
	"slices"

	"drywire/chains/board"
	"drywire/dsp"
)

// increment is how far the curve goes from one time to another with no point between them, and the
// terms of that in x, x² and x³, where x goes from 0 to 1.
func increment(c *board.Curve, from, to float64) (far float64, terms [3]float64) {
	k, _ := slices.BinarySearch(c.Times, (from+to)/2)
	if k == 0 || k == len(c.Times) {
		return 0, terms
	}
	k--
	h := to - from
	far = c.On(k, to) - c.On(k, from)
	d0, d1 := h*c.Slope(from), h*c.Slope(to)
	return far, [3]float64{d0, 3*far - 2*d0 - d1, d0 + d1 - 2*far}
}

// stop is a setting at a sample, exactly.
type stop struct {
	at    int64
	value float64
}

// stops is where the curve passes any of some places on its axis, which are sorted, and its points.
func stops(c *board.Curve, rate dsp.Hertz, places []float64) []stop {
	sample := func(t float64) int64 { return int64(math.Round(t * float64(rate))) }
	least := max(1, sample(board.LeastFrame))
	list := []stop{{sample(c.Times[0]), c.Values[0]}}
	for k := 0; k+1 < len(c.Times); k++ {
		from, to := c.Scale(c.Values[k]), c.Scale(c.Values[k+1])
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
				if way*(c.On(k, middle)-place) < 0 {
					low = middle
				} else {
					high = middle
				}
			}
			if at := sample(high); at >= list[len(list)-1].at+least && at <= end-least {
				list = append(list, stop{at, c.Value(place)})
			}
		}
		list = append(list, stop{end, c.Values[k+1]})
	}
	return list
}

// places is the points' places on the axis and so many others in the range of the setting, as far
// as the curve goes; for a setting that goes by octaves, so many in each of them.
func places(c *board.Curve, count float64) []float64 {
	var list []float64
	for _, v := range c.Values {
		list = append(list, c.Scale(v))
	}
	low, high := slices.Min(list), slices.Max(list)
	step := (c.Scale(c.High) - c.Scale(c.Low)) / count
	if c.Octaves() {
		step = 1 / count
	}
	for n := math.Floor(low/step) + 1; n*step < high; n++ {
		list = append(list, n*step)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// stagePlaces is where a stage has a setting. They all run all the time, so there are few: 64 of a
// dial, one every half a decibel, a twelfth of an octave of a frequency. A fade over half a decibel
// misses a gain by (ln 10/40)²/8 of it, which is -68 dB, and so does one over a 64th of an audio
// taper at its top.
func stagePlaces(c *board.Curve) []float64 {
	switch c.Unit {
	case dsp.Dial:
		return places(c, 64)
	case dsp.Decibels, dsp.DBVs, dsp.DBus:
		return places(c, 2*(c.High-c.Low))
	case dsp.Hertzes:
		return places(c, 12)
	}
	return places(c, 16)
}
