package blocks

import "drywire/dsp"

// patchBay is a way through a panel of jacks: what a board has at its edge, or a rack in front of
// it.
var patchBay = Kind{
	Name:            "patch-bay",
	Brief:           "a pair of jacks in a panel, or its send and return with nothing plugged in: contacts and the cables behind it",
	Models:          []string{"Two contacts, and a cable to the panel and one back: 0.1 Ω and 100 pF per metre."},
	Ignores:         []string{"Contacts that have worn, and hum between two grounds that the panel joins."},
	Sources:         []string{"Contacts of 0.05 Ω, cable of 0.1 Ω and 100 pF per metre: common practice, no source."},
	InputImpedance:  "15.9 kΩ to 1 MΩ: that of what follows, with the capacitance of its cables beside it",
	OutputImpedance: "8.4 kΩ to 10 kΩ: that of what comes before (here 10 kΩ), with the capacitance of its cables beside it",
	Knobs: []Knob{
		{Name: "run", Brief: "length of the cable to the panel, and of that back", Unit: dsp.Metres, Min: 0, Max: 50, Default: 0.5, Still: stillPart},
	},
	Build: func(b *Bench, s Settings) {
		r, c := CableParts(Cord{Length: dsp.Metre(s.Number("run"))})
		b.R("to", "in", "jack", r+strayResistance)
		b.C("toc", "jack", "0", c)
		b.R("back", "jack", "out", r+strayResistance)
		b.C("backc", "out", "0", c)
	},
}
