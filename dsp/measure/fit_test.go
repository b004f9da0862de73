package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// tones is a record that can be read at any moment exactly: the sum of decaying sines, fourteen a
// second, that begin at drawn times in its first half.
func tones(n int, rate float64, at func(t float64) float64) []float64 {
	rng := rand.New(rand.NewPCG(3, 0))
	type note struct{ begin, hz float64 }
	var notes []note
	for k := range int(7 * float64(n) / rate) {
		notes = append(notes, note{(float64(k) + rng.Float64()) / 14, 80 * math.Pow(2, 5*rng.Float64())})
	}
	x := make([]float64, n)
	for k := range x {
		t := at(float64(k) / rate)
		for _, o := range notes {
			if d := t - o.begin; d > 0 {
				// squared, so that it begins without a corner
				x[k] += 0.1 * math.Pow(1-math.Exp(-300*d), 2) * math.Exp(-8*d) * math.Sin(2*math.Pi*o.hz*d)
			}
		}
	}
	return x
}

func TestFitTo(t *testing.T) {
	const rate, n = 48000.0, 5 * 24000
	x := tones(n, rate, func(t float64) float64 { return t })
	for _, c := range []struct{ lag, cents, sign float64 }{
		{0, 0, 1}, {0.003, 0, 1}, {-0.0471, 0, 1}, {0.0030103, 0, 1}, {0.00001, 0, -1}, {0, 1, 1}, {0.02, -1, 1}, {0.004, 3, 1}, {0, 1, -1},
	} {
		// y(t) = x(t - lag - drift·t), to the first order; exactly, what is read at (t - lag)/(1 +
		// drift).
		drift := math.Pow(2, c.cents/1200) - 1
		y := tones(n, rate, func(t float64) float64 { return (t - c.lag) / (1 + drift) })
		for k := range y {
			y[k] *= c.sign
		}
		f, a, b, err := FitTo(x, y, rate, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		what := fmt.Sprintf("%v ms, %v cents, sign %v", 1e3*c.lag, c.cents, c.sign)
		near(t, what+": lag", 1e3*f.Lag, 1e3*c.lag, 0.002, "ms")
		near(t, what+": drift", 1200*math.Log2(1+f.Drift), c.cents, 0.005, "cents")
		if f.Inverted != (c.sign < 0) {
			t.Errorf("%s: inverted %v", what, f.Inverted)
		}
		if c.sign < 0 {
			for k := range b {
				b[k] = -b[k]
			}
		}
		null, err := NullOf(a, b)
		if err != nil {
			t.Fatal(err)
		}
		if db, err := null.DB(); err == nil && db > -60 {
			t.Errorf("%s: %.1f dB are left, want -60 or less", what, db)
		}
	}
	// Of one clock and aligned, nothing is resampled: a bit here and there stays one.
	y := append([]float64{}, x...)
	y[n/2] += 1e-9
	if _, a, b, err := FitTo(x, y, rate, 0.05); err != nil || &a[0] != &x[0] || &b[0] != &y[0] {
		t.Errorf("records of one clock were moved (%v)", err)
	}
	// What has nothing in common is left alone.
	if f, _, b, err := FitTo(x, noise(n, 5), rate, 0.05); err != nil || f != (Fit{}) || len(b) != n {
		t.Errorf("unlike records: %+v, %v", f, err)
	}
}

// A click in one frame of four seconds is an event, and when it was is told; so is how far it lies
// over the mask. A gain of 1 dB leaves a difference of known level under the mask: where excitation
// and energy are the same, the ratio is 20·log10(10^(1/20)-1) plus what the mask lies below.
func TestEvents(t *testing.T) {
	const rate = 48000.0
	x := noise(4*48000, 1)
	for i := range x {
		x[i] *= 0.05
	}
	y := append([]float64{}, x...)
	for k := range 5 {
		y[2*48000+k] += 3
	}
	a := must[Audibility](t)(Audible(x, y, rate, 92))
	if a.Events < 1 || a.Events > 8 || a.Probability > 0.05 {
		t.Errorf("one click: %+v, want a few frames that count: two of its own, and those that it masks after", a)
	}
	near(t, "when", a.Clearest, 2, 2048/rate, "s")

	loud := make([]float64, len(x))
	for i := range x {
		loud[i] = x[i] * math.Pow(10, 1.0/20)
	}
	a = must[Audibility](t)(Audible(x, loud, rate, 92))
	// The mask lies 3 dB below up to 12 Bark and 3 to 6 beyond; spreading puts the excitation of
	// noise some 0 to 2 dB over its energy in the band.
	if want := 20 * math.Log10(math.Pow(10, 1.0/20)-1); a.NoiseToMask < want || a.NoiseToMask > want+6 {
		t.Errorf("1 dB louder: %.2f dB over the mask, want %.2f to %.2f", a.NoiseToMask, want, want+6)
	}
	if a = must[Audibility](t)(Audible(x, x, rate, 92)); a.Events != 0 || !math.IsInf(a.NoiseToMask, -1) {
		t.Errorf("the same twice: %+v", a)
	}
}
