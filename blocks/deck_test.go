package blocks_test

import (
	"math"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp/circuit/deck"
	"drywire/dsp/section"
)

// circuitSettings is every block that a deck can hold, at its defaults and with each word of its
// choices and all its numbers low and high.
func circuitSettings(do func(k *blocks.Kind, name string, s blocks.Settings, text string)) {
	for _, k := range blocks.Kinds() {
		low, high := k.Defaults(), k.Defaults()
		positions := map[string]blocks.Settings{"default": k.Defaults()}
		for _, knob := range k.Knobs {
			if knob.Words == nil {
				low, high = low.With(knob.Name, knob.Min), high.With(knob.Name, knob.Max)
				continue
			}
			for _, w := range knob.Words {
				if knob.Name != "bypass" && w != knob.Word {
					positions[knob.Name+" "+w] = k.Defaults().WithWord(knob.Name, w)
				}
			}
		}
		positions["low"], positions["high"] = low, high
		for name, s := range positions {
			if text, err := blocks.Deck(k, s, k.Name); err == nil {
				do(k, name, s, text)
			}
		}
	}
}

// readBack is the kind of a deck, with the supply of the block that it was printed of.
func readBack(t *testing.T, name, text string, s blocks.Settings) (*blocks.Kind, blocks.Settings) {
	t.Helper()
	d, err := deck.Read(name+".cir", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	k, err := blocks.Circuit(d)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	set := k.Defaults()
	if _, ok := k.Knob("supply"); ok {
		set = set.With("supply", s.Number("supply"))
	}
	return k, set
}

// Every block that is circuit, printed as a deck and read back, plays the same bits.
func TestBlocksThroughTheirDecks(t *testing.T) {
	x := make([]float64, 300)
	for k := range x {
		x[k] = 0.4 * math.Sin(2*math.Pi*331*float64(k)/48e3) * math.Sin(2*math.Pi*37*float64(k)/48e3)
	}
	seen := map[string]bool{}
	circuitSettings(func(k *blocks.Kind, name string, s blocks.Settings, text string) {
		seen[k.Name] = true
		t.Run(k.Name+" "+name, func(t *testing.T) {
			again, set := readBack(t, k.Name, text, s)
			run := func(k *blocks.Kind, s blocks.Settings) []float64 {
				r, err := blockstest.NewRig(k, s, false, 48e3, section.Draft)
				if err != nil {
					t.Fatal(err)
				}
				y := make([]float64, len(x))
				r.Process(y, x)
				return y
			}
			want, got := run(k, s), run(again, set)
			for n := range want {
				if math.Float64bits(got[n]) != math.Float64bits(want[n]) {
					t.Fatalf("sample %d is %v through the deck, %v without\n%s", n, got[n], want[n], text)
				}
			}
		})
	})
	for _, must := range strings.Fields("boost buffer cable distortion fuzz load-box op-amp-fuzz overdrive pedal preamp treble-boost trim tuner volume wah") {
		if !seen[must] {
			t.Errorf("%s was not printed as a deck", must)
		}
	}
	t.Logf("%d kinds", len(seen))
}
