package wiring

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// The impedances of parts whose values are plain: a buffer of 1 MΩ in and 100 Ω out
// (blocks/active.go), a volume pedal's track of 250 kΩ with the load of 1 MΩ across it (200 kΩ),
// turned up (in the way: an ohm of the track, 100 Ω of the buffer, cables of 0.1 Ω a metre).
func TestHandovers(t *testing.T) {
	const hertz = 5.0 // so low that cables do not matter
	places, err := Handovers(chaintest.MustParse(t, chaintest.HandoverChain).Chains()[0], dsp.Hertz(hertz))
	if err != nil {
		t.Fatal(err)
	}
	// The guitar: the winding, in parallel with the pots' 500 kΩ (volume) and with 500 kΩ and 22 nF
	// in series (tone).
	par := func(zs ...complex128) complex128 {
		y := complex128(0)
		for _, z := range zs {
			y += 1 / z
		}
		return 1 / y
	}
	jw := complex(0, 2*math.Pi*hertz)
	c := chaintest.MustParse(t, chaintest.HandoverChain).Chains()[0]
	g := c.Guitar
	guitar := par(complex(float64(g.Pickup.Resistance), 0)+jw*complex(float64(g.Pickup.Inductance), 0), 1/(jw*complex(float64(g.Pickup.Capacitance), 0)),
		complex(float64(g.VolumePot), 0), complex(float64(g.TonePot), 0)+1/(jw*complex(float64(g.ToneCapacitor), 0)))
	want := []struct {
		jack          string
		source, input complex128
	}{
		{"buffer.in", guitar, 1e6},
		{"vol.in", 100, par(250e3, 1e6)},
		{"load", par(101, 250e3), 1e6},
	}
	if len(places) != len(want) {
		t.Fatalf("%d places, want %d", len(places), len(want))
	}
	for k, w := range want {
		p := places[k]
		if p.Jack != w.jack {
			t.Errorf("place %d is %q, want %q", k, p.Jack, w.jack)
		}
		// 0.5 %: cables, and the ohm that is left at either end of a track.
		if d := cmplx.Abs(p.Source/w.source - 1); d > 5e-3 {
			t.Errorf("%s: source %v, want %v", p.Jack, p.Source, w.source)
		}
		if d := cmplx.Abs(p.Input/w.input - 1); d > 5e-3 {
			t.Errorf("%s: input %v, want %v", p.Jack, p.Input, w.input)
		}
	}
}

// A hand-over cut open tells the same as the circuit whole: source and input in parallel are what
// is seen from the jack.
func TestHandoversAgreeWithTheWholeCircuit(t *testing.T) {
	checked := 0
	for _, order := range []string{"[fuzz, buffer, vol]", "[buffer, fuzz, vol]", "[vol, fuzz, buffer]"} {
		f := chaintest.MustParse(t, strings.Replace(chaintest.HandoverChain, "blocks:", "blocks:\n  fuzz: {kind: fuzz}", 1)+"  - {name: c, order: "+order+"}\n")
		c := f.Chains()[2]
		places, err := Handovers(c, 1000)
		if err != nil {
			t.Fatal(err)
		}
		w := Of(c, 48000, section.Draft)
		for _, p := range places {
			jack := p.Jack
			if jack == "load" {
				jack = "out"
			}
			ac, err := w.Section(jack).AC()
			if err != nil {
				t.Fatal(err)
			}
			got := p.Source * p.Input / (p.Source + p.Input)
			if whole := ac.Impedance(jack, 1000); cmplx.Abs(got/whole-1) > 1e-6 {
				t.Errorf("%s at %s: %v in two halves, %v whole", order, p.Jack, got, whole)
			}
			checked++
		}
	}
	if checked != 12 {
		t.Errorf("%d places checked", checked)
	}
}

