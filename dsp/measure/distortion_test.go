package measure

import (
	"fmt"
	"math"
	"testing"
)

const tolHarmonic = 0.001 // dB

// shaped is 2^16 points of curve(sin) with k0 periods.
func shaped(k0 int, curve func(float64) float64) []float64 {
	x := make([]float64, 1<<16)
	for i := range x {
		// The phase is reduced in integers, and shifted by half a step so that no sample falls on
		// an edge of the curve.
		x[i] = curve(math.Sin(2 * math.Pi * (float64(i*k0%len(x)) + 0.5) / float64(len(x))))
	}
	return x
}

func clipAt(c float64) func(float64) float64 {
	return func(v float64) float64 { return max(-c, min(c, v)) / c }
}

// clippedHarmonic is the amplitude of odd harmonic n of a sine of amplitude 1 that is clipped at c.
// Source: Fourier integral, t = asin c: b1 = (2/π)(t + c·cos t), bn = (4/π)[(sin((n-1)t)/(n-1) -
// sin((n+1)t)/(n+1))/2 + c·cos(nt)/n].
func clippedHarmonic(c float64, n int) float64 {
	t := math.Asin(c)
	if n == 1 {
		return 2 / math.Pi * (t + c*math.Cos(t))
	}
	k := float64(n)
	return 4 / math.Pi * ((math.Sin((k-1)*t)/(k-1)-math.Sin((k+1)*t)/(k+1))/2 + c*math.Cos(k*t)/k)
}

func TestHarmonicsClosedForms(t *testing.T) {
	type shape struct {
		name     string
		curve    func(float64) float64
		first    float64             // amplitude of the fundamental
		harmonic func(n int) float64 // amplitude of harmonic n; 0 where there is none
		dc       float64
		thd      float64 // over all orders to infinity
	}
	shapes := []shape{
		{"square", func(v float64) float64 { return math.Copysign(1, v) }, 4 / math.Pi,
			func(n int) float64 { return float64(n%2) * 4 / math.Pi / float64(n) }, 0,
			math.Sqrt(math.Pi*math.Pi/8 - 1)}, // 48.343 %
		{"triangle", func(v float64) float64 { return math.Asin(v) * 2 / math.Pi }, 8 / math.Pi / math.Pi,
			func(n int) float64 { return float64(n%2) * 8 / math.Pi / math.Pi / float64(n*n) }, 0,
			math.Sqrt(math.Pow(math.Pi, 4)/96 - 1)}, // 12.115 %
		{"half wave", func(v float64) float64 { return max(0, v) }, 0.5,
			func(n int) float64 { return float64(1-n%2) * 2 / math.Pi / float64(n*n-1) }, 1 / math.Pi,
			math.Sqrt(0.5-2/math.Pi/math.Pi-0.25) * 2}, // total 1/4 - 1/π², fundamental 1/8: 43.524 %
	}
	for _, c := range []float64{0.9, 0.7071, 0.5, 0.25, 0.1} {
		total := (2*math.Asin(c)-2*c*math.Sqrt(1-c*c))/(2*math.Pi) + c*c*(1-2*math.Asin(c)/math.Pi) // mean square, by integration
		b1 := clippedHarmonic(c, 1)
		shapes = append(shapes, shape{fmt.Sprintf("clipped at %v", c), clipAt(c), b1 / c,
			func(n int) float64 { return float64(n%2) * clippedHarmonic(c, n) / c }, 0, math.Sqrt(2*total/b1/b1 - 1)})
	}
	for _, s := range shapes {
		// One period: the orders go to 32767, so that THD is that of all orders but for 0.001 dB.
		h := must[Harmonics](t)(CoherentHarmonics(shaped(1, s.curve), 65536, 1, 1<<15))
		near(t, s.name+" fundamental", 20*math.Log10(h.Amplitude[0]/s.first), 0, tolHarmonic, "dB")
		near(t, s.name+" THD", 20*math.Log10(h.THD()/s.thd), 0, tolHarmonic, "dB")
		near(t, s.name+" DC", h.DC, s.dc, 1e-6, "V")
		for n := 2; n <= 20; n++ {
			want := math.Abs(s.harmonic(n))
			if want == 0 {
				near(t, fmt.Sprintf("%s H%d", s.name, n), h.Amplitude[n-1], 0, 1e-9, "V")
				continue
			}
			near(t, fmt.Sprintf("%s H%d", s.name, n), h.LevelDB(n), 20*math.Log10(want/s.first), tolHarmonic, "dB")
		}
	}
	// Full wave: no fundamental of the input's frequency; the 4th, 6th and 8th re the 2nd are
	// -13.98, -21.34, -26.44 dB.
	h := must[Harmonics](t)(CoherentHarmonics(shaped(1, math.Abs), 65536, 2, 8))
	for n, want := range map[int]float64{2: 20 * math.Log10(3.0/15), 3: 20 * math.Log10(3.0/35), 4: 20 * math.Log10(3.0/63)} { // 1/(4n²-1)
		near(t, fmt.Sprintf("full wave H%d", 2*n), h.LevelDB(n), want, tolHarmonic, "dB")
	}
}

