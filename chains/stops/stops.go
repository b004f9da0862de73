// Package stops says where a knob that moves stops: at which samples of a recording its curve
// passes which settings, so that the circuits and cores of these follow one another.
//
// It knows no circuit: package render calls it, and crossfades between the circuits of the
// settings. Start reading at Of.
package stops

import (
	"math"
	"slices"
	"strings"

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

// Stop is a setting at a sample, exactly.
type Stop struct {
	At    int64   // of the recording
	Value float64 // in the setting's unit
}

// Of is where the curve passes any of some places on its axis, which are sorted, and its points, as
// samples of that rate.
func Of(c *board.Curve, rate dsp.Hertz, places []float64) []Stop {
	sample := func(t float64) int64 { return int64(math.Round(t * float64(rate))) }
	least := max(1, sample(board.LeastFrame))
	list := []Stop{{sample(c.Times[0]), c.Values[0]}}
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
			if at := sample(high); at >= list[len(list)-1].At+least && at <= end-least {
				list = append(list, Stop{at, c.Value(place)})
			}
		}
		list = append(list, Stop{end, c.Values[k+1]})
	}
	return list
}

// Places is the points' places on the axis and so many others in the range of the setting, as far
// as the curve goes; for a setting that goes by octaves, so many in each of them.
func Places(c *board.Curve, count float64) []float64 {
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

// OfStage is where a stage has a setting. They all run all the time, so there are few: 64 of a
// dial, one every half a decibel, a twelfth of an octave of a frequency. A fade over half a decibel
// misses a gain by (ln 10/40)²/8 of it, which is -68 dB, and so does one over a 64th of an audio
// taper at its top.
func OfStage(c *board.Curve) []float64 {
	switch c.Unit {
	case dsp.Dial:
		return Places(c, 64)
	case dsp.Decibels, dsp.DBVs, dsp.DBus:
		return Places(c, 2*(c.High-c.Low))
	case dsp.Hertzes:
		return Places(c, 12)
	}
	return Places(c, 16)
}

// Way is how the controls go from one time to another, in seconds: all of them together, each by
// its own range. It is the terms in x, x² and x³ of a way from 0 to 1, where x goes from 0 to 1.
func Way(moves []board.Turn, movers []int, from, to float64) [3]float64 {
	var sum float64
	var terms [3]float64
	for _, i := range movers {
		c := moves[i].Curve
		far, own := increment(c, from, to)
		scale := 1 / (c.Scale(c.High) - c.Scale(c.Low))
		if far < 0 {
			scale = -scale
		}
		sum += scale * far
		for k, x := range own {
			terms[k] += scale * x
		}
	}
	if sum == 0 {
		return [3]float64{1}
	}
	for k := range terms {
		terms[k] /= sum
	}
	return terms
}

// At is a setting at a sample t of that rate, in its unit: where it stops there, or stands between
// two equal stops, that to the last bit.
func At(c *board.Curve, stops []Stop, t int64, rate dsp.Hertz) float64 {
	k, exact := slices.BinarySearchFunc(stops, t, func(s Stop, t int64) int { return int(s.At - t) })
	switch {
	case exact:
		return stops[k].Value
	case k == 0:
		return stops[0].Value
	case k == len(stops) || stops[k-1].Value == stops[k].Value:
		return stops[k-1].Value
	}
	return c.At(dsp.Second(float64(t) / float64(rate)))
}

// Names is the settings that move, for a message.
func Names(moves []board.Turn) string {
	var list []string
	for _, m := range moves {
		list = append(list, m.Target)
	}
	return strings.Join(list, ", ")
}
