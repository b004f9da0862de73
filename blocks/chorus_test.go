package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// gainAt is the gain of a stage at frequencies of whole periods in a second, once it has come to
// rest.
func gainAt(t *testing.T, k *blocks.Kind, s blocks.Settings, rate, amplitude, f float64) float64 {
	t.Helper()
	n := int(rate)
	y := run(stageOf(t, k, s, dsp.Hertz(rate)), tone(2*n, amplitude, f, rate))
	return partial(y[n/2:][:n], f, rate) / amplitude
}

// Standing still, it is a comb: |1 - mix + mix·exp(-i·2π·f·delay)|, at mix 50 % |cos(π·f·delay)|.
// Closed form; the line's stated error is -85 dB. 12.345 ms is no whole number of samples.
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

// The second voice alone is a vibrato: of a tone with the modulation index b = 2π·f·depth, the
// carrier is J0(b) and the sidebands are Jn(b) (closed form of phase modulation).
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

// inStereo sends a signal through a chorus in stereo in calls of that length, and takes the latency
// back.
func inStereo(t *testing.T, s blocks.Settings, x []float64, call int) (left, right []float64) {
	t.Helper()
	core := stageOf(t, blocks.Find("chorus"), s.WithWord("stereo", "on"), 48000).New()
	late := core.Latency()
	in := append(append([]float64(nil), x...), make([]float64, late)...)
	left, right = make([]float64, len(in)), make([]float64, len(in))
	for at := 0; at < len(in); at += call {
		end := min(at+call, len(in))
		core.Process([][]float64{left[at:end], right[at:end]}, [][]float64{in[at:end]})
	}
	return left[late:], right[late:]
}

// In stereo the first output is the mono chorus to the last bit, whatever the call length, and the
// outputs are aligned: with nothing but dry sound they are one. Of a tone, the second output's
// voice alone has the sidebands of a modulation half a turn later: J0 and Jn as the first's, those
// of odd n the other way round, so that the mean of both has J0 and J2 and no J1 (closed form of
// phase modulation).
func TestChorusStereo(t *testing.T) {
	const rate, f, sway, depth = 48000, 500, 4, 0.5e-3
	k := blocks.Find("chorus")
	x := tone(2*rate, 0.3, f, rate)
	mono := run(stageOf(t, k, k.Defaults(), rate), x)
	left, right := inStereo(t, k.Defaults(), x, len(x)+1e6)
	l7, r7 := inStereo(t, k.Defaults(), x, 7)
	same := true
	for n := range mono {
		if left[n] != mono[n] || l7[n] != left[n] || r7[n] != right[n] {
			t.Fatalf("sample %d: left %v, mono %v; in calls of 7 %v; right %v, in calls of 7 %v", n, left[n], mono[n], l7[n], right[n], r7[n])
		}
		same = same && left[n] == right[n]
	}
	if same {
		t.Error("both outputs are one")
	}
	left, right = inStereo(t, k.Defaults().With("mix", 0), x, 64)
	for n := range left {
		if left[n] != right[n] {
			t.Fatalf("sample %d: %v and %v of the same dry sound", n, left[n], right[n])
		}
	}
	left, right = inStereo(t, k.Defaults().With("mix", 1).With("rate", sway).With("depth", depth), tone(2*rate, 1, f, rate), 479)
	mean := make([]float64, len(left))
	for n := range mean {
		mean[n] = (left[n] + right[n]) / 2
	}
	for n := 0; n <= 3; n++ {
		want := math.Abs(math.Jn(n, 2*math.Pi*f*depth))
		both := want
		if n%2 == 1 {
			both = 0
		}
		at := f + float64(n)*sway
		if r, m := partial(right[rate/2:][:rate], at, rate), partial(mean[rate/2:][:rate], at, rate); math.Abs(r-want) > 1e-4 || math.Abs(m-both) > 1e-4 {
			t.Errorf("sideband %d is %.6f at the second output, want %.6f; %.6f in the mean, want %.6f", n, r, want, m, both)
		}
	}
}
