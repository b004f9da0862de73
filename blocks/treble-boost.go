package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// trebleBoost is one transistor behind a small capacitor: all circuit, no stage. With what drives
// it, the capacitor and the base make the filter.
var trebleBoost = Kind{
	Name:  "treble-boost",
	Brief: "one-transistor treble booster; what is before it is part of its circuit",
	Models: []string{
		"The transistor by the Ebers-Moll model with Early effect, leakage (germanium) and junction capacitances, solved together with whatever is before and after.",
		"The supply's voltage, thermal noise of every resistor and shot noise of every junction.",
	},
	Ignores: []string{
		"Base, emitter and collector resistance, high-level injection, and the change of the transistor with temperature: 27 °C.",
		"The battery's own resistance.",
	},
	Sources: []string{
		"5 nF in, 470 kΩ and 68 kΩ, 3.9 kΩ with 47 µF, 10 kΩ collector control, 10 nF and 1 MΩ out: common practice, no source.",
		"Series resistance of the 47 µF: loss factor 0.16 at 120 Hz, from memory.",
		"Silicon: a generic small-signal NPN, Is 10 fA, BF 200, VAF 100 V; junctions 5 pF and 4 pF: from memory.",
		"Germanium: PNP signal type, DAFx-17, 152-159, Table 1, without its resistances and high-level injection.",
	},
	InputImpedance:  "35 kΩ to 41 kΩ: mostly the capacitor, so that less of it is left in the treble",
	OutputImpedance: "15.9 kΩ to 19 kΩ: the capacitor, and the collector control",
	Draw:            1e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          byDevice,
	Knobs: []Knob{
		choice("device", "what the transistor is made of", "germanium", "germanium", "silicon"),
		dial("boost", "how much of the collector's voltage reaches the output", "linear", 10),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		q, supply := silicon, dsp.Volt(s.Number("supply"))
		if s.Word("device") == "germanium" {
			q, supply = germanium, -supply // positive ground
		}
		b.Supply("vcc", supply)
		b.C("c1", "in", "base", 5e-9)
		b.R("r1", "vcc", "base", 470e3)
		b.R("r2", "base", "0", 68e3)
		b.Q("q1", "collector", "base", "emitter", q)
		b.R("r3", "emitter", "0", 3.9e3)
		b.R("esr", "emitter", "c2", electrolyticLoss/(2*math.Pi*120*47e-6))
		b.C("c2", "c2", "0", 47e-6)
		b.Pot("boost", "collector", "wiper", "vcc", 10e3, circuit.Linear.Wiper(s.Number("boost")/10))
		b.C("c3", "wiper", "out", 10e-9)
		b.R("rpop", "out", "0", 1e6)
	},
}
