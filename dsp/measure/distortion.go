package measure

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// The audio band of AES17-2015 and of every figure here that has no band of its own.
const (
	BandLow  = 20.0    // Hz
	BandHigh = 20000.0 // Hz
)

// notchQ is the quality factor of the notch in THDN. AES17-2015 allows 1.2 to 3; the sharpest harms
// the second harmonic least (0.21 dB).
const notchQ = 3

// Harmonics is what a steady sine became: peak amplitudes, in the unit of the samples.
type Harmonics struct {
	Frequency float64   // of the fundamental, Hz
	DC        float64   // the mean
	Amplitude []float64 // peak; [0] is the fundamental, [1] the second harmonic, …
	Phase     []float64 // of sin(2π·n·f·t + phase), t = 0 at the first sample, radians in (-π, π]
	Total     float64   // RMS of everything from BandLow to BandHigh
	// RMS of the same without the fundamental: all harmonics, aliases, hum and noise
	Residual float64
}

// THD is the total harmonic distortion: the root of the summed squares of the harmonics over the
// fundamental, as a ratio. Source: IEC 60268-3, total harmonic distortion, with the fundamental as
// reference (the standard itself divides by the total output; the closed forms of the tests divide
// by the fundamental).
func (h Harmonics) THD() float64 {
	sum := 0.0
	for _, a := range h.Amplitude[1:] {
		sum += a * a
	}
	return math.Sqrt(sum) / h.Amplitude[0]
}

// LevelDB is the level of harmonic n (2 is the second) in dB relative to the fundamental; -Inf when
// it is nought.
func (h Harmonics) LevelDB(n int) float64 {
	return 20 * math.Log10(h.Amplitude[n-1]/h.Amplitude[0])
}

// CoherentHarmonics measures a tone that makes exactly k0 periods in x, by the DFT of all of x,
// with up to orders harmonics below half the rate. Use an odd k0 and a power of two: every alias
// then falls between the harmonics. The error is NotMeasurable: TooShort, NotFinite or NoTone. It
// panics where k0 or orders is under 1 or the rate under 1 Hz.
func CoherentHarmonics(x []float64, rate float64, k0, orders int) (Harmonics, error) {
	mustRate("harmonics", rate, 1, math.MaxFloat64)
	if k0 < 1 || orders < 1 {
		panic(fmt.Sprintf("measure: harmonics: bin %d and %d orders, want 1 or more", k0, orders))
	}
	if 2*k0 >= len(x) {
		return Harmonics{}, notMeasurable(TooShort, "%d samples for %d periods", len(x), k0)
	}
	if err := checkFinite(x); err != nil {
		return Harmonics{}, err
	}
	n := float64(len(x))
	c := fourier.NewFFT(len(x)).Coefficients(nil, x)
	h := Harmonics{Frequency: float64(k0) * rate / n, DC: real(c[0]) / n}
	if c[k0] == 0 {
		return Harmonics{}, notMeasurable(NoTone, "nothing at %.6g Hz", h.Frequency)
	}
	for k := k0; 2*k < len(x) && len(h.Amplitude) < orders; k += k0 {
		h.Amplitude = append(h.Amplitude, 2*cmplx.Abs(c[k])/n)
		h.Phase = append(h.Phase, cmplx.Phase(c[k]*1i))
	}
	for k := range c {
		if f := float64(k) * rate / n; f < BandLow || f > BandHigh {
			continue
		}
		p := linePower(c, k, len(x))
		h.Total += p
		if k != k0 {
			h.Residual += p
		}
	}
	h.Total, h.Residual = math.Sqrt(h.Total), math.Sqrt(h.Residual)
	return h, nil
}

// linePower is the mean square that bin k of the transform of n real samples stands for.
func linePower(c []complex128, k, n int) float64 {
	a := cmplx.Abs(c[k]) / float64(n)
	if k == 0 || 2*k == n {
		return a * a
	}
	return 2 * a * a
}

