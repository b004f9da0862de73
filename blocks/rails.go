package blocks

import (
	"math"

	"drywire/dsp/oversample"
)

// rails is an op-amp of unity gain that clips before its rails.
func (b *Bench) rails(supply float64) *oversample.Clip { return b.limit(swing(supply)) }

// limit clips at the given volts to either side.
func (b *Bench) limit(peak float64) *oversample.Clip { return b.limitAt(peak, b.Oversample) }

func (b *Bench) limitAt(peak float64, factor int) *oversample.Clip {
	return oversample.NewClip(-peak, peak, b.Rate, factor)
}

// A converter between analogue and digital: its noise is that of the rounding to 16 bits, spread
// evenly up to half of a converter's rate of 48 kHz. Common practice, no source; the noise of
// rounding, a step over √12, is a closed form.
const (
	converterBits = 16
	converterRate = 48e3
)

// converterNoise is in V/√Hz for a converter with that full scale in volts peak.
func converterNoise(headroom float64) float64 {
	step := 2 * headroom / (1 << converterBits)
	return step / math.Sqrt(12) / math.Sqrt(converterRate/2)
}

// root is the root of the sum of squares: uncorrelated densities add in power.
func root(noises ...float64) float64 {
	var sum float64
	for _, e := range noises {
		sum += e * e
	}
	return math.Sqrt(sum)
}

// longestTail is where a tail is cut, in seconds: nobody waits longer for a render to end.
const longestTail = 30
