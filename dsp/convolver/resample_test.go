package convolver

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
)

// transform is that of a response whose sample lead is at the time zero.
func transform(h []float64, lead int, f, rate float64) (sum complex128) {
	for k, v := range h {
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*f/rate*float64(k-lead)))
	}
	return sum
}

// A resampled response is the same filter: of decaying tones that start at once, with all the band
// that they have, magnitude and phase against the transform in closed form of what was resampled, Σ
// of geometric series. The bound is what the window's 100 dB leave.
func TestResample(t *testing.T) {
	response := func(rate float64) (h []float64) {
		h = make([]float64, int(0.05*rate))
		for n := range h {
			at := float64(n) / rate
			h[n] = math.Exp(-at/3e-3)*math.Cos(2*math.Pi*700*at) - 0.5*math.Exp(-at/1e-3)*math.Cos(2*math.Pi*5000*at)
		}
		return h
	}
	closed := func(rate, f float64) (sum complex128) {
		for _, p := range []struct{ a, f, t float64 }{{1, 700, 3e-3}, {-0.5, 5000, 1e-3}} {
			for _, sign := range []float64{1, -1} {
				q := cmplx.Exp(complex(-1/p.t/rate, 2*math.Pi*(sign*p.f-f)/rate))
				sum += complex(p.a/2, 0) * (1 - cmplx.Pow(q, complex(math.Floor(0.05*rate), 0))) / (1 - q)
			}
		}
		return sum
	}
	for _, c := range []struct{ from, to float64 }{{44100, 48000}, {48000, 44100}, {48000, 96000}, {192000, 48000}, {22050, 48000}, {384000, 44100}, {22050, 192000}, {48000, 48000}} {
		h, lead := Resample(response(c.from), dsp.Hertz(c.from), dsp.Hertz(c.to))
		if c.from == c.to && (lead != 0 || len(h) != int(0.05*c.from)) {
			t.Errorf("the same rate: %d samples, the first %d before time zero", len(h), lead)
		}
		worst := 0.0
		for f := 20.0; f < 0.45*math.Min(c.from, c.to); f *= 1.07 {
			// No impulse response of either rate, but a filter: the sum over samples of one of the
			// rates.
			want := closed(c.from, f)
			worst = math.Max(worst, cmplx.Abs(transform(h, lead, f, c.to)-want)/cmplx.Abs(want))
		}
		t.Logf("%v to %v Hz: %.1f dB", c.from, c.to, dsp.ToDB(worst))
		if worst > 1e-4 {
			t.Errorf("%v to %v Hz: differs by %.1f dB, want -80 dB", c.from, c.to, dsp.ToDB(worst))
		}
	}
	// Nothing of what the lower rate has no room for.
	h := []float64{1}
	down, lead := Resample(h, 96000, 48000)
	if got := cmplx.Abs(transform(down, lead, 23999, 48000)); got > 0.003 {
		t.Errorf("at half the lower rate %.5f is left", got)
	}
	up, lead := Resample(h, 48000, 96000)
	for f := 24000.0; f < 48000; f += 500 {
		if got := cmplx.Abs(transform(up, lead, f, 96000)); got > 2e-5 {
			t.Errorf("at %v Hz, which the lower rate does not have, %.6f", f, got)
		}
	}
}
