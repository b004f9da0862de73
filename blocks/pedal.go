package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// pedal stands for a box that no kind models, by what its data sheet says.
var pedal = Kind{
	Name:  "pedal",
	Brief: "any box by its data: impedances, gain, ceiling, noise, draw and bypass",
	Models: []string{
		"An input resistance, an amplifier of the gain, a ceiling at which it clips, and an output resistance.",
		"White noise at its output, stated as its RMS voltage from 20 Hz to 20 kHz without a filter.",
	},
	Ignores: []string{
		"Whatever the box does beside its gain: filters, distortion below its ceiling, time, compression.",
		"That a ceiling follows the supply: it is stated apart.",
	},
	Sources: []string{
		"1 MΩ, 1 kΩ, 3 V, 50 mA, 60 dB of rejection: common practice, no source; the box's own data belong in their places.",
		"Density of the noise: its RMS voltage over the root of the bandwidth, closed form.",
	},
	InputImpedance:  "10 kΩ to 10 MΩ",
	OutputImpedance: "10 Ω to 100 kΩ",
	Draw:            50e-3,
	Volts:           [2]dsp.Volt{9, 9},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "input", Brief: "input impedance", Unit: dsp.Ohms, Min: 10e3, Max: 10e6, Default: 1e6, Still: stillPart},
		{Name: "output", Brief: "output impedance", Unit: dsp.Ohms, Min: 10, Max: 100e3, Default: 1e3, Still: stillPart},
		{Name: "gain", Brief: "from its input to its output, with nothing plugged into it", Unit: dsp.Decibels, Min: -40, Max: 40, Default: 0},
		{Name: "ceiling", Brief: "the highest voltage that it gives, peak", Unit: dsp.Volts, Min: 0.1, Max: 20, Default: 3, Still: stillPart},
		{Name: "noise", Brief: "its noise at the output, RMS from 20 Hz to 20 kHz, unweighted", Unit: dsp.Volts, Min: 1e-7, Max: 0.1, Default: 10e-6, Still: stillPart},
		{Name: "supply", Brief: "supply voltage; the ceiling is stated apart", Unit: dsp.Volts, Min: 3, Max: 48, Default: 9, Still: stillSupply},
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		gain, ceiling := dsp.FromDB(s.Number("gain")), s.Number("ceiling")
		b.R("rin", "in", circuit.Ground, dsp.Ohm(s.Number("input")))
		b.outputThrough(Stage{
			Name: "box", Noise: s.Number("noise") / math.Sqrt(20e3-20), Ceiling: ceiling,
			New: func() Core {
				return &Follower{Gain: gain, Lo: dsp.Volt(-ceiling), Hi: dsp.Volt(ceiling), clip: b.limit(ceiling)}
			},
			Raises: true,
		}, dsp.Ohm(s.Number("output")))
	},
}