// FitHarmonics measures a tone of any frequency: the fundamental's frequency, amplitude and phase
// and those of its harmonics are fitted to x by least squares under a Hann window, the frequency by
// Gauss-Newton steps from the value given, which must be right to 1/T (T the length of x). It needs
// four periods. Of orders asked for, those below half the rate are fitted. The error is
// NotMeasurable: OutOfBand, TooShort, NotFinite, Silence or NoTone. It panics where orders is under
// 1, the frequency not over 0 Hz or the rate under 1 Hz. Source: IEEE Std 1057, four-parameter sine
// fit (from memory), extended by the harmonics.
//
// Total and Residual come from the windowed record itself minus the fitted fundamental, with
// everything from 0 Hz (but the mean) to half the rate in them: filter first where a band matters.
func FitHarmonics(x []float64, rate, frequency float64, orders int) (Harmonics, error) {
	mustRate("harmonics", rate, 1, math.MaxFloat64)
	if orders < 1 || !(frequency > 0) {
		panic(fmt.Sprintf("measure: harmonics: %v Hz and %d orders", frequency, orders))
	}
	duration := float64(len(x)) / rate
	switch {
	case frequency >= rate/2:
		return Harmonics{}, notMeasurable(OutOfBand, "%.6g Hz at a rate of %.6g Hz", frequency, rate)
	case duration*frequency < 4:
		return Harmonics{}, notMeasurable(TooShort, "%.2f periods, needs 4", duration*frequency)
	}
	if err := checkFinite(x); err != nil {
		return Harmonics{}, err
	}
	if largestMagnitude(x) == 0 {
		return Harmonics{}, NotMeasurable{Reason: Silence}
	}
	for orders > 1 && float64(orders)*(frequency+0.5/duration) >= rate/2 {
		orders--
	}

	// First the fundamental alone finds the frequency: an error of one bin there is an error of n
	// at harmonic n, too far for a Gauss-Newton step. Then all of them refine it.
	f := frequency
	hann := hannOf(len(x))
	var s sineFit
	for _, stage := range []struct {
		orders  int
		settled float64 // bins
	}{{1, 0.01}, {orders, 1e-10}} {
		freqs := make([]float64, stage.orders)
		var before []float64
		for range 12 {
			for n := range freqs {
				freqs[n] = f * float64(n+1)
			}
			fit, shift, err := fitSines(x, hann, rate, freqs, before)
			if err != nil {
				return Harmonics{}, err
			}
			settled := before != nil && math.Abs(shift)*duration < stage.settled
			s, before = fit, fit.coefficients
			if settled {
				break
			}
			f += shift
			if !(math.Abs(f-frequency) <= 1.5/duration) {
				return Harmonics{}, notMeasurable(NoTone, "none within %.3g Hz of %.6g Hz", 1.5/duration, frequency)
			}
		}
	}
	h := Harmonics{Frequency: f, DC: s.coefficients[0]}
	for n := range orders {
		a, phase := s.sine(n)
		h.Amplitude = append(h.Amplitude, a)
		// The fit counts time from the middle of the record.
		phase -= math.Pi * f * float64(n+1) * float64(len(x)-1) / rate
		h.Phase = append(h.Phase, math.Remainder(phase, 2*math.Pi))
	}
	if h.Amplitude[0] < 1e-12*largestMagnitude(x) {
		return Harmonics{}, notMeasurable(NoTone, "nothing at %.6g Hz", frequency)
	}
	var total, residual, weight float64
	for i, v := range x {
		w := hann[i]
		v -= h.DC
		r := v - h.Amplitude[0]*math.Sin(2*math.Pi*h.Frequency*float64(i)/rate+h.Phase[0])
		total += w * v * v
		residual += w * r * r
		weight += w
	}
	h.Total, h.Residual = math.Sqrt(total/weight), math.Sqrt(residual/weight)
	return h, nil
}

// hannAt is the Hann window of n points at point i, which never touches zero.
func hannAt(i, n int) float64 {
	return 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
}

// hannOf is the Hann window of n points.
func hannOf(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = hannAt(i, n)
	}
	return w
}

func largestMagnitude(x []float64) float64 {
	p := 0.0
	for _, v := range x {
		p = max(p, math.Abs(v))
	}
	return p
}

// sineFit is the least-squares fit of a mean and sines of known frequencies. Time counts from the
// middle of the record, so that a wrong frequency does not show as a wrong phase.
type sineFit struct {
	coefficients []float64 // mean, then cosine and sine of each frequency
}

