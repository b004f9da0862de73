package blocks_test

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"drywire/blocks"
)

// Standing still at its shortest delay, it is a comb with feedback: 1 - mix + mix·d/(1 -
// feedback·d), d = exp(-i·2π·f·delay). Closed form; what the line errs, -85 dB, feedback raises by
// up to 1/(1 - |feedback|)².
func TestFlangerComb(t *testing.T) {
	k := blocks.Find("flanger")
	for _, c := range []struct{ rate, delay, feedback, mix float64 }{
		{48000, 0.3e-3, 0, 0.5}, {44100, 0.3e-3, 0.5, 0.5}, {48000, 1.2345e-3, 0.8, 0.5}, {48000, 1.2345e-3, -0.8, 0.4}, {48000, 5e-3, -0.5, 1},
	} {
		s := k.Defaults().With("depth", 0).With("delay", c.delay).With("feedback", c.feedback).With("mix", c.mix)
		for _, f := range []float64{100, 405, 811, 1013, 1667, 5003, 12007, 16001} {
			d := cmplx.Exp(complex(0, -2*math.Pi*f*c.delay))
			want := cmplx.Abs(complex(1-c.mix, 0) + complex(c.mix, 0)*d/(1-complex(c.feedback, 0)*d))
			bound := 6e-5 / math.Pow(1-math.Abs(c.feedback), 2)
			if got := gainAt(t, k, s, c.rate, 0.05, f); math.Abs(got-want) > bound {
				t.Errorf("%+v: gain at %v Hz is %.6f, want %.6f", c, f, got, want)
			}
		}
	}
}

// It sweeps from the shortest delay to the longest at half a cycle: an impulse at either moment
// comes back so much later.
func TestFlangerSweep(t *testing.T) {
	const rate = 48000
	k := blocks.Find("flanger")
	s := k.Defaults().With("rate", 0.5).With("delay", 1e-3).With("depth", 4e-3).With("feedback", 0).With("mix", 1)
	for _, c := range []struct{ at, want float64 }{{0, 1e-3}, {0.5, 3e-3}, {1, 5e-3}, {1.5, 3e-3}, {2, 1e-3}} {
		x := make([]float64, int((c.at+0.1)*rate))
		at := int(c.at * rate)
		x[at] = 1
		y := run(stageOf(t, k, s, rate), x)
		top := slices.Index(y, slices.Max(y))
		// 4 ms in a second: while the impulse runs through, and while the input amplifier's filter
		// holds it, the delay moves by 0.03 ms.
		if got := float64(top-at) / rate; math.Abs(got-c.want) > 0.04e-3 {
			t.Errorf("after %v s the delay is %.4f ms, want %v ms", c.at, 1e3*got, 1e3*c.want)
		}
	}
}

// However much feedback, the line holds no more than what the amplifiers give, 3 V at 9 V: a tone
// on a peak of the comb, 1/(1 - 0.95) high, is down by 0.95 with each run as soon as it ends. A
// tenth is for what an edge rings.
func TestFlangerFeedback(t *testing.T) {
	const rate, runs = 48000, 20
	k := blocks.Find("flanger")
	s := k.Defaults().With("depth", 0).With("delay", 0.5e-3).With("feedback", 0.95).With("mix", 1)
	x := append(tone(rate, 3, 2000, rate), make([]float64, rate/10)...)
	y := run(stageOf(t, k, s, rate), x)
	if top := slices.Max(y); top < 2.9 || top > 3.3 {
		t.Errorf("it reaches %v V", top)
	}
	if after, most := slices.Max(y[rate+runs*rate/2000:]), 1.1*3*math.Pow(0.95, runs); after > most {
		t.Errorf("%v V after %d runs, want %v V at most", after, runs, most)
	}
}
