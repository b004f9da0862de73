package measure

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// class1 is IEC 61672-1:2013 Table 3: n of the frequency 1000·10^(n/10), the A weighting and the
// class 1 limits in dB.
var class1 = []struct{ n, db, above, below float64 }{
	{-20, -70.4, 3, math.Inf(1)}, {-19, -63.4, 2.5, math.Inf(1)}, {-18, -56.7, 2, 4}, {-17, -50.5, 2, 2}, {-16, -44.7, 2, 1.5}, {-15, -39.4, 1.5, 1.5},
	{-14, -34.6, 1, 1}, {-13, -30.2, 1, 1}, {-12, -26.2, 1, 1}, {-11, -22.5, 1, 1}, {-10, -19.1, 1, 1}, {-9, -16.1, 1, 1}, {-8, -13.4, 1, 1},
	{-7, -10.9, 1, 1}, {-6, -8.6, 1, 1}, {-5, -6.6, 1, 1}, {-4, -4.8, 1, 1}, {-3, -3.2, 1, 1}, {-2, -1.9, 1, 1}, {-1, -0.8, 1, 1}, {0, 0, 0.7, 0.7},
	{1, 0.6, 1, 1}, {2, 1.0, 1, 1}, {3, 1.2, 1, 1}, {4, 1.3, 1, 1}, {5, 1.2, 1, 1}, {6, 1.0, 1, 1}, {7, 0.5, 1.5, 1.5}, {8, -0.1, 1.5, 2},
	{9, -1.1, 1.5, 2.5}, {10, -2.5, 2, 3}, {11, -4.3, 2, 5}, {12, -6.6, 2.5, 16}, {13, -9.3, 3, math.Inf(1)},
}

func TestAWeightingCurve(t *testing.T) {
	for _, c := range class1 {
		f := 1000 * math.Pow(10, c.n/10)
		near(t, fmt.Sprintf("curve at %.1f Hz", f), AWeightingDB(f), c.db, 0.0501, "dB") // the table's rounding
	}
	if v := AWeightingDB(0); !math.IsInf(v, -1) {
		t.Errorf("curve at 0 Hz: %v, want -Inf", v)
	}
}

func TestAWeightingFilter(t *testing.T) {
	for _, rate := range []float64{44100, 48000, 88200, 96000, 176400, 192000} {
		// The impulse response, transformed: what the samples see, not what the coefficients
		// promise.
		const size = 1 << 18
		x := make([]float64, size)
		x[0] = 1
		NewAWeighting(rate).Process(x, x)
		c := fourier.NewFFT(size).Coefficients(nil, x)
		gain := func(k int) float64 { return 20 * math.Log10(cmplx.Abs(c[k])) }
		worst, at := 0.0, 0.0
		for k := int(10*size/rate) + 1; float64(k)*rate/size <= 16000; k++ {
			f := float64(k) * rate / size
			if d := math.Abs(gain(k) - AWeightingDB(f)); d > worst {
				worst, at = d, f
			}
		}
		t.Logf("rate %v: at most %.4f dB off the curve, at %.1f Hz", rate, worst, at)
		if worst > 0.01 {
			t.Errorf("rate %v: %.4f dB off the curve at %.1f Hz, allowed 0.01", rate, worst, at)
		}
		for _, p := range class1 {
			f := 1000 * math.Pow(10, p.n/10)
			got := gain(int(math.Round(f * size / rate)))
			exact := AWeightingDB(math.Round(f*size/rate) * rate / size)
			if got > exact+p.above || got < exact-p.below {
				t.Errorf("rate %v: %.2f dB at %.1f Hz, class 1 is %.2f +%v/-%v", rate, got, f, exact, p.above, p.below)
			}
		}
	}
}

func TestAWeightingPieces(t *testing.T) {
	x := noise(5000, 9)
	all := make([]float64, len(x))
	a := NewAWeighting(48000)
	a.Process(all, x)
	a.Reset()
	at := 0
	inPieces(x, func(p []float64) {
		y := make([]float64, len(p))
		a.Process(y, p)
		for i := range y {
			if y[i] != all[at+i] {
				t.Fatalf("sample %d: %v in pieces, %v in one call", at+i, y[i], all[at+i])
			}
		}
		at += len(p)
	})
	near(t, "A-weighted sine", 20*math.Log10(must[float64](t)(AWeighted(sine(480000, 48000, 100, 1, 0), 48000))), -3.0103+AWeightingDB(100), 0.02, "dB")
	_, err := AWeighted([]float64{math.NaN()}, 48000)
	wantReason(t, "NaN", err, NotFinite)
	_, err = AWeighted(nil, 48000)
	wantReason(t, "nothing", err, TooShort)
}

func TestNoiseWeighting(t *testing.T) {
	// ITU-R BS.468-4, Table 1, rounded to 0.1 dB (from memory).
	for _, c := range []struct{ hz, db float64 }{
		{31.5, -29.9}, {63, -23.9}, {100, -19.8}, {200, -13.8}, {400, -7.8}, {800, -1.9}, {1000, 0}, {2000, 5.6}, {3150, 9.0}, {4000, 10.5},
		{5000, 11.7}, {6300, 12.2}, {7100, 12.0}, {8000, 11.4}, {9000, 10.1}, {10000, 8.1}, {12500, 0}, {14000, -5.3}, {16000, -11.7}, {20000, -22.2},
	} {
		near(t, fmt.Sprintf("noise weighting at %v Hz", c.hz), NoiseWeightingDB(c.hz), c.db, 0.1, "dB")
	}
	// AES17: unity at 2 kHz after the shift; a 1 kHz tone reads its level less 5.63 dB.
	near(t, "CCIR-RMS at 2 kHz", NoiseWeightingDB(2000)+noiseShift, 0, 0.01, "dB")
	s := must[Spectrum](t)(Welch(sine(1<<17, 48000, 1000, 1, 0), 48000, 1<<15))
	near(t, "tone at 1 kHz", 20*math.Log10(s.IdleNoise()), -3.0103-5.63, 0.01, "dB")
	near(t, "A-weighted tone", 20*math.Log10(s.WeightedRMS(AWeightingDB)), -3.0103, 0.01, "dB")
}
