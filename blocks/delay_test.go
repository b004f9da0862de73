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
	"drywire/dsp/filter"
)

// An impulse comes back at every multiple of the time, each repeat softer by the feedback (95 % at
// 10, in proportion) and, at the tone's frequency, by another 3 dB: closed forms of a geometric
// series and of a low-pass of first order.
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

// After the tail the repeats are 60 dB down, and one repeat before its end they are not: it is as
// long as it must be. At the longest it is 30 s.
func TestDelayTail(t *testing.T) {
	const rate = 48000
	k := blocks.Find("delay")
	for _, c := range []struct{ time, repeats, tone float64 }{{0.38, 4, 16e3}, {0.1, 9, 16e3}, {0.05, 10, 2e3}, {0.25, 0, 4e3}, {0.002, 8, 500}} {
		st := stageOf(t, k, k.Defaults().With("time", c.time).With("repeats", c.repeats).With("tone", c.tone).With("mix", 1), rate)
		end := rate // a second of sound
		tail := int(float64(st.Shape().Tail()) * rate)
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
			t.Errorf("%+v: %.1f dB after the tail of %v s", c, after, float64(st.Shape().Tail()))
		}
		if tail > 3*each && c.tone > 10e3 {
			if before := dsp.ToDB(rms(end+tail-2*each, each) / first); before < -60 {
				t.Errorf("%+v: already %.1f dB two repeats before the end of the tail of %v s", c, before, float64(st.Shape().Tail()))
			}
		}
	}
	if got := stageOf(t, k, k.Defaults().With("time", 2).With("repeats", 10), rate).Shape().Tail(); got != 30 {
		t.Errorf("the longest tail is %v s, want 30 s", float64(got))
	}
}

// Noise of a converter of 16 bits and 2 V peak: a step of 4 V/65536 over √12, over √24 kHz, raised
// by the repeats' sum of powers.
func TestDelayNoise(t *testing.T) {
	k := blocks.Find("delay")
	s := stageOf(t, k, k.Defaults().With("mix", 1).With("repeats", 10), 48000)
	converter := 4.0 / 65536 / math.Sqrt(12) / math.Sqrt(24e3) / math.Sqrt(1-0.95*0.95)
	if math.Abs(s.Converter/converter-1) > 1e-12 || math.Abs(s.Noise/8e-9-1) > 1e-12 {
		t.Errorf("noise %v and %v V/√Hz, want 8e-9 of the output amplifier and %v of the converter", s.Noise, s.Converter, converter)
	}
}

// Modulated, a repeat is the tone of the moment that the time says, through the tone's filter:
// closed form, within -80 dB (the line's stated error is -85 dB). Half of the time is the most that
// it moves.
func TestDelayModulation(t *testing.T) {
	k := blocks.Find("delay")
	for _, c := range []struct{ rate, time, lfo, depth, moves float64 }{
		{48000, 0.1, 2, 2e-3, 2e-3}, {44100, 0.05, 5, 0.5e-3, 0.5e-3}, {48000, 4e-3, 1, 5e-3, 2e-3}, {96000, 0.02, 8, 5e-3, 5e-3}, {48000, 0.02, 8, 0, 0},
	} {
		const f, corner = 1000, 8e3
		s := k.Defaults().With("time", c.time).With("repeats", 0).With("mix", 1).With("tone", corner).With("rate", c.lfo).With("depth", c.depth)
		st := stageOf(t, k, s, dsp.Hertz(c.rate))
		y := run(st, tone(int(c.rate/2), 0.5, f, c.rate))
		gain := filter.OnePoleLow(corner, dsp.Hertz(c.rate)).Response(f)
		late := float64(st.Shape().Latency()) / 2 / c.rate // the oscillator runs while the input amplifier's filter fills
		for n := int((c.time + 0.02) * c.rate); n < len(y); n++ {
			at := float64(n) / c.rate
			back := c.time + c.moves*math.Sin(2*math.Pi*c.lfo*(at+late))
			want := 0.5 * cmplx.Abs(gain) * math.Sin(2*math.Pi*f*(at-back)+cmplx.Phase(gain))
			if math.Abs(y[n]-want) > 0.5e-4 {
				t.Fatalf("%+v: sample %d is %v, want %v", c, n, y[n], want)
			}
		}
	}
}

