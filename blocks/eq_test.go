package blocks_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// cookbook is the response at f of one band as "Cookbook formulae for audio EQ biquad filter
// coefficients", W3C Note, 2021, writes its coefficients: a second way to the numbers of package
// filter.
func cookbook(kind string, f0, gain, q, rate, f float64) complex128 {
	a := math.Pow(10, gain/40)
	w0 := 2 * math.Pi * f0 / rate
	cos, alpha := math.Cos(w0), math.Sin(w0)/(2*q)
	root := 2 * math.Sqrt(a) * alpha
	var b, d [3]float64
	switch kind {
	case "peak":
		b = [3]float64{1 + alpha*a, -2 * cos, 1 - alpha*a}
		d = [3]float64{1 + alpha/a, -2 * cos, 1 - alpha/a}
	case "low":
		b = [3]float64{a * ((a + 1) - (a-1)*cos + root), 2 * a * ((a - 1) - (a+1)*cos), a * ((a + 1) - (a-1)*cos - root)}
		d = [3]float64{(a + 1) + (a-1)*cos + root, -2 * ((a - 1) + (a+1)*cos), (a + 1) + (a-1)*cos - root}
	case "high":
		b = [3]float64{a * ((a + 1) + (a-1)*cos + root), -2 * a * ((a - 1) + (a+1)*cos), a * ((a + 1) + (a-1)*cos - root)}
		d = [3]float64{(a + 1) - (a-1)*cos + root, 2 * ((a - 1) - (a+1)*cos), (a + 1) - (a-1)*cos - root}
	}
	z := cmplx.Exp(complex(0, -2*math.Pi*f/rate))
	poly := func(p [3]float64) complex128 {
		return complex(p[0], 0) + z*(complex(p[1], 0)+z*complex(p[2], 0))
	}
	return poly(b) / poly(d)
}

// The whole block's core, from 20 Hz to 20 kHz, is its four bands' closed forms and the level,
// within 0.001 dB.
func TestEQResponse(t *testing.T) {
	const tol = 0.001 // dB
	k := blocks.Find("eq")
	for _, rate := range []float64{44100, 48000, 96000} {
		for name, s := range map[string]blocks.Settings{
			"default":  k.Defaults(),
			"smile":    k.Defaults().With("low", 12).With("low_freq", 80).With("low_mid", -9).With("low_mid_freq", 500).With("low_mid_q", 0.5).With("high", 15).With("high_freq", 8e3),
			"nasal":    k.Defaults().With("low", -18).With("low_q", 1.3).With("high_mid", 18).With("high_mid_freq", 1.2e3).With("high_mid_q", 8).With("high", -18).With("high_freq", 2e3).With("level", -6),
			"top":      k.Defaults().With("high_mid", -18).With("high_mid_freq", 8e3).With("high_mid_q", 0.3).With("high", 18).With("high_freq", 16e3).With("high_q", 2),
			"low down": k.Defaults().With("low", 18).With("low_freq", 30).With("low_mid", 18).With("low_mid_freq", 80).With("low_mid_q", 10).With("level", 20),
		} {
			t.Run(fmt.Sprintf("%v/%s", rate, name), func(t *testing.T) {
				const small = 1e-6 // V
				x := make([]float64, int(1.5*rate))
				x[0] = small
				h := run(stageOf(t, k, s, dsp.Hertz(rate)), x)
				n := s.Number
				for f := 20.0; f <= 20000; f *= math.Pow(1000, 1.0/30) {
					want := complex(dsp.FromDB(n("level")), 0) *
						cookbook("low", n("low_freq"), n("low"), n("low_q"), rate, f) *
						cookbook("peak", n("low_mid_freq"), n("low_mid"), n("low_mid_q"), rate, f) *
						cookbook("peak", n("high_mid_freq"), n("high_mid"), n("high_mid_q"), rate, f) *
						cookbook("high", n("high_freq"), n("high"), n("high_q"), rate, f)
					var got complex128
					turn, at := cmplx.Exp(complex(0, -2*math.Pi*f/rate)), complex(1/small, 0)
					for _, v := range h {
						got += complex(v, 0) * at
						at *= turn
					}
					if off := dsp.ToDB(cmplx.Abs(got) / cmplx.Abs(want)); math.Abs(off) > tol {
						t.Fatalf("%.1f Hz: %.5f dB, want %.5f dB", f, dsp.ToDB(cmplx.Abs(got)), dsp.ToDB(cmplx.Abs(want)))
					}
				}
			})
		}
	}
}

// A boost runs into the rails at 9 V and not at 18 V: 2 V with 9 dB of level is 5.64 V; the limits
// are 3 and 7.5 V. A limiter is good to -120 dB of what goes in.
func TestEQHeadroom(t *testing.T) {
	k := blocks.Find("eq")
	for supply, want := range map[float64]float64{9: 3, 18: 2 * dsp.FromDB(9)} {
		y := run(stageOf(t, k, k.Defaults().With("level", 9).With("supply", supply), 48000), steady(9600, 2))
		if math.Abs(y[9000]-want) > 6e-6 {
			t.Errorf("at %v V: %v V, want %v V", supply, y[9000], want)
		}
	}
}
