package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// fuzz is the two-transistor shunt-feedback circuit: all circuit, no stage. Its input is the base
// of a transistor with feedback from the second one's emitter, so it is a few kilohms at most, and
// the guitar with its volume pot is part of the gain.
var fuzz = Kind{
	Name:  "fuzz",
	Brief: "two-transistor fuzz with shunt feedback; the guitar is part of its circuit",
	Models: []string{
		"Both transistors by the Ebers-Moll model with Early effect, leakage (germanium) and junction capacitances, solved together with whatever is before and after.",
		"The supply's voltage at the collectors, thermal noise of every resistor and shot noise of every junction, and flicker noise of the base currents.",
	},
	Ignores: []string{
		"Base, emitter and collector resistance, high-level injection, and the change of the devices with temperature: 27 °C.",
		"The battery's own resistance, and the spread between transistors of one type.",
	},
	Sources: []string{
		"33 kΩ, 100 kΩ, 8.2 kΩ with 470 Ω, 1 kΩ with 22 µF, 2.2 µF in, 10 nF out, 500 kΩ level: common practice, no source.",
		"Series resistance of the 22 µF: loss factor 0.16 at 120 Hz, from memory.",
		"Silicon: a generic small-signal NPN, Is 10 fA, BF 200, VAF 100 V; junctions 5 pF and 4 pF: from memory.",
		"Flicker noise: corners of 200 Hz (silicon) and 2 kHz (germanium) against the base's shot noise: from memory.",
		"Germanium: PNP signal type, DAFx-17, 152-159, Table 1, without its resistances and high-level injection.",
		"Germanium: second collector trimmed for about half the supply across the transistor, as builders do: common practice, no source.",
	},
	InputImpedance:  "330 Ω to 33 kΩ: lowest with fuzz at 0; silicon at 9 V has 440 Ω there, 510 Ω at 5 and 4.7 kΩ at 10",
	OutputImpedance: "1 Ω to 125 kΩ: the wiper of the level control",
	Draw:            1e-3,
	Volts:           [2]dsp.Volt{9, 12},
	Ground:          byDevice,
	Knobs: []Knob{
		choice("device", "what the transistors are made of", "silicon", "silicon", "germanium"),
		dial("fuzz", "how much of the second emitter's resistance is bypassed: gain, and input impedance", "linear", 7),
		dial("level", "output level", "audio", 6),
		{Name: "supply", Brief: "supply voltage", Unit: dsp.Volts, Min: 6, Max: 12, Default: 9, Still: stillSupply},
	},
	Build: func(b *Bench, s Settings) {
		q, supply, trim := silicon, dsp.Volt(s.Number("supply")), dsp.Ohm(8.2e3)
		if s.Word("device") == "germanium" {
			q, supply, trim = germanium, -supply, germaniumTrim // positive ground
		}
		b.Supply("vcc", supply)
		b.C("c1", "in", "b1", 2.2e-6)
		b.R("r1", "vcc", "c1", 33e3)
		b.Q("q1", "c1", "b1", "0", q)
		b.Q("q2", "c2", "c1", "e2", q)
		b.R("r2", "vcc", "tap", 470)
		b.R("r3", "tap", "c2", trim)
		b.R("r4", "e2", "b1", 100e3)
		b.Pot("fuzz", "e2", "wiper", "0", 1e3, s.Number("fuzz")/10)
		b.R("esr", "wiper", "c2p", electrolyticLoss/(2*math.Pi*120*22e-6))
		b.C("c2", "c2p", "0", 22e-6)
		b.C("c3", "tap", "top", 10e-9)
		b.Pot("level", "top", "out", "0", 500e3, circuit.Audio.Wiper(s.Number("level")/10))
	},
}

// electrolyticLoss is the loss factor of an aluminium electrolytic capacitor at 120 Hz, which is
// where makers state it: its series resistance times 2π·120·C. From memory: 0.16 is a usual limit
// at 16 V. At full fuzz the 10 Ω that it makes of 22 µF are what is left of the second emitter's
// resistance, and they halve the input impedance.
const electrolyticLoss = 0.16

var silicon = circuit.BJT{
	Name: "silicon", Is: 1e-14, BF: 200, BR: 1, VAF: 100, Cje: 5e-12, Cjc: 4e-12, Flicker: siliconFlicker,
}

// Corners of flicker noise against the shot noise of the base: from memory, of small-signal types.
const (
	siliconFlicker   = 200  // Hz
	germaniumFlicker = 2000 // Hz
)

var germanium = circuit.BJT{
	Name: "germanium", PNP: true, Is: 1.423e-6, BF: 307, BR: 20.27, NF: 1.022, NR: 1.025, VAF: 8.167, VAR: 14.84,
	Ise: 30.54e-9, Isc: 213.5e-9, NE: 1.316, NC: 1.258, Cje: 410e-12, Cjc: 10e-12, Flicker: germaniumFlicker,
}

// germaniumTrim takes the place of the 8.2 kΩ at the second collector. Leaky transistors of high
// gain draw less through the second one than silicon does, and 8.2 kΩ would leave 5.9 V of 9 V on
// it. Builders turn a trimmer there until the collector sits at half the supply, where it can swing
// as far up as down: common practice, no source. 12.3 kΩ does that: -4.50 V (checked with a circuit
// simulator in fuzz_test.go).
const germaniumTrim dsp.Ohm = 12.3e3
