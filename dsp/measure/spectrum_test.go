package measure

import (
	"fmt"
	"math"
	"testing"
)

func TestWelch(t *testing.T) {
	// SciPy 1.10.1: n = np.arange(1000); x = np.sin(0.1*n) + 0.5*np.cos(0.7*n + 0.001*n*n) + 0.25;
	// scipy.signal.welch(x, 8000, window='hann', nperseg=64, noverlap=32, detrend=False)[1]
	want := []float64{0.00106793448264894, 0.00285112031703204, 0.000704640452835084, 2.80270060324497e-08, 3.40281166226984e-09,
		1.10140601103456e-08, 2.51813320638173e-07, 1.10567683691357e-05, 4.2229286199298e-05, 5.09705499392335e-05, 5.11246173166141e-05,
		5.11288456431774e-05, 5.11328486898922e-05, 5.11340215297008e-05, 5.11328125803006e-05, 5.11314973430404e-05, 5.11327035639491e-05,
		5.1133494405907e-05, 5.11323177792183e-05, 5.11322880596713e-05, 5.1133299535541e-05, 5.11329040510837e-05, 5.11319079762171e-05,
		5.11324866022234e-05, 5.11285847559353e-05, 5.10841686379168e-05, 4.92327421320834e-05, 2.6030069925448e-05, 2.10323866823565e-06,
		4.94921929532483e-08, 3.06261090632924e-09, 4.05001724754372e-10, 5.9543183040736e-11}
	x := make([]float64, 1000)
	for i := range x {
		n := float64(i)
		x[i] = math.Sin(0.1*n) + 0.5*math.Cos(0.7*n+0.001*n*n) + 0.25
	}
	s := must[Spectrum](t)(Welch(x, 8000, 64))
	if len(s.Density) != len(want) || s.Step != 125 {
		t.Fatalf("%d lines of %v Hz, want %d of 125", len(s.Density), s.Step, len(want))
	}
	for k := range want {
		near(t, fmt.Sprintf("line %d", k), s.Density[k]/want[k], 1, 1e-9, "(ratio)")
	}
}

func TestWelchPower(t *testing.T) {
	// More segments than are worked on at once; mean square of the parts is known: 0.5 and 0.25².
	x := sine(1<<18, 48000, 3000, 1, 0) // a line of the transform of 1024 points
	for i := range x {
		x[i] += 0.25
	}
	s := must[Spectrum](t)(Welch(x, 48000, 1024))
	near(t, "all", s.Power(0, 24000), 0.5+0.0625, 1e-12, "V²")
	near(t, "around the sine", s.Power(2500, 3500), 0.5, 1e-6, "V²")
	near(t, "centroid", must[float64](t)(s.Centroid(100, 20000)), 3000, 0.01, "Hz")
}

func TestThirdOctaves(t *testing.T) {
	// A flat density of 1 V²/Hz holds in each band its width, centre·(10^(1/20) - 10^(-1/20)):
	// closed form.
	flat := Spectrum{Step: 1, Density: make([]float64, 24001)}
	for k := range flat.Density {
		flat.Density[k] = 1
	}
	bands := flat.ThirdOctaves()
	if len(bands) != 31 {
		t.Fatalf("%d bands, want 31 from 20 Hz to 20 kHz", len(bands))
	}
	near(t, "lowest centre", bands[0].Centre, 19.952623, 1e-6, "Hz") // 1000·10^(-17/10)
	near(t, "highest centre", bands[30].Centre, 19952.623, 1e-3, "Hz")
	for i, b := range bands {
		near(t, fmt.Sprintf("band at %.1f Hz", b.Centre), must[float64](t)(b.LevelDB()), powerDB(b.Centre*(math.Pow(10, 0.05)-math.Pow(10, -0.05))), 1e-9, "dB")
		if i > 0 && math.Abs(b.Low-bands[i-1].High) > 1e-9*b.Low {
			t.Errorf("a gap below the band at %.1f Hz", b.Centre)
		}
	}
	near(t, "centroid of flat", must[float64](t)(flat.Centroid(100, 300)), 200, 1e-9, "Hz")
	// A sine in the middle of a band is in that band alone, with its power of one half.
	s := must[Spectrum](t)(Welch(sine(1<<17, 48000, 1000, 1, 0), 48000, 1<<13))
	for _, b := range s.ThirdOctaves() {
		if math.Abs(b.Centre-1000) < 1 {
			near(t, "the band of a sine", must[float64](t)(b.LevelDB()), -3.0103, 0.001, "dB")
		} else if level, err := b.LevelDB(); err == nil && level > -80 {
			t.Errorf("band at %.1f Hz has %.1f dB of a 1 kHz sine", b.Centre, level)
		}
	}
	if n := len(s.ThirdOctaves()); n != 31-8 { // width 0.2307·centre is under four lines of 5.86 Hz for the eight bands from 20 to 100 Hz
		t.Errorf("%d bands from lines of %.3g Hz, want 23", n, s.Step)
	}
}

func TestSpectrumNotMeasurable(t *testing.T) {
	_, err := Welch(make([]float64, 1023), 48000, 1024)
	wantReason(t, "short", err, TooShort)
	x := make([]float64, 2048)
	s := must[Spectrum](t)(Welch(x, 48000, 1024))
	_, err = s.Centroid(20, 20000)
	wantReason(t, "centroid of silence", err, Silence)
	_, err = s.ThirdOctaves()[0].LevelDB()
	wantReason(t, "band of silence", err, Silence)
	x[5] = math.Inf(1)
	_, err = Welch(x, 48000, 1024)
	wantReason(t, "infinity", err, NotFinite)
	x[5] = 1e300
	_, err = Welch(x, 48000, 1024)
	wantReason(t, "overflow", err, NotFinite)
}
