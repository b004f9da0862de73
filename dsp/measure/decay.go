package measure

import (
	"math"
	"math/cmplx"
)

// Decay is what an impulse response says about a room or a reverberator, in seconds and dB. A
// reverberation time is the time for 60 dB at the rate of decay that was found on a part of the
// curve. Source: ISO 3382-1:2009, clause 5.3.3 (integrated impulse response) and Annex A (other
// quantities).
type Decay struct {
	EDT float64 // from the fall from 0 to -10 dB
	T20 float64 // from the fall from -5 to -25 dB
	T30 float64 // from the fall from -5 to -35 dB

	C80    float64 // clarity: energy of the first 80 ms over the rest, dB
	D50    float64 // definition: share of the energy in the first 50 ms
	Centre float64 // centre time of the energy, s
	Range  float64 // how far the record falls from its start to its end, dB
}

// Bent reports whether the decay is not one straight line: T30 more than a tenth above T20.
func (d Decay) Bent() bool { return d.T30 > 1.1*d.T20 }

const (
	onsetBelow = 20.0 // dB below its maximum at which a response begins: ISO 3382-1 Annex A.2.1
	rangeT20   = 35.0 // dB that the record must fall for T20, clause 5.3.3
	rangeT30   = 45.0 // and for T30
	envelope   = 0.02 // s over which the record's level is averaged to see how far it falls
)

// MeasureDecay evaluates an impulse response by backward integration (JASA 37, 409-412, 1965). The
// response begins where it first comes within 20 dB of its maximum. The record's end is taken for
// the end of the response, so it must either hold all of it or be cut where it is 45 dB down;
// nothing is added for what is missing. A record that has background noise in it does not fall that
// far and is refused. The error is NotMeasurable: NotFinite, Silence, TooShort or LowRange. It
// panics where the rate is under 1 kHz.
func MeasureDecay(x []float64, rate float64) (Decay, error) {
	mustRate("decay", rate, 1000, math.MaxFloat64)
	if err := checkFinite(x); err != nil {
		return Decay{}, err
	}
	top := largestMagnitude(x)
	if top == 0 {
		return Decay{}, NotMeasurable{Reason: Silence}
	}
	start := 0
	for math.Abs(x[start]) < top*math.Pow(10, -onsetBelow/20) {
		start++
	}
	x = x[start:]
	if float64(len(x)) < 0.1*rate {
		return Decay{}, notMeasurable(TooShort, "%.0f ms after the onset, needs 100 ms", 1e3*float64(len(x))/rate)
	}
	for len(x) > 0 && x[len(x)-1] == 0 { // a record that ends in zeros holds all of its response
		x = x[:len(x)-1]
	}
	if float64(len(x)) < 2*envelope*rate {
		return Decay{}, notMeasurable(TooShort, "the response lasts %.1f ms, needs %.0f ms", 1e3*float64(len(x))/rate, 2e3*envelope)
	}

	// Energy from each sample to the end, in units of the largest sample squared.
	curve := make([]float64, len(x))
	sum := 0.0
	for i := len(x) - 1; i >= 0; i-- {
		v := x[i] / top
		sum += v * v
		curve[i] = sum
	}
	var d Decay
	d.Range = fall(x, rate)
	if d.Range < rangeT30 {
		return Decay{}, notMeasurable(LowRange, "%.1f dB, needs %.0f dB (%.0f dB would do for T20)", d.Range, rangeT30, rangeT20)
	}
	d.EDT = decayTime(curve, rate, 0, -10)
	d.T20 = decayTime(curve, rate, -5, -25)
	d.T30 = decayTime(curve, rate, -5, -35)

	after := func(seconds float64) float64 {
		if i := int(math.Round(seconds * rate)); i < len(curve) {
			return curve[i]
		}
		return 0
	}
	if late := after(0.08); late > 0 {
		d.C80 = powerDB((sum - late) / late)
	} else {
		return Decay{}, notMeasurable(TooShort, "nothing after 80 ms")
	}
	d.D50 = (sum - after(0.05)) / sum
	moment := 0.0
	for i, v := range x {
		v /= top
		moment += float64(i) * v * v
	}
	d.Centre = moment / sum / rate
	if !(d.EDT > 0 && d.T20 > 0 && d.T30 > 0) {
		return Decay{}, notMeasurable(TooShort, "fewer than two samples on a part of the decay that is fitted")
	}
	return d, nil
}

// fall is how many dB the record's level falls from its loudest 20 ms to its last.
func fall(x []float64, rate float64) float64 {
	n := min(len(x), int(math.Ceil(envelope*rate)))
	highest, last := 0.0, 0.0
	for end := len(x); end >= n; end -= n {
		p := 0.0
		for _, v := range x[end-n : end] {
			p += v * v
		}
		if end == len(x) {
			last = p
		}
		highest = max(highest, p)
	}
	return powerDB(highest / last)
}

