package measure

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// decaying is noise whose energy falls 60 dB in t60 seconds.
func decaying(t60, seconds, rate float64, seed uint64) []float64 {
	x := noise(int(seconds*rate), seed)
	for i := range x {
		x[i] *= math.Pow(10, -3*float64(i)/rate/t60)
	}
	return x
}

func TestDecayClosedForm(t *testing.T) {
	for _, t60 := range []float64{0.3, 1, 4} {
		const rate = 48000
		x := make([]float64, int(1.2*t60*rate))
		for i := range x {
			x[i] = math.Pow(10, -3*float64(i)/rate/t60)
			if i%2 == 1 {
				x[i] = -x[i]
			}
		}
		before := noise(20000, 1) // -50 dB and weaker: what comes before the onset does not count
		for i := range before {
			before[i] *= 1e-3
		}
		d := must[Decay](t)(MeasureDecay(append(before, x...), rate))
		k := 6 * math.Ln10 / t60 // energy falls as exp(-k·t)
		name := fmt.Sprintf("T %v s: ", t60)
		near(t, name+"EDT", d.EDT/t60, 1, 0.001, "(ratio)")
		near(t, name+"T20", d.T20/t60, 1, 0.001, "(ratio)")
		near(t, name+"T30", d.T30/t60, 1, 0.001, "(ratio)")
		near(t, name+"C80", d.C80, powerDB(math.Exp(0.08*k)-1), 0.01, "dB") // T = 1 s: 3.05 dB
		near(t, name+"D50", d.D50, 1-math.Exp(-0.05*k), 0.001, "")          // 0.499
		near(t, name+"centre", d.Centre, 1/k, 2.0/rate, "s")                // 72 ms
		if d.Bent() {
			t.Errorf("%sbent", name)
		}
	}
}

func TestDecayOfNoise(t *testing.T) {
	// Noise that decays: the backward integral of one record fluctuates, by under 1 % over T30 in
	// full band.
	for seed := range uint64(5) {
		d := must[Decay](t)(MeasureDecay(decaying(2, 2.5, 48000, seed), 48000))
		near(t, "T30 of noise", d.T30/2, 1, 0.01, "(ratio)")
		near(t, "T20 of noise", d.T20/2, 1, 0.01, "(ratio)")
	}
}

func TestBentDecay(t *testing.T) {
	// Two slopes: energy 0.9·exp(-k1·t)·k1 + 0.1·exp(-k2·t)·k2, 0.4 s and 2 s. Its backward
	// integral is known, and straight lines are fitted to that by the plain definition.
	const rate, seconds = 48000, 3
	k1, k2 := 6*math.Ln10/0.4, 6*math.Ln10/2
	x := make([]float64, seconds*rate)
	for i := range x {
		at := float64(i) / rate
		x[i] = math.Sqrt(0.9*k1*math.Exp(-k1*at) + 0.1*k2*math.Exp(-k2*at))
	}
	fit := func(from, to float64) float64 {
		var ts, ls []float64
		for i := range x {
			at := float64(i) / rate
			if l := powerDB(0.9*math.Exp(-k1*at) + 0.1*math.Exp(-k2*at)); l <= from && l >= to {
				ts, ls = append(ts, at), append(ls, l)
			}
		}
		_, slope := stat.LinearRegression(ts, ls, nil, false)
		return -60 / slope
	}
	d := must[Decay](t)(MeasureDecay(x, rate))
	near(t, "EDT", d.EDT/fit(0, -10), 1, 0.002, "(ratio)")
	near(t, "T20", d.T20/fit(-5, -25), 1, 0.002, "(ratio)")
	near(t, "T30", d.T30/fit(-5, -35), 1, 0.002, "(ratio)")
	if !d.Bent() {
		t.Errorf("T30 %.3f s over T20 %.3f s is not called bent", d.T30, d.T20)
	}
}

