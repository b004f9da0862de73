package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// gainAt is the gain of a stage at frequencies of whole periods in a second, once it has come to rest.
func gainAt(t *testing.T, k *blocks.Kind, s blocks.Settings, rate, amplitude, f float64) float64 {
	t.Helper()
	n := int(rate)
	y := run(stageOf(t, k, s, dsp.Hertz(rate)), tone(2*n, amplitude, f, rate))
	return partial(y[n/2:][:n], f, rate) / amplitude
}

// Standing still, it is a comb: |1 - mix + mix·exp(-i·2π·f·delay)|, at mix 50 % |cos(π·f·delay)|. Closed form; the line's stated
// error is -85 dB. 12.345 ms is no whole number of samples.
func TestChorusComb(t *testing.T) {
	k := blocks.Find("chorus")
	for _, c := range []struct{ rate, delay, mix float64 }{{48000, 12.345e-3, 0.5}, {48000, 10e-3, 0.5}, {44100, 7.77e-3, 0.3}, {48000, 20e-3, 0}, {48000, 20e-3, 1}} {
		s := k.Defaults().With("depth", 0).With("delay", c.delay).With("mix", c.mix)
		for _, f := range []float64{100, 150, 440, 1013, 5003, 12007, 16001} {
			want := cmplx.Abs(complex(1-c.mix, 0) + complex(c.mix, 0)*cmplx.Exp(complex(0, -2*math.Pi*f*c.delay)))
			if got := gainAt(t, k, s, c.rate, 0.1, f); math.Abs(got-want) > 6e-5 {
				t.Errorf("%+v: gain at %v Hz is %.6f, want %.6f", c, f, got, want)
			}
		}
	}
}

// The second voice alone is a vibrato: of a tone with the modulation index b = 2π·f·depth, the carrier is J0(b) and the sidebands are Jn(b) (closed form of
// phase modulation).
func TestChorusSidebands(t *testing.T) {
	const rate, f, lfo, depth = 48000, 500, 4, 0.5e-3
	k := blocks.Find("chorus")
	y := run(stageOf(t, k, k.Defaults().With("mix", 1).With("rate", lfo).With("depth", depth), rate), tone(2*rate, 1, f, rate))
	for n := 0; n <= 4; n++ {
		want := math.Abs(math.Jn(n, 2*math.Pi*f*depth))
		if got := partial(y[rate/2:][:rate], f+float64(n)*lfo, rate); math.Abs(got-want) > 1e-4 {
			t.Errorf("sideband %d is %.6f, want %.6f", n, got, want)
		}
	}
}
