package blocks_test

import (
	"math"
	"slices"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// stageOf is the one stage of a kind with these settings, at 8 times the rate where it clips.
func stageOf(t *testing.T, k *blocks.Kind, s blocks.Settings, rate dsp.Hertz) blocks.Stage {
	t.Helper()
	b := blocks.NewBench(rate, 8)
	b.Place("block", k, s)
	if len(b.Stages) != 1 {
		t.Fatalf("%s has %d stages", k.Name, len(b.Stages))
	}
	return b.Stages[0]
}

// run sends a signal through a stage's core, and as many zeros as it is late, and takes the latency
// back.
func run(s blocks.Stage, x []float64) []float64 {
	late := s.Shape().Latency()
	y := append(slices.Clone(x), make([]float64, late)...)
	s.New().Process([][]float64{y}, [][]float64{y})
	return y[late:]
}

func steady(n int, v float64) []float64 { return slices.Repeat([]float64{v}, n) }

func compressorAt(threshold, ratio, knee, attack, release, level float64) blocks.Settings {
	return blocks.Find("compressor").Defaults().With("threshold", threshold).With("ratio", ratio).With("knee", knee).
		With("attack", attack).With("release", release).With("level", level).With("supply", 18)
}

// The static curve through the block. Values: J. Audio Eng. Soc. 60(6), 399-408, 2012, equation 4,
// worked out for threshold -20, ratio 4, knee 6: a steady voltage is its own peak.
func TestCompressorCurve(t *testing.T) {
	const tol = 0.001 // dB
	for _, c := range []struct{ in, want float64 }{
		{-40, -40}, {-26, -26}, {-23, -23}, {-20, -20.5625}, {-17, -19.25}, {-10, -17.5}, {0, -15},
	} {
		for _, level := range []float64{0, 6} {
			st := stageOf(t, blocks.Find("compressor"), compressorAt(-20, 4, 6, 0.1e-3, 5e-3, level), 48000)
			y := run(st, steady(9600, dsp.FromDB(c.in)))
			if got := dsp.ToDB(y[9000]) - level; math.Abs(got-c.want) > tol {
				t.Errorf("%v dBV in, level %v dB: %.5f dBV out, want %v dBV", c.in, level, got, c.want)
			}
		}
	}
}

// After a step up from rest by 20 dB over the threshold at 4:1 (15 dB of reduction) the reduction
// has gone 1 - 1/e of its way in the attack time, within 1 %: definition of a time constant.
func TestCompressorAttack(t *testing.T) {
	const rate = 96000
	for _, attack := range []float64{1e-3, 10e-3, 100e-3} {
		st := stageOf(t, blocks.Find("compressor"), compressorAt(-20, 4, 0, attack, 0.5, 0), rate)
		y := run(st, steady(int(attack*rate*1.5), 1))
		want := 15 * (1 - math.Exp(-1))
		at := slices.IndexFunc(y, func(v float64) bool { return -dsp.ToDB(v) >= want })
		got := float64(at+1) / rate // the step comes between two samples
		if math.Abs(got/attack-1) > 0.01 {
			t.Errorf("attack %v s: %.3f dB of reduction after %.5f s", attack, want, got)
		}
	}
}

// The input amplifier clips, however much the gain cell would have taken back; make-up gain cannot
// go over the rails; noise follows the make-up gain.
func TestCompressorHeadroom(t *testing.T) {
	k := blocks.Find("compressor")
	s := compressorAt(-20, 100, 0, 0.1e-3, 5e-3, 0)
	clipped := run(stageOf(t, k, s.With("supply", 9), 48000), steady(9600, 8))
	fine := run(stageOf(t, k, s.With("supply", 9), 48000), steady(9600, 3))
	if math.Abs(dsp.ToDB(clipped[9000]/fine[9000])) > 1e-6 {
		t.Errorf("8 V comes out as %v V, 3 V (the rail's limit at 9 V) as %v V", clipped[9000], fine[9000])
	}
	loud := run(stageOf(t, k, compressorAt(0, 1, 0, 1e-3, 5e-3, 40), 48000), steady(9600, 1))
	if math.Abs(loud[9000]-7.5) > 1e-6*100 { // half of 18 V, less 1.5 V; a limiter is good to -120 dB of what goes in, 100 V
		t.Errorf("1 V with 40 dB of make-up gain is %v V at 18 V, want 7.5 V", loud[9000])
	}
	quiet, loudNoise := stageOf(t, k, s, 48000).Noise, stageOf(t, k, s.With("level", 20), 48000).Noise
	if math.Abs(loudNoise/quiet-10) > 1e-9 {
		t.Errorf("20 dB of make-up gain raise the noise from %v to %v V/√Hz", quiet, loudNoise)
	}
}

// Both amplifiers clip, with 20 dB between them, the gain cell at rest: what folds down stays below
// the sound as is asked of a whole chain, 70 dB at 1244.5 Hz and 50 dB at 4186 Hz. 2^16 points, odd
// bins.
func TestCompressorAliasing(t *testing.T) {
	const n, rate = 1 << 16, 48000
	for bin, want := range map[int]float64{1699: 70, 5715: 50} {
		x := make([]float64, n+n/2)
		for k := range x {
			x[k] = 20 * math.Sin(2*math.Pi*float64(bin)*float64(k)/n)
		}
		y := run(stageOf(t, blocks.Find("compressor"), compressorAt(10, 1, 0, 1e-3, 0.1, 20).With("supply", 9), rate), x)
		got, err := measure.SignalToAlias(y[n/4:][:n], rate, bin)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%.1f Hz: signal to alias %.1f dB", float64(bin)*rate/n, got)
		if got < want {
			t.Errorf("%.1f Hz: signal to alias %.1f dB, want at least %v dB", float64(bin)*rate/n, got, want)
		}
	}
}
