package measure

import (
	"math"
	"slices"
)

// Fit is how one record lies in time to another, to a fraction of a sample and with a clock that
// runs differently: other(t) goes with reference(t - lag - drift·t).
type Fit struct {
	Lag      float64 // s by which other comes later, at its beginning
	Drift    float64 // how much slower other runs, as a share: 0.00058 is one cent
	Inverted bool    // the polarity is the opposite
	// of the two once fitted, from 0 to 1; 0 where they are too unlike for a fit to mean anything
	Correlation float64
}

// The fit's limits.
const (
	// two records less alike than this have no lag between them (common practice, no source)
	fitsFrom = 0.5
	// Further than nearLag, or with a drift, nothing is fitted that does not become the same by it:
	// a note is much like itself a period later, and two sounds of it must not be compared there.
	nearLag     = 1e-3 // s
	samePlaying = 0.98
	// of the stretches whose lags tell how a clock runs
	stretchSeconds = 0.5
	stretches      = 8
	// at most so much drift is looked for: a third of a semitone
	mostDrift = 0.02
)

// FitTo finds lag and drift, up to maxLag seconds either way, at which other is most like the
// reference, and returns what the two then have in common, of one length. What a fraction of a
// sample or a drift would not improve stays as it is, sample by sample: records of one clock lose
// nothing by being fitted. rate is in Hz. The errors are those of Align. It panics where the rate
// is under 1 Hz.
func FitTo(reference, other []float64, rate, maxLag float64) (Fit, []float64, []float64, error) {
	mustRate("fit", rate, 1, math.MaxFloat64)
	near, err := Align(reference, other, int(nearLag*rate))
	if err != nil {
		return Fit{}, reference, other, err
	}
	f, x, y := refined(reference, other, near, rate)
	if f.Correlation >= samePlaying {
		return f, x, y, nil
	}
	at, err := Align(reference, other, int(maxLag*rate))
	if err != nil {
		return Fit{}, reference, other, err
	}
	if g, u, v := refined(reference, other, at, rate); g.Correlation >= samePlaying {
		return g, u, v, nil
	}
	if g, moved, ok := fitDrift(reference, other, rate, maxLag); ok && g.Correlation >= samePlaying {
		from, to := within(g, len(other), rate)
		to = min(to, len(moved))
		return g, reference[from:to], moved[from:to], nil
	}
	if f.Correlation < fitsFrom {
		return Fit{}, reference, other, nil
	}
	return f, x, y, nil
}

// refined is a whole lag with its fraction of a sample, where that makes the two more alike.
func refined(reference, other []float64, at Alignment, rate float64) (f Fit, x, y []float64) {
	f = Fit{Lag: float64(at.Lag) / rate, Inverted: at.Inverted}
	x, y = common(reference, other, at.Lag)
	f.Correlation = math.Abs(correlation(x, y))
	if d := fraction(x, y, at.Inverted); d != 0 {
		moved := resampled(y, d, 0)
		if c := math.Abs(correlation(x, moved)); c > f.Correlation {
			f.Lag, f.Correlation, y = f.Lag+d/rate, c, moved
		}
	}
	return f, x, y
}

// within is which samples of a record that is resampled by a fit lie within it.
func within(f Fit, n int, rate float64) (from, to int) {
	lag := f.Lag * rate
	from = max(0, int(math.Ceil(-lag/(1+f.Drift))))
	to = int(math.Floor((float64(n-1)-lag)/(1+f.Drift))) + 1
	return from, max(from, to)
}

// common is what two records have in common where y comes lag samples late.
func common(x, y []float64, lag int) ([]float64, []float64) {
	if lag > 0 {
		y = y[lag:]
	} else {
		x = x[-lag:]
	}
	n := min(len(x), len(y))
	return x[:n], y[:n]
}

// correlation of two records of one length, from -1 to 1.
func correlation(x, y []float64) float64 {
	var xx, yy, xy float64
	for k, v := range x {
		xx, yy, xy = xx+v*v, yy+y[k]*y[k], xy+v*y[k]
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx) / math.Sqrt(yy)
}

// fraction is by how much of a sample y comes later than x, from -1 to 1: the vertex of the
// parabola through the products at -1, 0 and 1, sharpened by asking again after moving. It is 0
// where the two are alike but for rounding.
func fraction(x, y []float64, inverted bool) float64 {
	sign := 1.0
	if inverted {
		sign = -1
	}
	sum := 0.0
	moved := y
	for range 4 {
		var p [3]float64
		for k := 1; k+1 < len(x); k++ {
			for j := range p {
				p[j] += sign * x[k] * moved[k+j-1]
			}
		}
		bend := p[0] - 2*p[1] + p[2]
		if bend >= 0 {
			break
		}
		d := (p[0] - p[2]) / (2 * bend)
		if math.Abs(d) < 1e-5 || math.Abs(sum+d) > 1 {
			break
		}
		sum += d
		moved = resampled(y, sum, 0)
	}
	return sum
}

