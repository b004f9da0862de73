package blocks

import (
	"drywire/dsp"
	"drywire/dsp/lfo"
)

// vibrato moves the pitch up and down.
var vibrato = Kind{
	Name:  "vibrato",
	Brief: "vibrato: the pitch moves up and down",
	Models: []string{
		"1 MΩ in, an input amplifier, a delay that a sine moves to either side of 3.5 ms, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The pitch moves by 2π·rate·depth at most, as a share of the frequency: 5 Hz and 0.3 ms make 0.94 %, 16 cents.",
		"The delay starts at 3.5 ms, getting longer, at the first sample of the render.",
		"The noise of the amplifiers, and of a converter of 16 bits.",
	},
	Ignores: []string{
		"The bandwidth, noise and distortion of a bucket-brigade line: the delay is a clean digital one.",
		"The rounding of the converter and its distortion at low level: only its noise is known.",
		"Next to half the sample rate, above 0.38 of it, the delay is not exact.",
	},
	Sources: []string{
		"Pitch: the derivative of the delay, a closed form.",
		"3.5 ms, rate and depth, 16 bits, 1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            15e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       50,
	Knobs: []Knob{
		{Name: "rate", Brief: "how often the pitch moves", Unit: dsp.Hertzes, Min: 0.1, Max: 12, Default: 5, Still: stillRate},
		{Name: "depth", Brief: "how far the delay moves to either side", Unit: dsp.Seconds, Min: 0, Max: 3e-3, Default: 0.3e-3, Still: stillTime},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		const middle = 3.5e-3
		depth := s.Number("depth")
		v := sweep{
			wave: lfo.Sine, rate: dsp.Hertz(s.Number("rate")),
			shortest: middle - depth, most: middle + depth,
			mix: 1, supply: s.Number("supply"),
		}
		b.highInput()
		b.output(b.sweptStage(v))
	},
}
