package blocks

import (
	"fmt"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// switcher is a loop switcher with nothing in its loops. What is plugged into them, the chain says:
// package wiring adds the switcher piece by piece, with Bench.PlacePiece, and the blocks of the
// loops between the pieces.
var switcher = Kind{
	Name:  "switcher",
	Brief: "loop switcher: relays that put numbered loops of blocks into the signal or leave them out",
	Models: []string{
		"With the input buffer on: 1 MΩ in, a follower that clips 1.5 V before its rails, 100 Ω out; off: a wire.",
		"A relay's contact for every loop that is left out; for one that is in, a contact before its send and one behind its return.",
		"One loop may be the insert, with jacks and no relays: an amplifier between the loops in front of it and those in its effects loop.",
		"The trim at the output: at 0 dB a wire, at any other gain an amplifier with 1 MΩ in, rails and 100 Ω out.",
	},
	Ignores: []string{"That contacts bounce and pop, and crosstalk between loops; while presets change, it is silent for 4 ms."},
	Sources: []string{
		"Contacts of 0.1 Ω: a usual limit for small signal relays, from memory; 5 pF to ground each: common practice, no source.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source. Noise 8 nV/√Hz: from memory, a common audio op-amp.",
	},
	InputImpedance:  "1 MΩ: its own with the input buffer on, else that of what follows, here 1 MΩ",
	OutputImpedance: "100 Ω to 10 kΩ: 100 Ω with the input buffer or a trim, else that of what comes before",
	Draw:            100e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		choice("input_buffer", "a buffer before the first loop, or a wire", "on", "on", "off"),
		{Name: "trim", Brief: "gain at the output; 0 dB is a wire, anything else an amplifier", Unit: dsp.Decibels, Min: -20, Max: 20, Default: 0, Still: "it is set with a preset; a trim of 0 dB is a wire, and any other an amplifier"},
		supplyKnob(9, 9, 18),
	},
	Build: func(b *Bench, s Settings) {
		b.piece(s, SwitcherPiece{In: "in", Out: "out", First: true, Last: true})
	},
}

// A relay's contact.
const (
	relayResistance  dsp.Ohm   = 0.1
	relayCapacitance dsp.Farad = 5e-12
)

// SwitcherPiece is what lies between two jacks of a switcher, with nothing plugged in between.
type SwitcherPiece struct {
	In, Out  string // the two jacks, by their full names
	First    bool   // In is the switcher's input
	Last     bool   // Out is its output
	Contacts int    // of relays in between
}

// PlacePiece adds one piece of a switcher to the circuit; name is the piece's own.
func (b *Bench) PlacePiece(name string, s Settings, p SwitcherPiece) {
	defer b.place(name, "switcher "+s.String())()
	b.piece(s, p)
}

func (b *Bench) piece(s Settings, p SwitcherPiece) {
	at, supply := p.In, s.Number("supply")
	if p.First && s.Word("input_buffer") == "on" {
		b.R("rin", at, circuit.Ground, inputResistance)
		b.Stage(Stage{Name: "follower", Sense: []string{at}, Drive: []string{"follower"}, New: func() Core { return b.follower(1, supply) }, Raises: true, Noise: opAmpNoise, Ceiling: swing(supply)})
		b.R("rbuffer", "follower", "buffered", outputResistance)
		at = "buffered"
	}
	trim := p.Last && s.Number("trim") != 0
	for k := range p.Contacts {
		to := fmt.Sprintf("relay%d", k+1)
		b.contact(to, at, to)
		at = to
	}
	if !trim {
		b.ColdR("wire", at, p.Out, strayResistance)
		return
	}
	gain := dsp.FromDB(s.Number("trim"))
	b.R("rtrim", at, circuit.Ground, inputResistance)
	b.Stage(Stage{
		Name: "trim", Sense: []string{at}, Drive: []string{"trim"}, New: func() Core { return b.follower(gain, supply) }, Raises: true,
		Noise: root(gain*opAmpNoise, opAmpNoise), Ceiling: swing(supply),
	})
	b.R("rout", "trim", p.Out, outputResistance)
}

func (b *Bench) contact(name, from, to string) {
	b.ColdR(name, from, to, relayResistance)
	b.C(name+"c", to, circuit.Ground, relayCapacitance)
}