// sine is the amplitude and the phase of sine number n.
func (s sineFit) sine(n int) (amplitude, phase float64) {
	c, q := s.coefficients[1+2*n], s.coefficients[2+2*n]
	return math.Hypot(c, q), math.Atan2(c, q)
}

// rotorBlock is for how many samples rotors go on by rotation, which loses a few roundings a turn.
const rotorBlock = 64

// rotors are unit phasors of some frequencies, one sample after the other.
type rotors struct {
	turns  []float64    // of each, a sample
	at, by []complex128 // where they are, and a sample's rotation
}

func newRotors(freqs []float64, rate float64) *rotors {
	r := &rotors{make([]float64, len(freqs)), make([]complex128, len(freqs)), make([]complex128, len(freqs))}
	for n, f := range freqs {
		r.turns[n] = f / rate
	}
	r.start(1)
	copy(r.by, r.at)
	return r
}

// start puts them where they are at a time in samples.
func (r *rotors) start(t float64) {
	for n, turns := range r.turns {
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(turns*t, 1))
		r.at[n] = complex(cos, sin)
	}
}

// step turns them on by a sample.
func (r *rotors) step() {
	for n, by := range r.by {
		r.at[n] *= by
	}
}

// fitSines fits a mean and sines to x under a Hann window of its length. Given the coefficients of
// the fit before, it also fits how far the first frequency is off, in Hz, taking the others as its
// multiples; without, that shift is 0.
func fitSines(x, hann []float64, rate float64, freqs, before []float64) (fit sineFit, shift float64, err error) {
	columns := 1 + 2*len(freqs)
	all := columns
	if before != nil {
		all++
	}
	normal := make([]float64, all*all)
	right := make([]float64, all)
	even, odd := make([]float64, 1+len(freqs)), make([]float64, 1+len(freqs)) // 1 and cosines; sines
	even[0] = 1
	turns := newRotors(freqs, rate)
	middle := float64(len(x)-1) / 2
	// Two samples as far from the middle have the same window and cosines and opposite sines, so
	// they are taken together, and of cosines by sines nothing is left. The one in the middle is
	// its own other.
	for i := range (len(x) + 1) / 2 {
		other := len(x) - 1 - i
		if i%rotorBlock == 0 {
			turns.start(float64(i) - middle)
		}
		var slopeEven, slopeOdd float64
		for n, z := range turns.at {
			even[1+n], odd[1+n] = real(z), imag(z)
			if before != nil {
				slopeEven -= float64(n+1) * before[1+2*n] * imag(z)
				slopeOdd += float64(n+1) * before[2+2*n] * real(z)
			}
		}
		turns.step()
		w, sum, difference := 2*hann[i], x[i]+x[other], x[i]-x[other]
		if i == other {
			w /= 2
		}
		for a, r := range even {
			wa, at := w*r, max(0, 2*a-1)
			right[at] += wa * sum / 2
			for b, r := range even[a:] {
				normal[at*all+max(0, 2*(a+b)-1)] += wa * r
			}
		}
		for a, r := range odd[1:] {
			wa, at := w*r, 2*a+2
			right[at] += wa * difference / 2
			for b, r := range odd[1+a:] {
				normal[at*all+2*(a+b)+2] += wa * r
			}
		}
		if before == nil {
			continue
		}
		t := 2 * math.Pi * (float64(i) - middle) / rate
		slopeEven, slopeOdd = slopeEven*t, slopeOdd*t
		for a, r := range even {
			normal[max(0, 2*a-1)*all+columns] += w * r * slopeEven
		}
		for a, r := range odd[1:] {
			normal[(2*a+2)*all+columns] += w * r * slopeOdd
		}
		normal[columns*all+columns] += w * (slopeEven*slopeEven + slopeOdd*slopeOdd)
		right[columns] += w / 2 * (slopeEven*sum + slopeOdd*difference)
	}
	var c mat.Cholesky
	if !c.Factorize(mat.NewSymDense(all, normal)) {
		return fit, 0, notMeasurable(TooShort, "the sines cannot be told apart")
	}
	var solution mat.VecDense
	if e := c.SolveVecTo(&solution, mat.NewVecDense(all, right)); e != nil {
		return fit, 0, notMeasurable(TooShort, "the sines cannot be told apart: %v", e)
	}
	fit.coefficients = solution.RawVector().Data[:columns]
	if before != nil {
		shift = solution.AtVec(columns)
	}
	return fit, shift, nil
}

