package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/filter"
)

// midCarve takes a band of the mids away, so that what clips after it stays clear.
var midCarve = Kind{
	Name:  "mid-carve",
	Brief: "cut of one band in the mids, to clear up a sound before gain",
	Models: []string{
		"1 MΩ in, an input amplifier, one filter of second order, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The noise of both amplifiers and of the filter.",
	},
	Ignores: []string{
		"The filter's influence on the noise.",
		"The filter is digital: the bilinear transform makes a cut at 2 kHz narrower than an analogue one by less than 1 %.",
	},
	Sources: []string{
		"Curve: \"Cookbook formulae for audio EQ biquad filter coefficients\", W3C Note, 2021.",
		"Noise of three op-amps of 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V, the band: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            10e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		bandFrequency("freq", "middle of the cut", 200, 2e3, 650),
		{Name: "depth", Brief: "how deep the cut is", Unit: dsp.Decibels, Min: 0, Max: 24, Default: 9},
		{Name: "q", Brief: "frequency over bandwidth: high is narrow", Unit: dsp.None, Min: 0.3, Max: 4, Default: 0.9},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		b.highInput()
		b.output(Stage{
			Name: "cut",
			New: func() Core {
				return &equalizing{
					in:    b.rails(supply),
					bands: filter.Cascade{filter.Peak(dsp.Hertz(s.Number("freq")), -s.Number("depth"), s.Number("q"), b.Rate)},
					level: 1,
					out:   b.rails(supply),
				}
			},
			Noise:   math.Sqrt(3) * opAmpNoise,
			Ceiling: swing(supply),
		})
	},
}