func TestPrintedClippedSine(t *testing.T) {
	// The published table that the closed form must agree with, to its last digit: H3 and THD.
	for _, c := range []struct{ clip, b1, h3, h5, h7, h9, thd float64 }{
		{0.9, 0.962614, -29.67, -32.81, -38.45, -50.27, 4.220},
		{math.Sqrt2 / 2, 0.818310, -17.74, -31.72, -34.65, -41.27, 13.420},
		{0.5, 0.608998, -12.91, -26.88, -35.83, -32.91, 23.294},
		{0.25, 0.314962, -10.29, -16.31, -21.88, -28.35, 35.428},
		{0.1, 0.127111, -9.66, -14.33, -17.61, -20.28, 43.040},
	} {
		h := must[Harmonics](t)(CoherentHarmonics(shaped(1, clipAt(c.clip)), 65536, 1, 1<<15))
		near(t, "b1", h.Amplitude[0]*c.clip, c.b1, 1e-6, "")
		near(t, "THD", 100*h.THD(), c.thd, 0.001, "%")
		for n, want := range map[int]float64{3: c.h3, 5: c.h5, 7: c.h7, 9: c.h9} {
			near(t, fmt.Sprintf("clip %v H%d", c.clip, n), h.LevelDB(n), want, 0.0051, "dB")
		}
	}
}

// additive is a tone with the given peak amplitudes and phases of its harmonics.
func additive(n int, rate, f, dc float64, amplitude, phase []float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = dc
		for k := range amplitude {
			x[i] += amplitude[k] * math.Sin(2*math.Pi*f*float64(k+1)*float64(i)/rate+phase[k])
		}
	}
	return x
}

func TestFitHarmonics(t *testing.T) {
	amplitude := []float64{0.3, 0.01, 0.02, 3e-5, 1e-3}
	phase := []float64{0.5, -2, 1, 3, 0}
	for _, f := range []float64{82.41, 330, 1244.508, 4186.009} {
		for _, guess := range []float64{0, 0.8, -0.8} { // in units of 1/T
			const n, rate = 9000, 48000
			x := additive(n, rate, f, 0.1, amplitude, phase)
			h := must[Harmonics](t)(FitHarmonics(x, rate, f+guess*rate/n, 5))
			name := fmt.Sprintf("%v Hz from %+v bins: ", f, guess)
			near(t, name+"frequency", h.Frequency, f, 1e-9*f, "Hz")
			near(t, name+"DC", h.DC, 0.1, 1e-9, "V")
			for k := range amplitude {
				near(t, fmt.Sprintf("%sH%d", name, k+1), 20*math.Log10(h.Amplitude[k]/amplitude[k]), 0, tolHarmonic, "dB")
				near(t, fmt.Sprintf("%sphase %d", name, k+1), math.Remainder(h.Phase[k]-phase[k], 2*math.Pi), 0, 1e-4, "rad")
			}
		}
	}
	// The phases of the DFT and of the fit are the same thing.
	x := additive(1<<12, 1<<12, 33, 0, amplitude, phase)
	h := must[Harmonics](t)(CoherentHarmonics(x, 1<<12, 33, 5))
	for k := range amplitude {
		near(t, "DFT phase", h.Phase[k], phase[k], 1e-9, "rad")
		near(t, "DFT amplitude", h.Amplitude[k], amplitude[k], 1e-12, "V")
	}
	// Noise of a known level is the residual: 1 mV under 1 V, THD+N -60 dB less the distortion.
	noisy := additive(48000, 48000, 997, 0, []float64{1}, []float64{0})
	for i, v := range noise(48000, 5) {
		noisy[i] += 1e-3 * v
	}
	h = must[Harmonics](t)(FitHarmonics(noisy, 48000, 997, 3))
	near(t, "residual", 20*math.Log10(h.Residual/1e-3), 0, 0.1, "dB") // 48000 draws: standard error 0.03 dB
}

