package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// A pedal is what its data say: two dividers and a gain between them, a ceiling, and a noise of
// that voltage from 20 Hz to 20 kHz.
func TestPedalIsItsData(t *testing.T) {
	k := blocks.Find("pedal")
	s := k.Defaults().With("input", 470e3).With("output", 10e3).With("gain", 12).With("noise", 50e-6).With("ceiling", 1)
	want := 470e3 / 480e3 * math.Pow(10, 12.0/20) * 1e6 / 1.01e6
	if off := dsp.ToDB(rigGain(t, "pedal", s, 1000) / want); math.Abs(off) > 1e-4 {
		t.Errorf("%.5f dB off the closed form", off)
	}
	bench := blocks.NewBench(48000, 4)
	bench.Place("block", k, s)
	stage := bench.Stages[0]
	if rms := stage.Noise * math.Sqrt(20e3-20); math.Abs(rms/50e-6-1) > 1e-9 || stage.Ceiling != 1 {
		t.Errorf("noise of %v V, ceiling of %v V; want 50 µV and 1 V", rms, stage.Ceiling)
	}
	if y := run(stageOf(t, k, s, 48000), steady(4800, 20)); math.Abs(y[4000]-1) > 1e-3 {
		t.Errorf("20 V come out as %v V, want 1 V", y[4000])
	}
}
