package measure

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// The corner frequencies of the A weighting in Hz. Source: IEC 61672-1:2013 Annex E, equations E.1
// to E.6.
const (
	aCorner1 = 20.598997 // twice
	aCorner2 = 107.65265 // once
	aCorner3 = 737.86223 // once
	aCorner4 = 12194.217 // twice
)

// AWeightingDB is the gain of the A weighting at a frequency in dB, -Inf at 0 Hz.
// Source: IEC 61672-1:2013 Annex E, equation E.6, normalised to exactly 0 dB at 1 kHz.
func AWeightingDB(frequency float64) float64 {
	return powerDB(aPower(frequency) / aPower(1000))
}

// aPower is the square of the A weighting's gain before normalisation.
func aPower(f float64) float64 {
	f *= f
	r := aCorner4 * aCorner4 * f * f / ((f + aCorner1*aCorner1) * math.Sqrt((f+aCorner2*aCorner2)*(f+aCorner3*aCorner3)) * (f + aCorner4*aCorner4))
	return r * r
}

// NoiseWeightingDB is the gain of the ITU-R BS.468-4 weighting for noise at a frequency in dB, 0 dB
// at 1 kHz, -Inf at 0 Hz. Source: the network of the recommendation's Figure 1 as a rational
// function (coefficients from memory; the test holds them to its Table 1).
func NoiseWeightingDB(frequency float64) float64 {
	return 20 * math.Log10(noiseGain(frequency)/noiseGain(1000))
}

func noiseGain(f float64) float64 {
	h1 := -4.737338981378384e-24*math.Pow(f, 6) + 2.043828333606125e-15*math.Pow(f, 4) - 1.363894795463638e-7*f*f + 1
	h2 := 1.306612257412824e-19*math.Pow(f, 5) - 2.118150887518656e-11*f*f*f + 5.559488023498642e-4*f
	return f / math.Hypot(h1, h2)
}

// noiseShift moves the BS.468 weighting to unity at 2 kHz: AES17-2015 calls that CCIR-RMS.
const noiseShift = -5.63 // dB

// WeightedRMS is the RMS of a noise whose spectrum passes through a weighting given in dB by
// frequency, from 0 Hz to half the rate.
func (s Spectrum) WeightedRMS(weightingDB func(frequency float64) float64) float64 {
	sum := 0.0
	for k, p := range s.Density {
		sum += p * s.Step * math.Pow(10, weightingDB(float64(k)*s.Step)/10)
	}
	return math.Sqrt(sum)
}

// IdleNoise is the RMS of a noise under the weighting that AES17-2015 asks for idle channels and
// dynamic range: BS.468, less 5.63 dB, read as a plain RMS, in the unit of the samples. A sine at 1
// kHz reads 5.63 dB less than unweighted.
func (s Spectrum) IdleNoise() float64 {
	return s.WeightedRMS(NoiseWeightingDB) * math.Pow(10, noiseShift/20)
}

// AWeighting is the A weighting as a digital filter, for a stream of one channel. It is within 0.01
// dB of the analytic curve from 10 Hz to 16 kHz, and inside the class 1 limits of IEC 61672-1
// wherever the rate reaches.
//
// The four zeros at 0 Hz and the four lower poles are bilinear high-passes. The double pole at 12.2
// kHz would be bent by the bilinear transform near half the rate, so it is placed at
// exp(-2π·f/rate), and a short minimum-phase FIR filter takes up all that is left: its squared
// magnitude is a polynomial in cos ω that is fitted to the wanted curve over what there is.
type AWeighting struct {
	high  [2]biquad
	pole  float64 // of the double real pole
	p1    float64 // memories of the double pole
	p2    float64
	taps  []float64
	delay []float64 // last len(taps)-1 samples before the FIR filter, newest first
}

const (
	aOrder  = 12  // of the polynomial: 13 taps
	aPoints = 400 // of the fit
	// of the rate: the curve has a corner at half of it, which no polynomial follows
	aFitTop = 0.475
)

// NewAWeighting is the filter for a rate from 40 to 400 kHz. It panics at another rate.
func NewAWeighting(rate float64) *AWeighting {
	mustRate("A weighting", rate, 40000, 400000)
	a := &AWeighting{pole: math.Exp(-2 * math.Pi * aCorner4 / rate)}
	k1, k2, k3 := math.Tan(math.Pi*aCorner1/rate), math.Tan(math.Pi*aCorner2/rate), math.Tan(math.Pi*aCorner3/rate)
	a.high[0] = highPass(k1, k1)
	a.high[1] = highPass(k2, k3)

	// Wanted: |FIR|² = N(ω), with N·(all that is there) = the analytic curve.
	top := aFitTop * rate
	rows := mat.NewDense(aPoints, aOrder+1, nil)
	want := mat.NewVecDense(aPoints, nil)
	for i := range aPoints {
		// Points crowd at both ends, as those of a Chebyshev fit do.
		f := top * (0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/aPoints))
		w := 2 * math.Pi * f / rate
		there := a.polePower(w) * a.high[0].power(w) * a.high[1].power(w)
		target := aPower(f) / aPower(1000) / there
		for k := range aOrder + 1 {
			rows.Set(i, k, math.Cos(float64(k)*w)/target) // relative error counts
		}
		want.SetVec(i, 1)
	}
	var n mat.VecDense
	if err := n.SolveVec(rows, want); err != nil {
		panic("measure: A weighting: " + err.Error())
	}
	a.taps = minimumPhase(n.RawVector().Data)
	a.delay = make([]float64, len(a.taps)-1)
	return a
}