func TestTHDN(t *testing.T) {
	db := func(x []float64, rate float64) float64 {
		return 20 * math.Log10(must[float64](t)(THDN(x, rate)))
	}
	// Second harmonic at -40 dB through the notch at u = 2: |1-u²| / sqrt((1-u²)² + u²/Q²), Q = 3:
	// 0.9762.
	notch := func(u float64) float64 { return math.Abs(1-u*u) / math.Sqrt((1-u*u)*(1-u*u)+u*u/9) }
	x := additive(48000, 48000, 997, 0, []float64{1, 0.01}, []float64{0, 1})
	near(t, "second harmonic", db(x, 48000), 20*math.Log10(0.01*notch(2)/math.Sqrt(1.0001)), 0.01, "dB")
	// What lies above 20 kHz, and the mean, do not count.
	x = additive(96000, 96000, 7001, 5, []float64{1, 0.01, 0.5, 0.5}, []float64{0, 1, 0, 0})
	near(t, "band", db(x, 96000), 20*math.Log10(0.01*notch(2)/math.Sqrt(1.0001)), 0.01, "dB")
	// In a record of 21 ms the mean's lobe would reach to 190 Hz if it were not taken out. (The
	// tone's own lobe ends 190 Hz off.)
	x = additive(1024, 48000, 997, 5, []float64{1, 0.01}, []float64{0, 1})
	near(t, "short record on a mean", db(x, 48000), 20*math.Log10(0.01*notch(2)/math.Sqrt(1.0001)), 0.1, "dB")
	// White noise of σ = 1 mV at 48 kHz: its power from 20 Hz to 20 kHz, weighted by the notch
	// (integrated numerically).
	noisy := additive(1<<19, 48000, 997, 0, []float64{1}, []float64{0})
	for i, v := range noise(1<<19, 6) {
		noisy[i] += 1e-3 * v
	}
	power := 0.0
	for f := 20.5; f < 20000; f++ {
		power += notch(f/997) * notch(f/997) * 1e-6 / 24000
	}
	near(t, "white noise", db(noisy, 48000), powerDB(power/0.5), 0.05, "dB") // standard error 0.015 dB
	if got := db(sine(48000, 48000, 997, 1, 0), 48000); got > -100 {
		t.Errorf("a pure sine has THD+N %.1f dB; the window's side lobes should leave less than -100", got)
	}
}

func TestIntermodulation(t *testing.T) {
	const rate, n = 48000, 48000
	// y = x + a·x² + b·x³ of A·sin(p) + B·sin(q): the lines at q±p have a·A·B, those at q±2p have
	// (3/4)·b·A²·B, and the tones become A + b(3/4·A³ + 3/2·A·B²) and B + b(3/4·B³ + 3/2·B·A²):
	// trigonometric identities.
	const a, b = 0.01, 0.02
	bend := func(x []float64) []float64 {
		for i, v := range x {
			x[i] = v + a*v*v + b*v*v*v
		}
		return x
	}
	two := func(f1, a1, f2, a2 float64) []float64 {
		x, y := sine(n, rate, f1, a1, 0.3), sine(n, rate, f2, a2, 1)
		for i := range x {
			x[i] += y[i]
		}
		return x
	}
	const A, B = 0.8, 0.2
	m, err := ModulationDistortion(bend(two(60, A, 7000, B)), rate, 60, 7000)
	if err != nil {
		t.Fatal(err)
	}
	top := B + b*(0.75*B*B*B+1.5*B*A*A)
	near(t, "modulation, second", 20*math.Log10(m.Second/(2*a*A*B/top)), 0, tolHarmonic, "dB")
	near(t, "modulation, third", 20*math.Log10(m.Third/(2*0.75*b*A*A*B/top)), 0, tolHarmonic, "dB")

	const C = 0.5
	d, err := DifferenceDistortion(bend(two(8000, C, 11950, C)), rate, 8000, 11950)
	if err != nil {
		t.Fatal(err)
	}
	top = C + b*2.25*C*C*C
	near(t, "difference, second", 20*math.Log10(d.Second/(a*C*C/(2*top))), 0, tolHarmonic, "dB")
	near(t, "difference, third", 20*math.Log10(d.Third/(2*0.75*b*C*C*C/(2*top))), 0, tolHarmonic, "dB")
}