// THDN is the total harmonic distortion and noise of a steady tone, as a ratio: the RMS that a
// notch at the tone leaves over the RMS of all, both from 20 Hz to 20 kHz. The tone is the
// strongest line in the band. The notch is second order with a Q of 3, applied to the power
// spectrum (Blackman-Harris window, four terms), where the band's edges are sharp as well; the tone
// itself is taken out whole. It needs 16 periods. The error is NotMeasurable: TooShort, NotFinite
// or Silence. It panics where the rate is under 160 Hz. Source: AES17-2015, total harmonic
// distortion and noise (notch Q of 1.2 to 3, 20 Hz to 20 kHz).
func THDN(x []float64, rate float64) (float64, error) {
	mustRate("THD+N", rate, 8*BandLow, math.MaxFloat64)
	if err := checkFinite(x); err != nil {
		return 0, err
	}
	const lobe = 4 // half the width of the window's main lobe, in bins
	if len(x) < 64 {
		return 0, notMeasurable(TooShort, "%d samples", len(x))
	}
	n := nextPowerOfTwo(len(x))
	mean, weight := 0.0, 0.0
	for i, v := range x {
		w := blackmanHarrisAt(i, len(x))
		mean += w * v
		weight += w
	}
	mean /= weight // taken out first: its lobe would reach into the band of a short record
	y := make([]float64, n)
	for i, v := range x {
		y[i] = (v - mean) * blackmanHarrisAt(i, len(x))
	}
	c := fourier.NewFFT(n).Coefficients(nil, y)
	power := make([]float64, len(c))
	peak, strongest := 0, 0.0
	for k := range power {
		power[k] = real(c[k])*real(c[k]) + imag(c[k])*imag(c[k])
		if f := float64(k) * rate / float64(n); f >= BandLow && f <= BandHigh && power[k] > strongest {
			peak, strongest = k, power[k]
		}
	}
	f0 := float64(peak) * rate / float64(n)
	width := int(math.Ceil(lobe * float64(n) / float64(len(x))))
	switch {
	case strongest == 0:
		return 0, NotMeasurable{Reason: Silence}
	case f0*float64(len(x))/rate < 16:
		return 0, notMeasurable(TooShort, "%.1f periods of %.4g Hz, needs 16", f0*float64(len(x))/rate, f0)
	}
	total, residual := 0.0, 0.0
	for k, p := range power {
		f := float64(k) * rate / float64(n)
		if (f < BandLow || f > BandHigh) && (k < peak-width || k > peak+width) {
			continue
		}
		total += p
		if k < peak-width || k > peak+width {
			u := f / f0
			d := (1 - u*u) * (1 - u*u)
			residual += p * d / (d + u*u/(notchQ*notchQ))
		}
	}
	return math.Sqrt(residual / total), nil
}

// blackmanHarrisAt is the four-term Blackman-Harris window (side lobes below -92 dB). Source: Proc.
// IEEE 66(1), 51-83, 1978.
func blackmanHarrisAt(i, n int) float64 {
	t := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
	return 0.35875 - 0.48829*math.Cos(t) + 0.14128*math.Cos(2*t) - 0.01168*math.Cos(3*t)
}

func nextPowerOfTwo(n int) int {
	p := 1
	for p < n {
		p *= 2
	}
	return p
}

// Intermodulation is the distortion of two tones by each other, as ratios.
type Intermodulation struct {
	Second, Third float64
}

// ModulationDistortion measures what a strong low tone does to a weak high one (60 Hz and 7 kHz,
// 4:1 by custom): the side lines one (Second) and two (Third) times low away from high, their
// amplitudes added, over high's amplitude. The lines have to be 4/T apart and over 0 Hz (T the
// length of x). The error is NotMeasurable: NotFinite, OutOfBand, TooShort or NoTone. It panics
// where a line is not over 0 Hz or the rate under 1 Hz. Source: IEC 60268-3:2018 clause 14.12.7
// (clause from memory; the custom of adding amplitudes, not powers, is the standard's).
func ModulationDistortion(x []float64, rate, low, high float64) (Intermodulation, error) {
	a, err := lines(x, rate, low, high, high-low, high+low, high-2*low, high+2*low)
	if err != nil {
		return Intermodulation{}, err
	}
	return Intermodulation{Second: (a[2] + a[3]) / a[1], Third: (a[4] + a[5]) / a[1]}, nil
}

