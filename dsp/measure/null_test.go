package measure

import (
	"math"
	"testing"
)

func TestNull(t *testing.T) {
	// 20 kHz of the band holds a sine and its thousandth part; what is added at 22 kHz only counts
	// without the band.
	const n, rate = 1 << 15, 1 << 16
	a := sine(n, rate, 1000, 1, 0)
	b := sine(n, rate, 1000, 1.001, 0)
	for i, v := range sine(n, rate, 22000, 0.01, 0) {
		b[i] += v
	}
	full, err := NullOf(a, b)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "full band", must[float64](t)(full.DB()), powerDB(1e-6+1e-4), 1e-6, "dB") // closed form
	band, err := BandNull(a, b, rate, BandLow, BandHigh)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "in the band", must[float64](t)(band.DB()), -60, 1e-6, "dB")
	near(t, "RMS of the reference", band.Reference, math.Sqrt(0.5), 1e-9, "V")
	// A length that is no power of two: noise, padded; level of the difference is the gain's.
	x := noise(30000, 1)
	y := make([]float64, len(x))
	for i := range x {
		y[i] = 0.99 * x[i]
	}
	band, err = BandNull(x, y, 48000, BandLow, BandHigh)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "padded", must[float64](t)(band.DB()), -40, 1e-6, "dB")
	near(t, "power in the band", band.Reference*band.Reference, 19980.0/24000, 0.02, "V²") // white noise of variance 1
}

func TestAlign(t *testing.T) {
	x := noise(5000, 2)
	for _, lag := range []int{0, 1, -1, 333, -470} {
		for _, sign := range []float64{1, -1} {
			y := make([]float64, 6000)
			for i := range x {
				if k := i + lag; k >= 0 {
					y[k] = sign * 0.3 * x[i]
				}
			}
			got, err := Align(x, y, 480)
			if err != nil {
				t.Fatal(err)
			}
			if got.Lag != lag || got.Inverted != (sign < 0) || got.Correlation < 0.9 {
				t.Errorf("lag %d sign %v: got %+v", lag, sign, got)
			}
		}
	}
	// A rotated record fits by the part that has not come round: 3000 of 4096 samples.
	ring := noise(4096, 3)
	turned, err := Align(ring, append(append([]float64(nil), ring[1096:]...), ring[:1096]...), 1200)
	if err != nil {
		t.Fatal(err)
	}
	if turned.Lag != -1096 {
		t.Errorf("rotated: lag %d, want -1096", turned.Lag)
	}
	near(t, "correlation of the rotated", turned.Correlation, 3000.0/4096, 0.03, "")
	same, err := Align(x, x, 10)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "correlation with itself", same.Correlation, 1, 1e-12, "")
}

func TestNullNotMeasurable(t *testing.T) {
	x, z := noise(100, 1), make([]float64, 100)
	_, err := NullOf(x, x[1:])
	wantReason(t, "lengths", err, Unequal)
	_, err = NullOf(nil, nil)
	wantReason(t, "nothing", err, TooShort)
	_, err = NullOf(z, x)
	wantReason(t, "silent reference", err, Silence)
	_, err = BandNull(x, []float64{99: math.NaN()}, 48000, 20, 20000)
	wantReason(t, "NaN", err, NotFinite)
	n, err := NullOf(x, x)
	if err != nil {
		t.Fatal(err)
	}
	_, err = n.DB()
	wantReason(t, "identical", err, NoDifference)
	_, err = Align(z, x, 10)
	wantReason(t, "align silence", err, Silence)
	_, err = Align(nil, x, 10)
	wantReason(t, "align nothing", err, TooShort)
	_, err = Align(x, []float64{math.Inf(1)}, 10)
	wantReason(t, "align infinity", err, NotFinite)
}