func TestOctaveDecay(t *testing.T) {
	// A decaying sine in the middle of each band: its T comes back within 1 %, the filter's own
	// ringing notwithstanding.
	const rate = 48000
	want := map[float64]float64{125: 2.4, 250: 2, 500: 1.7, 1000: 1.5, 2000: 1.2, 4000: 0.9, 8000: 0.6}
	for f, t60 := range want {
		x := make([]float64, 3*rate)
		for i := range x {
			x[i] = math.Pow(10, -3*float64(i)/rate/t60) * math.Cos(2*math.Pi*f*float64(i)/rate)
		}
		d := must[Decay](t)(OctaveDecay(x, rate, f))
		near(t, fmt.Sprintf("T30 at %v Hz", f), d.T30/t60, 1, 0.01, "(ratio)")
		near(t, fmt.Sprintf("T20 at %v Hz", f), d.T20/t60, 1, 0.01, "(ratio)")
	}
	// A short decay in a low band, 0.06 s at 125 Hz: run forwards, the filter's own ringing makes
	// it 4 % longer.
	short := make([]float64, rate)
	for i := range short {
		short[i] = math.Pow(10, -3*float64(i)/rate/0.06) * math.Cos(2*math.Pi*125*float64(i)/rate)
	}
	d := must[Decay](t)(OctaveDecay(short, rate, 125))
	near(t, "short T30 at 125 Hz", d.T30/0.06, 1, 0.02, "(ratio)")
}

func TestOctaveFilter(t *testing.T) {
	// SciPy 1.10.1: butter(3, [1000*10**-.15, 1000*10**.15], 'bandpass', fs=48000, output='sos'),
	// then sosfreqz at these frequencies.
	f, err := newOctaveFilter(48000, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for hz, want := range octaveResponse {
		g := 0.0
		for i := range f {
			g += powerDB(f[i].power(2 * math.Pi * hz / 48000))
		}
		near(t, fmt.Sprintf("filter at %v Hz", hz), g, want, 1e-6, "dB")
	}
}

// TestOctaveFilterClass checks the class 1 limits of IEC 61260-1:2014 Table 1 for octave bands at
// the band's breakpoints (values from memory): exponent of G = 10^0.3 from the middle, least and
// greatest attenuation in dB.
func TestOctaveFilterClass(t *testing.T) {
	for _, centre := range []float64{125, 1000, 8000} {
		f, err := newOctaveFilter(48000, centre)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct{ octaves, least, most float64 }{
			{0, -0.4, 0.4}, {0.125, -0.4, 0.5}, {0.25, -0.4, 0.7}, {0.375, -0.4, 1.4}, {0.499, -0.4, 5.3}, {0.501, 1.6, math.Inf(1)},
			{1, 16.6, math.Inf(1)}, {2, 40.5, math.Inf(1)}, {3, 60, math.Inf(1)},
		} {
			for _, side := range []float64{-1, 1} {
				hz := centre * math.Pow(10, 0.3*c.octaves*side)
				if hz > 23000 {
					continue
				}
				a := 0.0
				for i := range f {
					a -= powerDB(f[i].power(2 * math.Pi * hz / 48000))
				}
				if a < c.least || a > c.most {
					t.Errorf("octave at %v Hz: attenuation at %.1f Hz is %.2f dB, class 1 is %v to %v", centre, hz, a, c.least, c.most)
				}
			}
		}
	}
}

func TestDecayNotMeasurable(t *testing.T) {
	for name, c := range map[string]struct {
		x    []float64
		want Reason
	}{
		"silence":        {make([]float64, 48000), Silence},
		"nothing":        {nil, Silence},
		"short":          {decaying(1, 0.05, 48000, 1), TooShort},
		"steady noise":   {noise(48000, 1), LowRange},
		"cut at 30 dB":   {decaying(2, 1, 48000, 1), LowRange},
		"a lone impulse": {append([]float64{1}, make([]float64, 48000)...), TooShort},
		"NaN":            {[]float64{math.NaN()}, NotFinite},
	} {
		_, err := MeasureDecay(c.x, 48000)
		wantReason(t, name, err, c.want)
	}
	_, err := OctaveDecay(decaying(1, 1, 48000, 1), 48000, 20000)
	wantReason(t, "octave at 20 kHz", err, OutOfBand)
}

var octaveResponse = map[float64]float64{ // Hz to dB
	125:  -62.86243866,
	250:  -43.53215346,
	500:  -19.71409857,
	707:  -3.062864824,
	800:  -0.2864046479,
	1000: -1.456134474e-13,
	1200: -0.08455359827,
	1414: -3.051124805,
	2000: -19.8221143,
	4000: -44.11334995,
	8000: -65.38707693,
}