// DifferenceDistortion measures what two equal high tones make of each other (8 and 11.95 kHz by
// custom): the line at f2-f1 (Second), and those at 2·f1-f2 and 2·f2-f1 added (Third), over the sum
// of the two tones' amplitudes. Errors and panics are those of ModulationDistortion. Source: IEC
// 60268-3:2018 clause 14.12.8 (clause from memory).
func DifferenceDistortion(x []float64, rate, f1, f2 float64) (Intermodulation, error) {
	a, err := lines(x, rate, f1, f2, f2-f1, math.Abs(2*f1-f2), 2*f2-f1)
	if err != nil {
		return Intermodulation{}, err
	}
	return Intermodulation{Second: a[2] / (a[0] + a[1]), Third: (a[3] + a[4]) / (a[0] + a[1])}, nil
}

// lines are the amplitudes of x at these frequencies, of which the first two are the tones that
// were sent.
func lines(x []float64, rate float64, freqs ...float64) ([]float64, error) {
	mustRate("intermodulation", rate, 1, math.MaxFloat64)
	if err := checkFinite(x); err != nil {
		return nil, err
	}
	// Under the Hann window, lines must lie four bins apart.
	closest := math.Inf(1)
	for i, f := range freqs {
		if !(f > 0) {
			panic(fmt.Sprintf("measure: intermodulation: a product at %v Hz", f))
		}
		if f >= rate/2 {
			return nil, notMeasurable(OutOfBand, "%.6g Hz at a rate of %.6g Hz", f, rate)
		}
		closest = min(closest, f)
		for _, g := range freqs[:i] {
			closest = min(closest, math.Abs(f-g))
		}
	}
	if need := 4 * rate / closest; float64(len(x)) < need {
		return nil, notMeasurable(TooShort, "%d samples, needs %.0f", len(x), need)
	}
	s, _, err := fitSines(x, hannOf(len(x)), rate, freqs, nil)
	if err != nil {
		return nil, err
	}
	a := make([]float64, len(freqs))
	for n := range a {
		a[n], _ = s.sine(n)
	}
	for n := range 2 {
		if a[n] <= 1e-9*largestMagnitude(x) {
			return nil, notMeasurable(NoTone, "nothing at %.6g Hz", freqs[n])
		}
	}
	return a, nil
}

// SignalToAlias is the level in dB of a distorted sine's harmonics (fundamental included) over
// everything that is no harmonic, from 20 Hz to 20 kHz: aliases and noise. x is a power of two long
// and holds exactly k0 periods in the steady state, k0 odd; an alias then never falls on a harmonic
// before order len(x)-1. The figures of this project use 2^16 points. The error is NotMeasurable:
// TooShort, NotFinite, Silence, or NoTone where nothing lies between the harmonics. It panics where
// k0 is even or under 1, the length no power of two or the rate under 1 Hz.
func SignalToAlias(x []float64, rate float64, k0 int) (float64, error) {
	mustRate("signal to alias", rate, 1, math.MaxFloat64)
	if k0 < 1 || k0%2 == 0 || len(x)&(len(x)-1) != 0 {
		panic(fmt.Sprintf("measure: signal to alias: bin %d of %d points, want an odd bin of a power of two", k0, len(x)))
	}
	if len(x) <= 2*k0 {
		return 0, notMeasurable(TooShort, "%d samples for %d periods", len(x), k0)
	}
	if err := checkFinite(x); err != nil {
		return 0, err
	}
	c := fourier.NewFFT(len(x)).Coefficients(nil, x)
	harmonics, others := 0.0, 0.0
	for k := range c {
		f := float64(k) * rate / float64(len(x))
		if f < BandLow || f > BandHigh {
			continue
		}
		if k%k0 == 0 {
			harmonics += linePower(c, k, len(x))
		} else {
			others += linePower(c, k, len(x))
		}
	}
	switch {
	case harmonics == 0:
		return 0, NotMeasurable{Reason: Silence}
	case others == 0:
		return 0, notMeasurable(NoTone, "nothing between the harmonics, not even rounding")
	}
	return powerDB(harmonics / others), nil
}