// polePower is the squared gain of the double pole at w radians per sample.
func (a *AWeighting) polePower(w float64) float64 {
	d := 1 + a.pole*a.pole - 2*a.pole*math.Cos(w)
	return 1 / (d * d)
}

// minimumPhase gives the taps of the minimum-phase filter whose squared magnitude is Σ
// n[k]·cos(kω), which must be positive everywhere: the exponential of the causal half of the
// logarithm's cepstrum.
func minimumPhase(n []float64) []float64 {
	const size = 4096
	c := make([]complex128, size)
	for i := range c {
		v := 0.0
		for k, a := range n {
			v += a * math.Cos(2*math.Pi*float64(i*k%size)/size)
		}
		if !(v > 0) {
			panic("measure: A weighting: the fitted power is not positive")
		}
		c[i] = complex(0.5*math.Log(v), 0)
	}
	plan := fourier.NewCmplxFFT(size)
	plan.Coefficients(c, c)
	// c is the cepstrum times size: keep the origin, double the causal half.
	cepstrum := make([]float64, len(n))
	for k := range cepstrum {
		cepstrum[k] = 2 * real(c[k]) / size
	}
	cepstrum[0] /= 2
	// h = exp of the power series: h'(z) = cepstrum'(z)·h(z).
	h := make([]float64, len(n))
	h[0] = math.Exp(cepstrum[0])
	for i := 1; i < len(h); i++ {
		for k := 1; k <= i; k++ {
			h[i] += float64(k) / float64(i) * cepstrum[k] * h[i-k]
		}
	}
	return h
}

// Process weights in into out, which may be in. Both are of one length.
func (a *AWeighting) Process(out, in []float64) {
	for i, v := range in {
		v = a.high[0].step(v)
		v = a.high[1].step(v)
		a.p1 = v + a.pole*a.p1
		a.p2 = a.p1 + a.pole*a.p2
		y := a.taps[0] * a.p2
		for k, d := range a.delay {
			y += a.taps[k+1] * d
		}
		copy(a.delay[1:], a.delay)
		a.delay[0] = a.p2
		out[i] = y
	}
}

// Reset puts the filter to rest.
func (a *AWeighting) Reset() {
	for i := range a.high {
		a.high[i].s1, a.high[i].s2 = 0, 0
	}
	a.p1, a.p2 = 0, 0
	clear(a.delay)
}

// AWeighted is the A-weighted RMS of x, in its unit, over the whole record, the filter's start from
// rest included. The error is NotMeasurable: TooShort where x is empty, or NotFinite. It panics at
// rates where NewAWeighting does.
func AWeighted(x []float64, rate float64) (float64, error) {
	y := make([]float64, len(x))
	NewAWeighting(rate).Process(y, x)
	if err := checkFinite(x); err != nil {
		return 0, err
	}
	l, err := MeasureLevels(y)
	return l.RMS, err
}

// biquad is a second-order filter in transposed direct form II, a0 = 1.
type biquad struct {
	b0, b1, b2, a1, a2 float64
	s1, s2             float64
}

func (q *biquad) step(x float64) float64 {
	y := q.b0*x + q.s1
	q.s1 = q.b1*x - q.a1*y + q.s2
	q.s2 = q.b2*x - q.a2*y
	return y
}

// power is the squared gain at w radians per sample.
func (q *biquad) power(w float64) float64 {
	c1, s1 := math.Cos(w), math.Sin(w)
	c2, s2 := math.Cos(2*w), math.Sin(2*w)
	nr, ni := q.b0+q.b1*c1+q.b2*c2, q.b1*s1+q.b2*s2
	dr, di := 1+q.a1*c1+q.a2*c2, q.a1*s1+q.a2*s2
	return (nr*nr + ni*ni) / (dr*dr + di*di)
}

// highPass is two first-order bilinear high-passes in series; k is tan(π·corner/rate) of each.
func highPass(k1, k2 float64) biquad {
	g := 1 / ((1 + k1) * (1 + k2))
	p1, p2 := (1-k1)/(1+k1), (1-k2)/(1+k2)
	return biquad{b0: g, b1: -2 * g, b2: g, a1: -p1 - p2, a2: p1 * p2}
}
