package blocks

import (
	"drywire/dsp"
	"drywire/dsp/lfo"
)

// chorus adds a second voice that is now a little sharp and now a little flat.
var chorus = Kind{
	Name:  "chorus",
	Brief: "chorus: a second voice, now a little sharp, now a little flat",
	Models: []string{
		"1 MΩ in, an input amplifier, a dry path and a delay that a sine moves, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The second voice is out of tune by 2π·rate·depth at most, as a share of the frequency: 0.8 Hz and 1.5 ms make 0.75 %, 13 cents.",
		"Mix fades in proportion from dry alone (0 %) to the second voice alone (100 %); at 50 % it combs deepest.",
		"In stereo, a second output, the jack right, with an amplifier and 100 Ω of its own: dry, and a third voice that is flat by as much as the second is sharp, out of the same delay. It feeds the right path of a split that stands right behind the block; the output is the mono chorus, sample by sample. The mean of both is dry and both voices, each at half its level: it combs less deep.",
		"The delay starts at its middle, getting longer, at the first sample of the render.",
		"The noise of the amplifiers, and of a converter of 16 bits.",
	},
	Ignores: []string{
		"In stereo: a switch in the jack right that would mix both voices while nothing is plugged in there; and two outputs of the bypass: both paths are then fed from the one.",
		"The bandwidth, noise and distortion of a bucket-brigade line: the delay is a clean digital one.",
		"The rounding of the converter and its distortion at low level: only its noise is known.",
		"Next to half the sample rate, above 0.38 of it, the delay is not exact.",
	},
	Sources: []string{
		"Pitch: the derivative of the delay, a closed form.",
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
		{Name: "rate", Brief: "how often the second voice goes sharp and flat", Unit: dsp.Hertzes, Min: 0.1, Max: 8, Default: 0.8, Still: stillRate},
		{Name: "depth", Brief: "how far the delay moves to either side", Unit: dsp.Seconds, Min: 0, Max: 4e-3, Default: 1.5e-3, Still: stillTime},
		{Name: "delay", Brief: "middle of the delay", Unit: dsp.Seconds, Min: 5e-3, Max: 20e-3, Default: 12e-3, Still: stillTime},
		{Name: "mix", Brief: "share of the second voice; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.5},
		choice("stereo", "a second output, the jack right, with a voice of its own", "off", "off", "on"),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		middle, depth := s.Number("delay"), s.Number("depth")
		v := sweep{
			wave: lfo.Sine, rate: dsp.Hertz(s.Number("rate")),
			shortest: middle - depth, most: middle + depth,
			mix: s.Number("mix"), supply: s.Number("supply"),
		}
		b.highInput()
		line := b.sweptStage(v)
		if s.Word("stereo") == "off" {
			b.output(line)
			return
		}
		line.New = func() Core {
			core := b.swept(v)
			core.other, core.second = lfo.New(v.wave, v.rate, 0.5, b.Rate), b.rails(v.supply)
			return core
		}
		line.Sense, line.Drive = []string{"in"}, []string{"line", "second"}
		b.R("rout", "line", "out", outputResistance)
		b.R("rsecond", "second", "right", outputResistance)
		b.Stage(line)
	},
}