func TestSignalToAlias(t *testing.T) {
	// Harmonics 1 and 3 of bin 1699 (1244.4 Hz at 48 kHz), one line between them, one above 20 kHz,
	// one below 20 Hz, and a mean.
	const n, k0 = 1 << 16, 1699
	x := make([]float64, n)
	for i := range x {
		s := func(k int) float64 { return math.Sin(2*math.Pi*float64(i*k%n)/n + float64(k)) }
		x[i] = 0.7 + s(k0) + 0.5*s(3*k0) + 1e-3*s(2*k0+1) + 0.1*s(28000) + 0.1*s(20)
	}
	near(t, "signal to alias", must[float64](t)(SignalToAlias(x, 48000, k0)), powerDB(1.25/1e-6), 1e-6, "dB")
	// Hard clipping with 20 dB of gain without oversampling: 33.4 dB at 1244 Hz, 14.5 dB at 4186
	// Hz, published baseline.
	for k0, want := range map[int]float64{1699: 33.4, 5715: 14.5} {
		clipped := shaped(k0, func(v float64) float64 { return max(-1, min(1, 10*v)) })
		near(t, fmt.Sprintf("baseline at bin %d", k0), must[float64](t)(SignalToAlias(clipped, 48000, k0)), want, 0.5, "dB")
	}
}

func TestDistortionNotMeasurable(t *testing.T) {
	zeros, short := make([]float64, 1<<14), sine(20, 48000, 1000, 1, 0)
	bad := sine(1<<14, 48000, 1000, 1, 0)
	bad[99] = math.NaN()
	for _, c := range []struct {
		name             string
		measure          func(x []float64) error
		onZeros, onShort Reason
	}{
		{"coherent", func(x []float64) error { _, err := CoherentHarmonics(x, 48000, 11, 5); return err }, NoTone, TooShort},
		{"fit", func(x []float64) error { _, err := FitHarmonics(x, 48000, 1000, 5); return err }, Silence, TooShort},
		{"THD+N", func(x []float64) error { _, err := THDN(x, 48000); return err }, Silence, TooShort},
		{"modulation", func(x []float64) error { _, err := ModulationDistortion(x, 48000, 60, 7000); return err }, NoTone, TooShort},
		{"difference", func(x []float64) error { _, err := DifferenceDistortion(x, 48000, 8000, 11950); return err }, NoTone, TooShort},
	} {
		wantReason(t, c.name+" of zeros", c.measure(zeros), c.onZeros)
		wantReason(t, c.name+" of 20 samples", c.measure(short), c.onShort)
		wantReason(t, c.name+" of a NaN", c.measure(bad), NotFinite)
	}
	_, err := SignalToAlias(zeros, 48000, 11)
	wantReason(t, "alias of zeros", err, Silence)
	_, err = SignalToAlias(bad, 48000, 11)
	wantReason(t, "alias of a NaN", err, NotFinite)
	_, err = FitHarmonics(zeros, 1000, 600, 5)
	wantReason(t, "above half the rate", err, OutOfBand)
	_, err = DifferenceDistortion(bad[200:], 16000, 8000, 11950)
	wantReason(t, "difference at 16 kHz", err, OutOfBand)
}
