package blocks_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// An impulse comes back at every multiple of the time, each repeat softer by the feedback (95 % at 10, in proportion) and, at the tone's
// frequency, by another 3 dB: closed forms of a geometric series and of a low-pass of first order.
func TestDelayRepeats(t *testing.T) {
	const rate = 48000
	k := blocks.Find("delay")
	for _, c := range []struct{ time, repeats, tone float64 }{{0.38, 4, 4e3}, {0.1, 10, 16e3}, {0.02, 7.5, 6e3}, {1.5, 0, 4e3}, {0.01, 5, 10e3}} {
		t.Run(fmt.Sprintf("%v s", c.time), func(t *testing.T) {
			const small, mix = 1e-3, 0.3
			s := k.Defaults().With("time", c.time).With("repeats", c.repeats).With("tone", c.tone).With("mix", mix)
			x := make([]float64, int(6.5*c.time*rate))
			x[0] = small
			y := run(stageOf(t, k, s, rate), x)
			if math.Abs(y[0]/small-(1-mix)) > 1e-12 {
				t.Errorf("dry %v, want %v", y[0]/small, 1-mix)
			}
			each := int(math.Round(c.time * rate))
			feedback := 0.95 * c.repeats / 10
			for n := 1; n <= 6; n++ {
				// A low-pass only lags: all of a repeat lies between its time and the next one's.
				repeat := y[n*each : min((n+1)*each, len(y))]
				if n == 1 && slices.ContainsFunc(y[1:each], func(v float64) bool { return v != 0 }) {
					t.Error("something sounds before the first repeat")
				}
				var steady, at complex128
				for j, v := range repeat {
					steady += complex(v, 0)
					at += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*c.tone*float64(j)/rate))
				}
				level := small * mix * math.Pow(feedback, float64(n-1))
				if got := real(steady); math.Abs(got-level) > 1e-6*small {
					t.Errorf("repeat %d: %v V·samples, want %v", n, got, level)
				}
				if dark := level * math.Pow(0.5, float64(n)/2); math.Abs(cmplx.Abs(at)-dark) > 1e-6*small {
					t.Errorf("repeat %d at %v Hz: %v V·samples, want %v", n, c.tone, cmplx.Abs(at), dark)
				}
			}
		})
	}
}

// The shortest times are as exact, at every rate: the first sample that is not dry.
func TestDelayTime(t *testing.T) {
	k := blocks.Find("delay")
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		for _, time := range []float64{1e-3, 2e-3, 2.4e-3, 3e-3, 4.2e-3, 4.6e-3, 10e-3, 2} {
			x := make([]float64, int(time*rate)+100)
			x[0] = 1e-3
			y := run(stageOf(t, k, k.Defaults().With("time", time), dsp.Hertz(rate)), x)
			got := 1 + slices.IndexFunc(y[1:], func(v float64) bool { return v != 0 })
			if want := int(math.Round(time * rate)); got != want {
				t.Errorf("%v Hz, %v s: the first repeat is at sample %d, want %d", rate, time, got, want)
			}
		}
	}
}

// The converter clips the repeats and not the dry sound; with feedback the loop stays under it.
func TestDelayHeadroom(t *testing.T) {
	const rate = 48000
	k := blocks.Find("delay")
	tone := make([]float64, 2*rate)
	for n := range tone {
		tone[n] = 4 * math.Sin(2*math.Pi*220*float64(n)/rate)
	}
	s := k.Defaults().With("supply", 18).With("headroom", 1).With("time", 0.1).With("repeats", 10).With("tone", 16e3)
	dry := run(stageOf(t, k, s.With("mix", 0), rate), tone)
	for n := range dry {
		if dry[n] != tone[n] {
			t.Fatalf("dry sample %d is %v V, want %v V, bit for bit: it is under the rails", n, dry[n], tone[n])
		}
	}
	for _, time := range []float64{0.1, 1e-3} {
		wet := run(stageOf(t, k, s.With("mix", 1).With("time", time), rate), tone)
		if top := slices.Max(wet); top < 0.99 || top > 1.2 {
			t.Errorf("time %v s: repeats of 4 V through a converter of 1 V reach %v V", time, top)
		}
	}
}

// After the tail the repeats are 60 dB down, and one repeat before its end they are not: it is as long as it must be. At the longest it is 30 s.
func TestDelayTail(t *testing.T) {
	const rate = 48000
	k := blocks.Find("delay")
	for _, c := range []struct{ time, repeats, tone float64 }{{0.38, 4, 16e3}, {0.1, 9, 16e3}, {0.05, 10, 2e3}, {0.25, 0, 4e3}, {0.002, 8, 500}} {
		st := stageOf(t, k, k.Defaults().With("time", c.time).With("repeats", c.repeats).With("tone", c.tone).With("mix", 1), rate)
		end := rate // a second of sound
		tail := int(float64(st.Core.Tail()) * rate)
		each := int(c.time * rate)
		x := make([]float64, end+tail+2*each+100)
		random := rand.New(rand.NewPCG(1, 1))
		for n := range end {
			x[n] = 0.1 + 0.01*random.NormFloat64() // low frequencies last longest
		}
		y := run(st, x)
		rms := func(from, n int) float64 {
			var sum float64
			for _, v := range y[from : from+n] {
				sum += v * v
			}
			return math.Sqrt(sum / float64(n))
		}
		// The first repeat of what went in last, and each of the same length after that.
		first := rms(end, each)
		if after := dsp.ToDB(rms(end+tail, each) / first); after > -60 {
			t.Errorf("%+v: %.1f dB after the tail of %v s", c, after, float64(st.Core.Tail()))
		}
		if tail > 3*each && c.tone > 10e3 {
			if before := dsp.ToDB(rms(end+tail-2*each, each) / first); before < -60 {
				t.Errorf("%+v: already %.1f dB two repeats before the end of the tail of %v s", c, before, float64(st.Core.Tail()))
			}
		}
	}
	if got := stageOf(t, k, k.Defaults().With("time", 2).With("repeats", 10), rate).Core.Tail(); got != 30 {
		t.Errorf("the longest tail is %v s, want 30 s", float64(got))
	}
}

// Noise of a converter of 16 bits and 2 V peak: a step of 4 V/65536 over √12, over √24 kHz, raised by the repeats' sum of powers.
func TestDelayNoise(t *testing.T) {
	k := blocks.Find("delay")
	got := stageOf(t, k, k.Defaults().With("mix", 1).With("repeats", 10), 48000).Noise
	converter := 4.0 / 65536 / math.Sqrt(12) / math.Sqrt(24e3) / math.Sqrt(1-0.95*0.95)
	if want := math.Hypot(converter, 8e-9); math.Abs(got/want-1) > 1e-12 {
		t.Errorf("noise %v V/√Hz, want %v", got, want)
	}
}
