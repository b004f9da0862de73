package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// rigGain is the magnitude of what the rig (10 kΩ before, 1 MΩ after the block) does at a
// frequency, by its circuit and stages.
func rigGain(t *testing.T, kind string, s blocks.Settings, f dsp.Hertz) float64 {
	t.Helper()
	r, err := blockstest.NewRig(blocks.Find(kind), s, false, 48000, section.Normal)
	if err != nil {
		t.Fatal(err)
	}
	h, ok := r.Response(f)
	if !ok {
		t.Fatalf("%s states no response", kind)
	}
	return cmplx.Abs(h)
}

// 10 kΩ into 1 MΩ, and 100 Ω into 1 MΩ: two voltage dividers, at every frequency.
func TestBufferDividers(t *testing.T) {
	for _, f := range []dsp.Hertz{20, 1000, 20000} {
		got, want := rigGain(t, "buffer", blocks.Find("buffer").Defaults(), f), 1e6/1.01e6*1e6/1.0001e6
		if math.Abs(got/want-1) > 1e-6 {
			t.Errorf("%v Hz: gain %v, want %v", float64(f), got, want)
		}
	}
}

// It clips 1.5 V before its rails: 3 V peak at 9 V, 7.5 V at 18 V; under that the sound is the same
// bit for bit. A limiter is good to -120 dB of what goes in.
func TestBufferHeadroom(t *testing.T) {
	k := blocks.Find("buffer")
	for supply, want := range map[float64]float64{9: 3, 18: 7.5} {
		y := run(stageOf(t, k, k.Defaults().With("supply", supply), 48000), steady(4800, 20))
		if math.Abs(y[4000]-want) > 20e-6 {
			t.Errorf("at %v V: 20 V come out as %v V, want %v V", supply, y[4000], want)
		}
	}
	if y := run(stageOf(t, k, k.Defaults(), 48000), steady(100, 1.5)); y[50] != 1.5 {
		t.Errorf("1.5 V come out as %v V", y[50])
	}
}

// A sine of 20 V into rails of 3 V at 8 times the rate: what folds down is further below the sound
// than is asked of a whole chain (70 dB at 1244.5 Hz, 50 dB at 4186 Hz); at 8 kHz the ring of what
// is left of a square wave is highest. 2^16 points, odd bins.
func TestBufferAliasing(t *testing.T) {
	const n, rate = 1 << 16, 48000
	for bin, want := range map[int]float64{1699: 100, 5715: 80, 10923: 80} {
		x := make([]float64, n+n/2)
		for k := range x {
			x[k] = 20 * math.Sin(2*math.Pi*float64(bin)*float64(k)/n)
		}
		y := run(stageOf(t, blocks.Find("buffer"), blocks.Find("buffer").Defaults(), rate), x)
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
