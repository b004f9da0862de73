package blocks

import (
	"math"

	"drywire/dsp/oversample"
)

// limiter clips at so many volts to either side.
//
// oversample.Clip leaves what lies next to half the sample rate, above 20 kHz, as it is. Where one limiter follows another with much gain in
// between, that alone can be many times the limit. So what goes past it by more than an edge can ring is cut off sample by sample.
type limiter struct {
	*oversample.Clip
	most float64
}

// ring is how far, as a share of the limit, a limiter's output may go: twice the 9 % by which a band-limited edge rings (the Gibbs phenomenon).
const ring = 1.18

// rails is an op-amp of unity gain that clips before its rails.
func (b *Bench) rails(supply float64) limiter { return b.limit(swing(supply)) }

func (b *Bench) limit(peak float64) limiter { return b.limitAt(peak, b.Oversample) }

func (b *Bench) limitAt(peak float64, factor int) limiter {
	return limiter{oversample.NewClip(-peak, peak, b.Rate, factor), ring * peak}
}

// Process limits src into dst, of equal length; dst may be src.
func (l limiter) Process(dst, src []float64) {
	l.Clip.Process(dst, src)
	for k, v := range dst {
		if math.Abs(v) > l.most {
			dst[k] = math.Copysign(l.most, v)
		}
	}
}

// A converter between analogue and digital: its noise is that of the rounding to 16 bits, spread evenly up to half of a converter's rate
// of 48 kHz. Common practice, no source; the noise of rounding, a step over √12, is a closed form.
const (
	converterBits = 16
	converterRate = 48e3
)

// converterNoise is in V/√Hz for a converter that takes so many volts peak.
func converterNoise(headroom float64) float64 {
	step := 2 * headroom / (1 << converterBits)
	return step / math.Sqrt(12) / math.Sqrt(converterRate/2)
}

// root is the sum of noises that know nothing of each other.
func root(noises ...float64) float64 {
	var sum float64
	for _, e := range noises {
		sum += e * e
	}
	return math.Sqrt(sum)
}

// longestTail is where a tail is cut, in seconds: nobody waits longer for a render to end.
const longestTail = 30
