package oversample

import (
	"fmt"
	"math"

	"drywire/dsp/gemv"
)

// Limit is a gain between two voltages for a signal that is at a high rate already, and goes on at
// it. Its methods are for one goroutine.
//
// A sample with nothing over the limits around it passes bit for bit. Elsewhere the output is made
// of means of the limited signal from sample to sample, as in Clip, where aliasing is kept low in
// the same way. In between the signal runs on the parabola that has the mean of the second
// differences at either end, not on a straight line, so that both what is smooth and what has a
// corner keeps its treble: four neighbouring means make the value at the sample in their middle, to
// fourth order, (-1, 7, 7, -1)/12.
type Limit struct {
	limits
	gain  float64
	line  [limitPast + chunk]float64 // volts, the last inputs times the gain, then the chunk's
	means [3]float64                 // volts, the last means of the limited signal, the newest last
	calm  int                        // for how many samples, up to limitSettled, nothing was over
}

const (
	limitLatency = 3 // samples: two for the means, one for the parabola
	limitPast    = 6 // samples that the means before the newest reach back
	limitSettled = 4 // samples for which what went over a limit has an influence
)

// NewLimit makes a limiter to [lo, hi] volts behind a gain. It panics unless lo <= 0 <= hi and
// lo < hi.
func NewLimit(gain, lo, hi float64) *Limit {
	if !(lo <= 0 && 0 <= hi && lo < hi) {
		panic(fmt.Sprintf("oversample: limits %v V and %v V do not have silence between them", lo, hi))
	}
	return &Limit{limits: limits{lo, hi}, gain: gain, calm: limitSettled}
}

// Latency is the delay in samples of the high rate.
func (l *Limit) Latency() int { return limitLatency }

// Reset forgets all input.
func (l *Limit) Reset() {
	clear(l.line[:limitPast])
	l.means, l.calm = [3]float64{}, limitSettled
}

// Process limits src into dst, both in volts at the high rate, of equal length, else
// it panics. dst may be src.
func (l *Limit) Process(dst, src []float64) {
	if len(dst) != len(src) {
		panic("oversample: Limit needs len(dst) == len(src)")
	}
	for len(src) > 0 {
		n := min(len(src), chunk)
		in := l.line[limitPast : limitPast+n]
		for k, x := range src[:n] {
			in[k] = l.gain * x
		}
		if l.calm == limitSettled && gemv.Within(l.line[limitPast-2:limitPast+n], min(l.hi, -l.lo)) {
			copy(dst, l.line[limitPast-limitLatency:limitPast-limitLatency+n])
			for k := range l.means {
				x := l.line[n+k:]
				l.means[k] = (x[1]+x[2])/2 - bend(x[0], x[1], x[2], x[3])/12
			}
		} else {
			l.work(dst[:n])
		}
		copy(l.line[:limitPast], l.line[n:n+limitPast])
		dst, src = dst[n:], src[n:]
	}
}

// work limits the chunk.
func (l *Limit) work(dst []float64) {
	m := l.means
	for k := range dst {
		x := (*[limitPast + 1]float64)(l.line[k:])
		mean, over := l.mean(x[3], x[4], x[5], x[6])
		if over {
			l.calm = 0
		} else {
			l.calm = min(limitSettled, l.calm+1)
		}
		if dst[k] = x[limitPast-limitLatency]; l.calm < limitSettled {
			dst[k] = (7*(m[1]+m[2]) - (m[0] + mean)) / 12
		}
		m[0], m[1], m[2] = m[1], m[2], mean
	}
	l.means = m
}

// bend is the mean of the second differences at b and at c, of four samples in a row. The parabola
// from b to c with that, at t from 0 to 1, is b + (c-b-bend/2)·t + bend/2·t².
func bend(a, b, c, d float64) float64 { return (a - b - c + d) / 2 }

// mean is that of the limited signal from b to c, of four samples in a row, and whether either of
// the two is over a limit.
func (l *Limit) mean(a, b, c, d float64) (mean float64, over bool) {
	low, high := min(b, c), max(b, c)
	curved := bend(a, b, c, d)
	switch {
	case low >= l.lo && high <= l.hi:
		return (b+c)/2 - curved/12, false
	case low >= l.hi:
		return l.hi, true
	case high <= l.lo:
		return l.lo, true
	}
	// from b to the first limit that is crossed, if b is within, or on to the last one
	p := parabola{b, c - b - curved/2, curved / 2, c > b}
	from, to := 0.0, 1.0
	if b < l.lo || b > l.hi {
		limit := l.lo
		if b > l.hi {
			limit = l.hi
		}
		from = p.crosses(limit)
		mean += limit * from
	}
	if c < l.lo || c > l.hi {
		limit := l.lo
		if c > l.hi {
			limit = l.hi
		}
		to = max(from, p.crosses(limit))
		mean += limit * (1 - to)
	}
	return mean + p.integral(to) - p.integral(from), true
}

// parabola is c + b·t + a·t², which from t = 0 to t = 1 rises or falls on the whole.
type parabola struct {
	c, b, a float64
	rises   bool
}

// integral is that from 0 to t.
func (p parabola) integral(t float64) float64 { return t * (p.c + t*(p.b/2+t*p.a/3)) }

// crosses is where it has a value that lies between those at 0 and at 1. Its slope there is the
// root of the discriminant, up or down.
func (p parabola) crosses(v float64) float64 {
	c := p.c - v
	slope := math.Sqrt(max(0, p.b*p.b-4*p.a*c))
	if !p.rises {
		slope = -slope
	}
	var t float64
	if (p.b >= 0) == p.rises {
		t = -2 * c / (p.b + slope)
	} else {
		t = (slope - p.b) / (2 * p.a)
	}
	return min(1, max(0, t))
}

// limits is two voltages with silence between them.
type limits struct{ lo, hi float64 }

// over is by how many volts v is beyond the limits.
func (l limits) over(v float64) float64 {
	switch {
	case v > l.hi:
		return v - l.hi
	case v < l.lo:
		return v - l.lo
	}
	return 0
}

// meanOver is the mean of over along the line from v, where it is a, to w, where it is b.
func meanOver(v, w, a, b float64) float64 {
	if a*b > 0 {
		return (b + a) / 2
	}
	if a == 0 && b == 0 {
		return 0
	}
	// over²/2 is the antiderivative; the step from v to w is no smaller than either over.
	return (b - a) * (b + a) / (2 * (w - v))
}
