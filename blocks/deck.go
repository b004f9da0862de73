package blocks

import (
	"fmt"
	"strings"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/deck"
)

// Deck prints a block at these settings as a .subckt of that name, which a block of the kind
// circuit can be made of: its parts in the order in which they are built, so that it sounds the
// same, bit for bit. The error says which stage of it is signal processing, which no deck can hold.
func Deck(k *Kind, s Settings, name string) (string, error) {
	b := NewBench(48e3, 1) // no rate matters to a circuit
	k.Build(b, s)
	pins := [][2]string{{deck.In, deck.In}, {deck.Out, deck.Out}, {circuit.Ground, "gnd"}}
	if supplies := b.Circuit.Supplies(); len(supplies) > 0 {
		pin := "vcc"
		if k.Ground != nil && k.Ground(s) == Positive {
			pin = "vee"
		}
		pins = append(pins, [2]string{deck.SupplyNode, pin})
	}
	drive := map[string]string{}
	for _, stage := range b.Stages {
		f, ok := stage.Shape().(*Follower)
		if !ok {
			return "", fmt.Errorf("%s is signal processing (%s), and no deck can hold it", k.Name, stage.Name)
		}
		drive[stage.Drive[0]] = fmt.Sprintf("V={min(%v, max(%v, %v*v(%s)))}", float64(f.Hi), float64(f.Lo), f.Gain, circuit.SPICEName(stage.Sense[0]))
	}
	comments := []string{fmt.Sprintf("A block of the kind %s: %s", k.Name, strings.TrimPrefix(k.knobs(s), ", "))}
	return b.Circuit.Subckt(name, pins, comments, drive), nil
}

// knobs is the settings as a chain file has them.
func (k *Kind) knobs(s Settings) (text string) {
	for _, knob := range k.Knobs {
		if knob.Words != nil {
			text += ", " + knob.Name + " " + s.Word(knob.Name)
		} else {
			text += ", " + knob.Name + " " + dsp.FormatQuantity(s.Number(knob.Name), knob.Unit)
		}
	}
	return text
}
