package blocks_test

import (
	"math"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/blocks/blockstest"
	"drywire/dsp"
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

// The decks that come with the program keep every promise of a block.
func TestSampleDecks(t *testing.T) {
	if len(blocks.SampleDecks()) == 0 {
		t.Fatal("there are none")
	}
	for _, name := range blocks.SampleDecks() {
		for _, f := range blockstest.Check(blocks.SampleCircuit(name)) {
			if f.Check == "impedance" && strings.Contains(f.Text, "is stated as") {
				continue // nobody has stated any: they are worked out where they are asked for
			}
			t.Errorf("%s: %v", name, f)
		}
	}
}

// A deck whose circuit has no rest, or whose amplifiers feed themselves, is refused at its name.
func TestDecksThatDoNotWork(t *testing.T) {
	for name, c := range map[string]struct{ cards, want string }{
		"two sources head on":       {"V1 a 0 9\nV2 a 0 5\nR1 in a 1k\nR2 a out 1k", "bad.cir:1:9: the circuit has no "},
		"an amplifier in a circle":  {"B1 a 0 V={min(3,max(-3,10*v(b)))}\nR1 a b 1k\nR2 in b 1k\nR3 a out 1k", "bad.cir:1:9: the amplifier a feeds back|bad.cir:1:9: the amplifier b1 feeds back"},
		"an inductor over a source": {"V1 a 0 9\nL1 a 0 1\nR1 in a 1k\nR2 a out 1k", "bad.cir:1:9: the circuit has no "},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := deck.Read("bad.cir", []byte(".subckt bad in out gnd\nR9 in gnd 1meg\n"+c.cards+"\n.ends\n"))
			if err != nil {
				t.Fatal(err)
			}
			_, err = blocks.Circuit(d)
			for _, want := range strings.Split(c.want, "|") {
				if err != nil && strings.HasPrefix(err.Error(), want) {
					return
				}
			}
			t.Errorf("want %s, have %v", c.want, err)
		})
	}
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

// The noise of a deck, between 10 kΩ and 1 MΩ that make none, against ngspice 39 on the same file:
// "noise v(out) Vs dec 10 100 10k" with the deck called at its defaults, 9 V on vcc, a source Vs of
// 0 V behind 10 kΩ and a load of 1 MΩ, both noisy=0, temp=27; onoise_spectrum in V/√Hz.
func TestNoiseOfSampleDeck(t *testing.T) {
	k := blocks.SampleCircuit("lopsided")
	r, err := blockstest.NewRig(k, k.Defaults(), false, 48e3, section.Draft)
	if err != nil {
		t.Fatal(err)
	}
	ac, err := r.Circuit.AC()
	if err != nil {
		t.Fatal(err)
	}
	for f, want := range map[dsp.Hertz]float64{100: 1.018765e-07, 1000: 4.392827e-08, 10000: 2.073385e-08} {
		sum := 0.0
		for _, n := range ac.Noise(blockstest.Jack, f) {
			sum += n.Density
		}
		if off := dsp.ToDB(math.Sqrt(sum) / want); !(math.Abs(off) < 0.01) {
			t.Errorf("%v Hz: %.4g V/√Hz, %.2f dB from %.4g", float64(f), math.Sqrt(sum), off, want)
		}
	}
}
