package blocks

import "drywire/dsp"

// cable is a length of guitar cable as a block, to put where a long run is.
var cable = Kind{
	Name:    "cable",
	Brief:   "a length of guitar cable",
	Models:  []string{"Capacitance of 100 pF and resistance of 0.1 Ω per metre."},
	Ignores: []string{"Inductance, leakage and handling noise: none matters at audio frequencies."},
	Sources: []string{
		"100 pF/m: a trade magazine, November 2009 (30 pF a foot); makers give 108 to 148 pF/m.",
		"0.1 Ω/m: common practice, no source.",
	},
	InputImpedance:  "3.2 kΩ to 1 MΩ: that of what follows, with the cable's capacitance beside it",
	OutputImpedance: "3 kΩ to 10 kΩ: that of what comes before (here 10 kΩ), with the cable's capacitance beside it",
	Knobs: []Knob{
		{Name: "length", Brief: "length", Unit: dsp.Metres, Min: 0.05, Max: 100, Default: 6, Still: stillPart},
		{Name: "capacitance", Brief: "capacitance of one metre", Unit: dsp.Farads, Min: 30e-12, Max: 500e-12, Default: cableCapacitance, Still: stillPart},
	},
	Build: func(b *Bench, s Settings) {
		length := s.Number("length")
		b.R("r", "in", "out", dsp.Ohm(length*cableResistance))
		b.C("c", "out", "0", dsp.Farad(length*s.Number("capacitance")))
	},
}
