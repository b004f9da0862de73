package experiment

import (
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/section"
)

// distortionOf is a take's distortion, as comparisons have it.
func distortionOf(t *testing.T, blocks, order string) measures.Figure {
	t.Helper()
	f, err := measures.ToneTHD.OfTake(t.Context(), newTrial(chaintest.Chain(t, blocks, order), measureRate, measures.TestTone, true))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// A filter behind a fuzz that takes the fundamental away makes no distortion: a square wave has 48
// %, and what is read at the last jack is more than twice that. It is stated where it is made, and
// so it does not move, nor does that of a chorus behind it.
func TestDistortionWhereItIsMade(t *testing.T) {
	const blocks = "fuzz: {kind: fuzz}; keep: {kind: buffer}; notch: {kind: eq, low_mid: -18 dB, low_mid_freq: 997 Hz, low_mid_q: 1}; swirl: {kind: chorus}"
	alone := distortionOf(t, blocks, "fuzz, keep")
	if !alone.OK() || alone.Value < 20 || alone.Value > 60 || alone.By != "fuzz" {
		t.Fatalf("a fuzz distorts by %+v", alone)
	}
	for _, order := range []string{"fuzz, keep, notch", "fuzz, keep, swirl"} {
		got := distortionOf(t, blocks, order)
		near(t, order, got, alone.Value, 0.02*alone.Value, "%")
	}
	d := newTrial(chaintest.Chain(t, blocks, "fuzz, keep, notch"), measureRate, measures.TestTone, true)
	x, err := d.Play(t.Context(), "tone", measures.AsItIs, func() []float64 { return measures.Sines(measureRate/2, measureRate, measures.TestTone) })
	if err != nil {
		t.Fatal(err)
	}
	if f := measures.SteadyTHD(x[len(x)-measureRate/10:], measureRate, 997); !f.OK() || f.Value < 1.8*alone.Value {
		t.Errorf("behind a notch the last jack reads %+v: nothing to be misled by", f)
	}
}

// A tone that was modulated before it is distorted has no THD.
func TestDistortionOfAModulatedTone(t *testing.T) {
	got := distortionOf(t, "swirl: {kind: chorus}; amp: {kind: preamp}", "swirl, amp")
	if got.OK() || got.Why != "it is modulated by swirl" {
		t.Errorf("chorus into preamplifier: %+v", got)
	}
}

// All commands agree on the distortion of a preset of the large board: presets, compare and swaps
// (facts), measure (dynamics), rank and sweep (bench).
func TestCommandsAgreeOnDistortion(t *testing.T) {
	f := chaintest.ShippedFile(t, "big-board")
	x := swelling(0.5, dsp.Tone{Hz: 220, Volts: 0.2})
	presets, err := NewPresetBench(f, Dry{Volts: x}, measureRate, section.Draft)
	if err != nil {
		t.Fatal(err)
	}
	many := NewBench(Dry{Volts: x}, measureRate, section.Draft, 64<<20)
	measurable := 0
	for _, preset := range []string{"market", "quarrel", "monologue"} {
		c := f.Of(board.Take{Name: preset, Preset: preset})
		p, err := presets.Measure(t.Context(), preset, "")
		if err != nil {
			t.Fatal(err)
		}
		facts, err := FactsOf(t.Context(), c, measureRate, nil)
		if err != nil {
			t.Fatal(err)
		}
		d := measures.Values{{Measure: measures.ToneTHD}}
		if err := newTrial(c, measureRate, measures.TestTone, false).work(d)[0](t.Context()); err != nil {
			t.Fatal(err)
		}
		b, err := many.Measure(t.Context(), c, measures.ToneTHD)
		if err != nil {
			t.Fatal(err)
		}
		want := p.Distortion
		t.Logf("%s: %+v", preset, want)
		if want.OK() {
			measurable++
		}
		for command, got := range map[string]measures.Figure{"compare": facts.Of(measures.ToneTHD), "measure": d[0].Figure, "rank": b[0]} {
			if got.OK() != want.OK() || got.Why != want.Why || math.Abs(got.Value-want.Value) > 0.005*want.Value {
				t.Errorf("%s: %s says %+v, presets %+v", preset, command, got, want)
			}
		}
	}
	if measurable == 0 {
		t.Error("no preset has a distortion")
	}
}
