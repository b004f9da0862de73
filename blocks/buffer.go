package blocks

import "drywire/dsp"

// buffer draws next to nothing from what is before it and drives what is after it.
var buffer = Kind{
	Name:  "buffer",
	Brief: "unity-gain buffer: high impedance in, low impedance out",
	Models: []string{
		"1 MΩ in, a follower that clips 1.5 V before its rails, 100 Ω out.",
		"The input noise voltage of an audio op-amp with field-effect inputs, which have no noise current to speak of.",
	},
	Ignores: []string{"The follower's own distortion below its rails, its bias current and its slew rate."},
	Sources: []string{
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
		"Noise 8 nV/√Hz: from memory, a common audio op-amp.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            3e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs:           []Knob{supplyKnob(9, 9, 18), bypassKnob("true")},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		b.highInput()
		b.output(Stage{Name: "follower", New: func() Core { return b.follower(1, supply) }, Raises: true, Noise: opAmpNoise, Ceiling: swing(supply)})
	},
}
