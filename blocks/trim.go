package blocks

import "drywire/dsp"

// trim is what it takes to make two paths agree: a gain either way, and a polarity.
var trim = Kind{
	Name:  "trim",
	Brief: "level and polarity: a clean gain that can invert",
	Models: []string{
		"1 MΩ in, an amplifier that clips 1.5 V before its rails, 100 Ω out; inverted, the output falls where the input rises.",
		"The input noise voltage of two audio op-amps, one before the gain and one behind it.",
	},
	Ignores: []string{"The amplifier's own distortion below its rails, its bandwidth and slew rate."},
	Sources: []string{
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
		"Noise 8 nV/√Hz: from memory, a common audio op-amp.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            5e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "gain", Brief: "how much louder or softer", Unit: dsp.Decibels, Min: -30, Max: 20, Default: 0},
		choice("polarity", "as it comes in, or inverted", "normal", "normal", "inverted"),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, gain := s.Number("supply"), dsp.FromDB(s.Number("gain"))
		noise := root(gain*opAmpNoise, opAmpNoise)
		if s.Word("polarity") == "inverted" {
			gain = -gain
		}
		b.highInput()
		b.output(Stage{Name: "amp", New: func() Core { return b.follower(gain, supply) }, Raises: true, Noise: noise, Ceiling: swing(supply)})
	},
}
