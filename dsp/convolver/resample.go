package convolver

import (
	"fmt"
	"math"
	"sync"

	"drywire/dsp"
)

// Resample is an impulse response at another rate: the same filter, from 0 Hz to 0.45 of the lower
// rate (within 0.001 dB), and nothing from half of it on (100 dB down). What a filter of limited
// band has before the time zero is not cut off: the first lead samples of what it returns come
// before it.
//
// It is the convolution with a sinc in Kaiser's window, taken where it is wanted; so any two rates
// will do. It panics on rates that are not above 0.
func Resample(response []float64, from, to dsp.Hertz) (resampled []float64, lead int) {
	if !(from > 0 && to > 0) {
		panic(fmt.Sprintf("convolver: resample from %v to %v Hz", float64(from), float64(to)))
	}
	if from == to {
		return append([]float64(nil), response...), 0
	}
	lower := math.Min(float64(from), float64(to))
	reach := zeros / lower // s
	lead = int(math.Ceil(reach * float64(to)))
	n := lead + int(math.Ceil((float64(len(response)-1)/float64(from)+reach)*float64(to))) + 1
	resampled = make([]float64, n)
	// A filter's response is a density: its samples are smaller by as much as there are more.
	gain := lower / float64(to)
	t := table()
	for k := range resampled {
		at := float64(k-lead) / float64(to) * float64(from) // in samples of the response
		first, last := int(math.Ceil(at-reach*float64(from))), int(math.Floor(at+reach*float64(from)))
		var sum float64
		for i := max(first, 0); i <= min(last, len(response)-1); i++ {
			sum += response[i] * kernel(t, (at-float64(i))/float64(from)*lower)
		}
		resampled[k] = gain * sum
	}
	return resampled, lead
}

// The kernel: zeros samples of the lower rate to either side, Kaiser's window for 100 dB (β =
// 0.1102·(100 - 8.7)), whose band then goes over into its stop band within (100 -
// 7.95)/(14.36·2·zeros) = 0.05 of the rate (IEEE Trans. ASSP 22, 1974, equations from memory): from
// 0.45 to 0.5.
const (
	zeros = 64
	beta  = 0.1102 * (100 - 8.7)
	edge  = 0.475
)

// fine is how many points the table has per sample of the lower rate: straight lines between them
// miss (π/fine)²/8 of the sinc, -118 dB.
const fine = 1024

var table = sync.OnceValue(func() *[zeros*fine + 2]float64 {
	var t [zeros*fine + 2]float64
	for k := range t {
		x := float64(k) / fine
		u := 1 - x*x/(zeros*zeros)
		switch {
		case u <= 0:
		case x == 0:
			t[k] = 2 * edge
		default:
			t[k] = bessel0(beta*math.Sqrt(u)) / bessel0(beta) * math.Sin(2*math.Pi*edge*x) / (math.Pi * x)
		}
	}
	return &t
})

// kernel is the low-pass at x samples of the lower rate from its middle, zeros at most.
func kernel(t *[zeros*fine + 2]float64, x float64) float64 {
	at := math.Abs(x) * fine
	k := min(int(at), zeros*fine)
	return t[k] + (at-float64(k))*(t[k+1]-t[k])
}

// bessel0 is the modified Bessel function I0 by its power series (DLMF 10.25.2).
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for n := 1.0; term > 1e-17*sum; n++ {
		term *= x * x / (4 * n * n)
		sum += term
	}
	return sum
}
