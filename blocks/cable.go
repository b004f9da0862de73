package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// A guitar cable, per metre: 100 pF (a trade magazine, November 2009, gives 30 pF a foot) and 0.1 Ω
// there and back (common practice, no source).
const (
	cableCapacitance = 100e-12
	cableResistance  = 0.1
)

// Cord is a cable by what it does to the signal: between two blocks, from the guitar, to the load.
type Cord struct {
	Length      dsp.Metre
	Capacitance dsp.Farad // of a metre; 0: cableCapacitance
}

// CableParts is the series resistance and the shunt capacitance of a guitar cable.
func CableParts(k Cord) (dsp.Ohm, dsp.Farad) {
	l := max(float64(k.Length), 0.01) // even a plug straight into a jack has a capacitance
	if k.Capacitance == 0 {
		k.Capacitance = cableCapacitance
	}
	return dsp.Ohm(l * cableResistance), dsp.Farad(l * float64(k.Capacitance))
}

// Cable adds a cable from one node to another: its resistance in series, then its capacitance to
// ground at the far end. Package wiring calls it for every cable of a chain.
func (b *Bench) Cable(name, from, to string, k Cord) {
	defer b.Own(Cables)()
	r, c := CableParts(k)
	b.R(name+".r", from, to, r)
	b.C(name+".c", to, circuit.Ground, c)
}

// cable is a length of guitar cable as a block, in the place of a long run; the cables between
// blocks are no blocks, see Bench.Cable.
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
