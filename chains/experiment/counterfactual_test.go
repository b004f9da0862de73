package experiment_test

import (
	"math"
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp/section"
)

// Some measures alone are those of the whole comparison, to the last bit, though a delay shifts one
// take by 40 ms.
func TestChangesAreThoseOfCompare(t *testing.T) {
	const rate = 48000
	list := []*measures.Measure{
		measures.LevelChange, measures.BassChange, measures.MiddleChange, measures.TrebleChange, measures.NoiseChange, measures.THDChange, measures.SustainChange,
	}
	x := chaintest.Tone(3*rate, rate, 220, 0.1)
	for k, v := range chaintest.Tone(len(x), rate, 1430, 0.05) {
		x[k] += v * math.Exp(-float64(k)/rate)
	}
	blocks := "drive: {kind: overdrive, drive: 6}; tone: {kind: eq, high: 6 dB}; late: {kind: delay, time: 40 ms, mix: 100 %, repeats: 0}"
	a, b := chaintest.Chain(t, blocks, "tone, drive"), chaintest.Chain(t, blocks, "drive, tone, late")
	bench, draft := experiment.NewBench(experiment.Dry{Volts: x}, rate, section.Normal, 1<<28), experiment.NewBench(experiment.Dry{Volts: x}, rate, section.Draft, 1<<28)
	all, err := bench.Compare(t.Context(), a, b, draft)
	if err != nil {
		t.Fatal(err)
	}
	some, err := bench.Changes(t.Context(), list, a, b, draft)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range list {
		want, got := all.Of(m), some.Of(m)
		if !want.OK() || !got.OK() || got.Value != want.Value {
			t.Errorf("%s: %v, and compare has %v", m.Name, got, want)
		}
		t.Logf("%s: %v, %v", m.Name, got, want)
	}
}