func TestDeck(t *testing.T) {
	f := chaintest.MustParse(t, strings.Replace(chaintest.HandoverChain, "blocks:", "blocks:\n  fuzz: {kind: fuzz}\n  more: {kind: fuzz}", 1)+`  - {name: c, order: [buffer, fuzz, echo, vol]}
  - {name: d, order: [fuzz, buffer, more]}
`)
	tone := dsp.Tone{Hz: 1000, Volts: 0.05}
	for k, want := range [][]string{
		{"Vdry dry 0 DC 0 AC 1 SIN(0 0.05 1000)", "Bbuffer_follower buffer_follower 0 V={min(3, max(-3, 1*v(buffer_in)))}",
			".print tran v(guitar) v(buffer_in) v(buffer_out) v(vol_in) v(vol_out) v(out)"},
		{"The deck stops at echo_in", ".print tran v(guitar) v(echo_in)\n"},
		2: {"Qfuzz_q1", "The deck stops at echo_in", "v(fuzz_out) v(echo_in)\n"},
		3: {"Qfuzz_q1", "Qmore_q1", ".model q_silicon"},
	} {
		deck := Of(f.Chains()[k], 48000, section.Draft).Deck(tone)
		for _, w := range want {
			if !strings.Contains(deck, w) {
				t.Errorf("take %d: no %q in\n%s", k, w, deck)
			}
		}
		if n := strings.Count(deck, "Vdry "); n < 1 || strings.Count(deck, "\nVdry ") != 1 {
			t.Errorf("take %d: %d sources called Vdry", k, n)
		}
		if strings.Count(deck, ".end\n") != 1 || !strings.HasSuffix(deck, ".end\n") || strings.Count(deck, ".tran") != 1 {
			t.Errorf("take %d: a deck ends once", k)
		}
		models := map[string]bool{}
		for _, line := range strings.Split(deck, "\n") {
			if strings.HasPrefix(line, ".model") {
				if models[line] {
					t.Errorf("take %d: a model twice: %s", k, line)
				}
				models[line] = true
			}
		}
	}
	w := Of(f.Chains()[2], 48000, section.Draft)
	deck, err := w.DeckOf("fuzz", tone)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(deck, "\nVdry "+circuit.SPICEName("buffer.follower")+" 0 DC 0 AC 1 SIN") || strings.Contains(deck, "guitar") {
		t.Errorf("the fuzz's section:\n%s", deck)
	}
	if _, err := w.DeckOf("fuz", tone); err == nil || !strings.Contains(err.Error(), `did you mean "fuzz"?`) {
		t.Errorf("an unknown block: %v", err)
	}
}

func TestAt(t *testing.T) {
	src := "\ufeffdrywire: 1\r\nrecording: {file: a b.wav, peak: 1 V}\r\norder: []\r\n"
	f := file.At("x.yaml", []byte(src), "$.recording.file", "recording a b.wav: gone\nfor good")
	want := "x.yaml:2:19: recording a b.wav: gone for good\n  2 | recording: {file: a b.wav, peak: 1 V}\n    |                   ^"
	if got := f.Error(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if f := file.At("x.yaml", []byte(src), "$.recording.sample", "gone"); f.Line != 1 || f.Column != 1 {
		t.Errorf("what is not there is at %d:%d", f.Line, f.Column)
	}
}

// What is seen from a hand-over is the same whether the whole chain is laid out or only what is in
// reach.
func TestHandoversInReach(t *testing.T) {
	look := func(n *circuit.Netlist, jack string) complex128 {
		for _, part := range n.Split() {
			if part.HasNode(jack) {
				ac, err := part.AC()
				if err != nil {
					t.Fatal(err)
				}
				return ac.Impedance(jack, 1000)
			}
		}
		t.Fatalf("no %s", jack)
		return 0
	}
	seen := 0
	for _, name := range []string{"reference-board", "two-amplifiers", "fuzz-or-buffer-first", "true-bypass-and-twelve-metres", "big-board"} {
		for _, c := range chaintest.ShippedFile(t, name).Chains() {
			hands, err := Handovers(c, 1000)
			if err != nil {
				t.Fatal(err)
			}
			for k, at := range cuts(c) {
				seen++
				for side, near := range []complex128{hands[k].Source, hands[k].Input} {
					whole := look([]*circuit.Netlist{allBefore(c, at), allAfter(c, at)}[side], at.jack)
					if d := cmplx.Abs(near-whole) / cmplx.Abs(whole); !(d < 1e-6) {
						t.Errorf("%s, %s, at %s, side %d: %v Ω, of the whole chain %v Ω: %.2g off", name, c.Take, at.jack, side, near, whole, d)
					}
				}
			}
		}
	}
	if seen < 100 {
		t.Errorf("%d hand-overs", seen)
	}
}
