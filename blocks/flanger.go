package blocks

import (
	"drywire/dsp"
	"drywire/dsp/lfo"
)

// flanger sweeps a comb of notches through the sound.
var flanger = Kind{
	Name:  "flanger",
	Brief: "flanger: a comb of notches that sweeps, sharper with feedback",
	Models: []string{
		"1 MΩ in, an input amplifier, a dry path and a short delay with feedback that a triangle moves, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The delay goes from the shortest up by the depth and back at a steady speed; it starts at the shortest at the first sample of the render.",
		"Feedback of either sign: positive sharpens the peaks of the comb, negative fills them and puts peaks between.",
		"Mix fades in proportion from dry alone (0 %) to delayed alone (100 %).",
		"The line takes no more than the amplifiers give: feedback that gets there clips.",
		"The noise of the amplifiers, and of a converter of 16 bits: it comes round with the feedback.",
	},
	Ignores: []string{
		"The bandwidth, noise and distortion of a bucket-brigade line: the delay is a clean digital one.",
		"Delays under 0.3 ms, and a sweep through zero.",
		"What clips in the loop does so at the recording's own rate, which leaves more aliasing than elsewhere.",
		"The rounding of the converter and its distortion at low level: only its noise is known.",
		"Next to half the sample rate, above 0.38 of it, the delay is not exact.",
	},
	Sources: []string{
		"Comb: 1 - mix + mix·d/(1 - feedback·d) with the delay d = exp(-i·2π·f·time), a closed form.",
		"Delay, rate and depth, 16 bits, 1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            15e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       50,
	Knobs: []Knob{
		{Name: "rate", Brief: "how often the comb sweeps down and up", Unit: dsp.Hertzes, Min: 0.05, Max: 10, Default: 0.3, Still: stillRate},
		{Name: "delay", Brief: "shortest delay: the comb at its highest", Unit: dsp.Seconds, Min: 0.3e-3, Max: 5e-3, Default: 0.5e-3, Still: stillTime},
		{Name: "depth", Brief: "by how much the delay gets longer", Unit: dsp.Seconds, Min: 0, Max: 10e-3, Default: 3e-3, Still: stillTime},
		{Name: "feedback", Brief: "share of the delayed sound that is fed back, of either polarity", Unit: dsp.Percents, Min: -0.95, Max: 0.95, Default: 0.5},
		{Name: "mix", Brief: "share of the delayed sound; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.5},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		shortest := s.Number("delay")
		v := sweep{
			wave: lfo.Triangle, rate: dsp.Hertz(s.Number("rate")), start: 0.75,
			shortest: shortest, most: shortest + s.Number("depth"),
			feedback: s.Number("feedback"), mix: s.Number("mix"), supply: s.Number("supply"),
		}
		b.highInput()
		b.output(b.sweptStage(v))
	},
}