// decayTime fits a line by least squares to the level of the curve between two levels, and says
// when it has fallen 60 dB. It is 0 where fewer than two points lie between them.
func decayTime(curve []float64, rate, from, to float64) float64 {
	high, low := curve[0]*math.Pow(10, from/10), curve[0]*math.Pow(10, to/10)
	var n, st, stt, sl, stl float64
	for i, e := range curve {
		if e > high {
			continue
		}
		if e < low {
			break
		}
		t, l := float64(i)/rate, powerDB(e/curve[0])
		n, st, stt, sl, stl = n+1, st+t, stt+t*t, sl+l, stl+t*l
	}
	if n < 2 {
		return 0
	}
	return -60 * (n*stt - st*st) / (n*stl - st*sl)
}

// OctaveDecay evaluates an impulse response in the octave band around centre (Hz). The filter runs
// over the response backwards, so that its own ringing comes before the sound and does not lengthen
// the decay: ISO 3382-1:2009 clause 7.3 (the note on time-reversed analysis; clause from memory).
// Onset-bound quantities (EDT, C80, D50, Centre) shift by the filter's ringing, a few periods of
// the band: read T20 and T30 in the lowest bands, not those. The errors are those of MeasureDecay,
// and NotMeasurable, OutOfBand, where the band's upper edge is not below 0.49 of the rate. It
// panics where MeasureDecay does.
func OctaveDecay(x []float64, rate, centre float64) (Decay, error) {
	if err := checkFinite(x); err != nil {
		return Decay{}, err
	}
	filter, err := newOctaveFilter(rate, centre)
	if err != nil {
		return Decay{}, err
	}
	// Ahead of the response, room for the ringing that now comes before it: 12 periods of the
	// band's lower edge.
	lead := int(12 * math.Sqrt2 * rate / centre)
	y := make([]float64, lead+len(x))
	for i := len(x) - 1; i >= 0; i-- {
		y[lead+i] = filter.step(x[i])
	}
	for i := lead - 1; i >= 0; i-- {
		y[i] = filter.step(0)
	}
	return MeasureDecay(y, rate)
}

// octaveFilter is a Butterworth band-pass of order 6 (three biquads) whose edges lie at
// centre·10^(±3/20), -3 dB: it meets the class 1 limits of IEC 61260-1:2014 for octave bands. One
// octave off it is down by 19.6 dB only, so a neighbour that rings half as long again shows in T20
// by about 2 %: that is the standard's filter, not the method.
type octaveFilter [3]biquad

func newOctaveFilter(rate, centre float64) (octaveFilter, error) {
	edge := math.Pow(10, 0.15)
	if !(centre > 0) || centre*edge >= 0.49*rate {
		return octaveFilter{}, notMeasurable(OutOfBand, "the octave at %.6g Hz at a rate of %.6g Hz", centre, rate)
	}
	// Bilinear transform with both edges prewarped, in the unit of tan(π·f/rate).
	low, high := math.Tan(math.Pi*centre/edge/rate), math.Tan(math.Pi*centre*edge/rate)
	width, middle := high-low, low*high // middle squared
	// Poles of the third-order low-pass: -1 and exp(±j·2π/3). Each becomes the two roots of s² -
	// p·width·s + middle. Conjugate pairs make a biquad each: one pair from -1, two from the
	// complex one.
	roots := func(p complex128) (complex128, complex128) {
		b := p * complex(width/2, 0)
		r := cmplx.Sqrt(b*b - complex(middle, 0))
		return b + r, b - r
	}
	var f octaveFilter
	section := func(s1, s2 complex128) biquad {
		// width·s / (s² - (s1+s2)·s + s1·s2) with s = (z-1)/(z+1); s1 and s2 are conjugate or both
		// real.
		sum, product := real(s1+s2), real(s1*s2)
		a0 := 1 - sum + product
		return biquad{b0: width / a0, b2: -width / a0, a1: 2 * (product - 1) / a0, a2: (1 + sum + product) / a0}
	}
	r1, r2 := roots(-1)
	f[0] = section(r1, r2)
	r1, r2 = roots(cmplx.Exp(2i * math.Pi / 3))
	f[1] = section(r1, cmplx.Conj(r1))
	f[2] = section(r2, cmplx.Conj(r2))
	return f, nil
}

func (f *octaveFilter) step(x float64) float64 {
	for i := range f {
		x = f[i].step(x)
	}
	return x
}
