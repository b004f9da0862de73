package experiment

import (
	"context"
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// What a take's measures know of its noise is what a comparison would work out: of two amplifiers
// in stereo by small signals to the last digits, and where noise meets a threshold and is rendered,
// with other jacks read and so other draws, within 0.2 dB.
func TestFactsTakeTheNoiseThatIsKnown(t *testing.T) {
	f := chaintest.ShippedFile(t, "big-board")
	market := f.Of(board.Take{Name: "market", Preset: "market"})
	if ends := market.Ends(); len(ends) != 2 {
		t.Fatalf("market ends at %v, want two", ends)
	}
	gated := chaintest.Chain(t, "dist: {kind: distortion, distortion: 8}; gate: {kind: gate}", "dist, gate", "guitar.pickup: single-coil")
	for c, most := range map[*board.Chain]float64{market: 1e-6, gated: 0.2} {
		w := render.PlanOf(c, measureRate, section.Draft)
		x := swelling(0.5, dsp.Tone{Hz: 220, Volts: 0.2})
		m, err := MeasureBefore(t.Context(), w, func(context.Context, *render.Plan, string) ([]float64, error) { return x, nil }, dsp.Tone{}, func(string) bool { return false })
		if err != nil {
			t.Fatal(err)
		}
		if c == gated {
			known, err := FactsOf(t.Context(), c, measureRate, m)
			if err != nil {
				t.Fatal(err)
			}
			own, err := FactsOf(t.Context(), c, measureRate, nil)
			if err != nil {
				t.Fatal(err)
			}
			for k, v := range own {
				if d := known[k].Value - v.Value; known[k].OK() != v.OK() || math.Abs(d) > most {
					t.Errorf("%s: known %.3f, worked out %.3f", v.Name, known[k].Value, v.Value)
				}
			}
		}
		trial := newTrial(c, measureRate, measures.TestTone, true)
		for what, of := range map[string]struct {
			known float64
			own   func() (float64, error)
		}{"nobody plays": {m.rest, trial.Noise}, "while played": {m.hiss, trial.Hiss}} {
			own, err := of.own()
			if err != nil {
				t.Fatal(err)
			}
			if db := dsp.ToDB(of.known / own); math.IsNaN(db) || math.Abs(db) > most {
				t.Errorf("%s, %s: known %.6g V, worked out %.6g V: %.7f dB", c.Take, what, of.known, own, db)
			}
		}
	}
}