// The shortest times take the deepest modulation at every rate and voice, and come out finite.
func TestDelayShortModulation(t *testing.T) {
	k := blocks.Find("delay")
	for _, rate := range []float64{44100, 48000, 96000, 192000} {
		for _, time := range []float64{1e-3, 1.1e-3, 1.7e-3, 3e-3, 6e-3} {
			for _, voice := range []string{"digital", "bucket-brigade"} {
				s := k.Defaults().With("time", time).With("depth", 5e-3).With("rate", 8).With("repeats", 10).WithWord("voice", voice)
				y := run(stageOf(t, k, s, dsp.Hertz(rate)), tone(int(rate/4), 2, 300, rate))
				if slices.ContainsFunc(y, func(v float64) bool { return !(math.Abs(v) < 4) }) {
					t.Errorf("%v Hz, %v s, %s: not every sample is a voltage", rate, time, voice)
				}
			}
		}
	}
}

// The longer the time, the slower the clock: a Butterworth filter of fourth order at a third of
// 4096/time, whose loss the compander doubles in dB, after the tone's filter. Closed form, with the
// bilinear transform's frequencies; 0.15 dB are for the ripple of the compander's capacitors. And
// the same at a level 14 dB lower: the compander tracks. (Lower still, and with that much loss, the
// line is under its range.)
func TestDelayBucketBrigade(t *testing.T) {
	const rate, corner = 48000, 16e3
	k := blocks.Find("delay")
	for _, time := range []float64{0.1, 0.38, 0.9} {
		edge := min(4096/time/3, 12e3)
		s := k.Defaults().With("time", time).With("repeats", 0).With("mix", 1).With("tone", corner).WithWord("voice", "bucket-brigade")
		for _, share := range []float64{0.3, 0.7, 1, 1.3} {
			f := math.Round(share * edge)
			x := math.Tan(math.Pi*f/rate) / math.Tan(math.Pi*edge/rate)
			want := dsp.ToDB(cmplx.Abs(filter.OnePoleLow(corner, rate).Response(dsp.Hertz(f))) / (1 + math.Pow(x, 8)))
			for _, amplitude := range []float64{0.5, 0.1} {
				y := run(stageOf(t, k, s, rate), tone(3*rate, amplitude, f, rate))
				got := dsp.ToDB(partial(y[2*rate:], f, rate) / amplitude)
				if math.Abs(got-want) > 0.15 {
					t.Errorf("%v s: %.2f dB at %v Hz and %v V, want %.2f dB", time, got, f, amplitude, want)
				}
			}
		}
	}
}

// At rest the expander takes 30 dB off the line's noise, 100 µV in 20 kHz; and it comes round with
// the repeats.
func TestDelayBucketBrigadeNoise(t *testing.T) {
	k := blocks.Find("delay")
	s := stageOf(t, k, k.Defaults().With("mix", 1).With("repeats", 10).WithWord("voice", "bucket-brigade"), 48000)
	line := 100e-6 / math.Sqrt(20e3) * math.Pow(10, -1.5) / math.Sqrt(1-0.95*0.95)
	if math.Abs(s.Converter/line-1) > 1e-9 || math.Abs(s.Noise/8e-9-1) > 1e-12 {
		t.Errorf("noise %v and %v V/√Hz, want 8e-9 of the output amplifier and %v of the line", s.Noise, s.Converter, line)
	}
}

// A line alone with its filters, or with a time that moves, has no response to state; a plain echo
// has.
func TestDelayResponder(t *testing.T) {
	k := blocks.Find("delay")
	for _, c := range []struct {
		s    blocks.Settings
		want bool
	}{
		{k.Defaults(), true}, {k.Defaults().With("depth", 1e-3), false}, {k.Defaults().WithWord("voice", "bucket-brigade"), false},
	} {
		if _, got := stageOf(t, k, c.s, 48000).Shape().(blocks.Responder); got != c.want {
			t.Errorf("%v: states a response: %v, want %v", c.s, got, c.want)
		}
	}
}
