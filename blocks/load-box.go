package blocks

import "drywire/dsp"

// loadBox takes the place of a loudspeaker: a resistance that turns an amplifier's power into heat,
// and a divider for a line output.
var loadBox = Kind{
	Name:  "load-box",
	Place: AfterPower,
	Loads: true,
	Brief: "load box in the place of a loudspeaker, with a line output",
	Models: []string{
		"A resistance for the loudspeaker's, and a divider from it to the line output, whose lower part is 600 Ω.",
	},
	Ignores: []string{
		"The resonance and the coil of a loudspeaker: the amplifier meets the same resistance at all frequencies.",
		"A fan, the power that the box can take, and any filter for a cabinet: what comes out has the treble of a bare amplifier.",
	},
	Sources:         []string{"8 Ω, 600 Ω, -30 dB: common practice, no source."},
	InputImpedance:  "4 Ω to 16 Ω",
	OutputImpedance: "413 Ω to 600 Ω",
	Knobs: []Knob{
		{Name: "impedance", Brief: "resistance of the load; that which the amplifier asks for", Unit: dsp.Ohms, Min: 4, Max: 16, Default: 8, Still: stillPart},
		{Name: "line", Brief: "level of the line output re the amplifier's terminals", Unit: dsp.Decibels, Min: -60, Max: -10, Default: -30},
	},
	Build: func(b *Bench, s Settings) {
		const bottom = 600
		b.R("load", "in", "0", dsp.Ohm(s.Number("impedance")))
		b.R("top", "in", "out", dsp.Ohm(bottom*(1/dsp.FromDB(s.Number("line"))-1)))
		b.R("bottom", "out", "0", bottom)
	},
}