// fitDrift fits a drift by stretches, and again to what the fit before has left.
func fitDrift(reference, other []float64, rate, maxLag float64) (Fit, []float64, bool) {
	reference = reference[:min(len(reference), len(other))]
	y := other[:len(reference)]
	if n := int(stretchSeconds * rate); len(reference) < 2*n || !alike(reference, y, n, int(maxLag*rate)) {
		return Fit{}, nil, false
	}
	var lag, slope float64 // in samples, and samples a sample
	inverted := false
	for k, within := range []float64{maxLag * rate, 64, 4, 4} {
		l, s, i, ok := line(reference, y, int(stretchSeconds*rate), int(math.Ceil(within)))
		if !ok || math.Abs(slope+s) > mostDrift {
			return Fit{}, nil, false
		}
		if lag, slope = lag+l, slope+s; k == 0 {
			inverted = i
		}
		y = resampled(other, lag, slope)[:len(reference)]
	}
	return Fit{Lag: lag / rate, Drift: slope, Inverted: inverted, Correlation: math.Abs(correlation(reference, y))}, y, true
}

// alike reports whether the loudest of the reference's stretches of n samples is found in the other:
// a drift changes the whole, and hardly a half second of it.
func alike(reference, other []float64, n, within int) bool {
	loudest, most := 0, 0.0
	for from := 0; from+n <= len(reference); from += n {
		sum := 0.0
		for _, v := range reference[from : from+n] {
			sum += v * v
		}
		if sum > most {
			loudest, most = from, sum
		}
	}
	a, err := Align(reference[loudest:loudest+n], other[loudest:loudest+n], within)
	return err == nil && a.Correlation > 0.8
}

// line is the straight line, in samples, through by how much y comes later in stretches of n
// samples, and whether it is upside down in most of them. There is none where fewer than three
// stretches are alike.
func line(x, y []float64, n, within int) (lag, slope float64, inverted, ok bool) {
	if len(x) < 2*n {
		return 0, 0, false, false
	}
	type point struct{ at, lag float64 }
	var points []point
	signs := 0
	for k := range stretches {
		from := k * (len(x) - n) / (stretches - 1)
		u, v := windowed(x[from:from+n]), windowed(y[from:from+n])
		a, err := Align(u, v, within)
		if err != nil || a.Correlation < fitsFrom {
			continue
		}
		if signs++; a.Inverted {
			signs -= 2
		}
		centre := middle(u) + float64(from)
		u, v = common(u, v, a.Lag)
		points = append(points, point{centre, float64(a.Lag) + fraction(u, v, a.Inverted)})
	}
	if len(points) < 3 {
		return 0, 0, false, false
	}
	// The median of all slopes, and of what is left: a stretch of a steady note may be off by a
	// period, and must not turn the line.
	var slopes, lags []float64
	for k, p := range points {
		for _, q := range points[:k] {
			slopes = append(slopes, (p.lag-q.lag)/(p.at-q.at))
		}
	}
	slope = median(slopes)
	for _, p := range points {
		lags = append(lags, p.lag-slope*p.at)
	}
	return median(lags), slope, signs < 0, true
}

// windowed is a record under a Hann window, so that no end of it looks like something in common.
func windowed(x []float64) []float64 {
	y := make([]float64, len(x))
	for k, v := range x {
		y[k] = v * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(k)+0.5)/float64(len(x))))
	}
	return y
}

// middle is the centre of a record's energy, in samples.
func middle(x []float64) float64 {
	sum, moment := 0.0, 0.0
	for k, v := range x {
		sum, moment = sum+v*v, moment+float64(k)*v*v
	}
	return moment / sum
}

func median(x []float64) float64 {
	slices.Sort(x)
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// resampled is x read lag samples later, and faster by a share: its value at k·(1+faster) + lag.
// Between samples it is the sum of their sincs under a Hann window 64 samples wide; beyond its ends
// it is silent.
func resampled(x []float64, lag, faster float64) []float64 {
	const half = 32
	y := make([]float64, len(x))
	turn, back := math.Sincos(math.Pi / half)
	for k := range y {
		at := float64(k)*(1+faster) + lag
		first := int(math.Floor(at)) - half + 1
		d := at - float64(first)
		if whole := math.Round(d); math.Abs(d-whole) < 1e-9 {
			if j := first + int(whole); j >= 0 && j < len(x) {
				y[k] = x[j]
			}
			continue
		}
		// sin(π(d-i)) only changes its sign from sample to sample; the window's cosine is turned
		// on.
		s := math.Sin(math.Pi*d) / math.Pi
		ws, wc := math.Sincos(math.Pi * d / half)
		sum := 0.0
		for j := first; j < first+2*half; j++ {
			if j >= 0 && j < len(x) {
				sum += x[j] * s / d * (0.5 + 0.5*wc)
			}
			s = -s
			d--
			ws, wc = ws*back-wc*turn, wc*back+ws*turn
		}
		y[k] = sum
	}
	return y
}
