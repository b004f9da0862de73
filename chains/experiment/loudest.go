package experiment

import "drywire/dsp"

// Loudest is the loudest stretch of a recording, so many seconds long, with half a second before
// it.
func Loudest(x []float64, rate, seconds float64) []float64 {
	n, lead := int(seconds*rate), int(rate/2)
	if len(x) <= n+lead {
		return x
	}
	sum, best, at := 0.0, -1.0, 0
	for k, v := range x {
		sum += v * v
		if k >= n {
			sum -= x[k-n] * x[k-n]
		}
		if k >= n-1 && sum > best {
			best, at = sum, k-n+1
		}
	}
	from := max(0, at-lead)
	return x[from : at+n]
}

// LoudestOf is that stretch of each recording.
func LoudestOf(d Dry, rate dsp.Hertz, seconds float64) Dry {
	return d.Each(func(x []float64) []float64 { return Loudest(x, float64(rate), seconds) })
}
