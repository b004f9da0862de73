package blocks

import "drywire/dsp"

// tuner is a tuner that stays in the signal's way while one plays.
var tuner = Kind{
	Name:  "tuner",
	Brief: "tuner, as it lets the guitar pass while one plays: by a wire, or by a buffer",
	Models: []string{
		"By a wire: the input of its detector, 1 MΩ, beside the signal.",
		"With its buffer: 1 MΩ in, a follower that clips 1.5 V before its rails, 100 Ω out.",
	},
	Ignores: []string{"That it mutes while one tunes, and the ticking of its clock."},
	Sources: []string{
		"1 MΩ, 100 Ω, 1.5 V, 30 mA: common practice, no source.",
		"Noise 8 nV/√Hz: from memory, a common audio op-amp.",
	},
	InputImpedance:  "500 kΩ to 1 MΩ: with its buffer, or by the wire with 1 MΩ behind it",
	OutputImpedance: "100 Ω to 9.9 kΩ: with its buffer, else that of what comes before (here 10 kΩ)",
	Draw:            30e-3,
	Volts:           [2]dsp.Volt{9, 9},
	Ground:          negative,
	Rejection:       60,
	Digital:         always,
	Knobs: []Knob{
		choice("buffer", "what the guitar passes through: a wire, or a buffer", "off", "off", "on"),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		b.highInput()
		if s.Word("buffer") == "off" {
			b.ColdR("wire", "in", "out", strayResistance)
			return
		}
		supply := s.Number("supply")
		b.output(Stage{Name: "follower", New: func() Core { return b.follower(1, supply) }, Raises: true, Noise: opAmpNoise, Ceiling: swing(supply)})
	},
}
