package blocks_test

import (
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// Every kind that has a supply says what it wants of it, inside the range of its knob; no other
// kind does. One whose circuit does not hold the supply says how well it rejects a ripple.
func TestEverySupplyIsStated(t *testing.T) {
	n := 0
	for _, k := range blocks.Kinds() {
		knob, active := k.Knob("supply")
		if !active {
			if k.Draw != 0 || k.Volts != [2]dsp.Volt{} || k.Rejection != 0 || k.Ground != nil {
				t.Errorf("%s has no knob for its supply and yet wants something of it", k.Name)
			}
			continue
		}
		n++
		if !(k.Draw > 0 && k.Draw <= 1) {
			t.Errorf("%s draws %v A", k.Name, k.Draw)
		}
		if !(knob.Min <= float64(k.Volts[0]) && k.Volts[0] <= k.Volts[1] && float64(k.Volts[1]) <= knob.Max) {
			t.Errorf("%s is made for %v V, its knob goes from %v to %v", k.Name, k.Volts, knob.Min, knob.Max)
		}
		all := []blocks.Settings{k.Defaults()}
		for _, choice := range k.Knobs {
			for _, w := range choice.Words {
				all = append(all, k.Defaults().WithWord(choice.Name, w))
			}
		}
		if k.Ground == nil {
			t.Errorf("%s does not say which pole is its ground", k.Name)
			continue
		}
		without := 0
		for _, s := range all {
			bench := blocks.NewBench(48000, 1)
			bench.Place("block", k, s)
			if len(bench.Circuit.Supplies()) > 0 {
				continue
			}
			if without++; len(bench.Stages) == 0 && k.Name != "switcher" && k.Name != "tuner" { // which may be wires
				t.Errorf("%s has neither its supply in its circuit nor a stage: no ripple could come in", k.Name)
			}
		}
		if (without > 0) != (k.Rejection > 0) {
			t.Errorf("%s: with %d of %d settings its circuit does not hold the supply; it states a rejection of %v dB", k.Name, without, len(all), k.Rejection)
		}
	}
	if n == 0 {
		t.Error("no kind has a supply")
	}
}
