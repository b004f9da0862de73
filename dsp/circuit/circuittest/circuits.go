// Package circuittest is the circuits that the tests of dsp/circuit and the rooms below it use:
// small enough to be checked by hand or by another simulator. It is in no program.
package circuittest

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// SiliconNPN is a generic small-signal transistor: from memory. Junction capacitances keep the
// reference from stalling.
var SiliconNPN = circuit.BJT{Name: "silicon", Is: 1e-14, BF: 200, BR: 1, VAF: 100, Cje: 5e-12, Cjc: 4e-12}

// GermaniumPNP is a signal type: DAFx-17, 152-159, Table 1, without its resistances and high-level
// injection.
var GermaniumPNP = circuit.BJT{
	Name: "germanium", PNP: true, Is: 1.423e-6, BF: 307, BR: 20.27, NF: 1.022, NR: 1.025, VAF: 8.167, VAR: 14.84,
	Ise: 30.54e-9, Isc: 213.5e-9, NE: 1.316, NC: 1.258, Cje: 410e-12, Cjc: 10e-12,
}

// Switching is a small silicon diode: a stock model card, with a constant capacitance. In a pair it
// has no series resistance.
var (
	Switching = circuit.Diode{Name: "switching", Is: 2.52e-9, N: 1.752, Cj: 4e-12}
	Resisting = circuit.Diode{Name: "resisting", Is: 2.52e-9, N: 1.752, Cj: 4e-12, Rs: 0.568}
)

// Triode is half of a common double triode, with the law's own constants.
var Triode = circuit.Triode{
	Name: "t", Mu: 103.2, G: 2.242e-3, Gamma: 1.26, C: 3.40, Gg: 6.177e-4, Xi: 1.314, Cg: 9.901, NoiseConductance: 2.5,
}

// addFuzz adds the two-transistor shunt-feedback fuzz between in and out: values by common
// practice, no source. A PNP has the supply turned round.
func addFuzz(n *circuit.Netlist, q circuit.BJT, fuzz float64) {
	supply := dsp.Volt(9)
	if q.PNP {
		supply = -9
	}
	n.V("supply", "vcc", "0", supply)
	n.C("cin", "in", "b1", 2.2e-6)
	n.R("rc1", "vcc", "c1", 33e3)
	n.Q("q1", "c1", "b1", "0", q)
	n.Q("q2", "c2", "c1", "e2", q)
	n.R("rf", "e2", "b1", 100e3)
	n.R("rc2a", "vcc", "t", 470)
	n.R("rc2b", "t", "c2", 8.2e3)
	n.Pot("fuzz", "e2", "fw", "0", 1e3, fuzz)
	n.C("ce", "fw", "0", 22e-6)
	n.C("cout", "t", "o", 10e-9)
	n.Pot("level", "o", "out", "0", 500e3, 0.5)
	n.C("cload", "out", "0", 500e-12)
	n.R("rload", "out", "0", 1e6)
}

// FuzzWithGuitar is the fuzz at full gain on a pickup with its pot and cable.
func FuzzWithGuitar(q circuit.BJT) *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "e", "0")
	n.R("rp", "e", "p1", 7e3)
	n.L("lp", "p1", "guitar", 2.4)
	n.C("cp", "guitar", "0", 110e-12)
	n.Pot("vol", "guitar", "w", "0", 500e3, 1)
	n.C("cable", "w", "0", 500e-12)
	n.R("cabler", "w", "in", 0.5)
	addFuzz(n, q, 1)
	return n
}

// FuzzAlone is the fuzz with nothing at its input, to look into it. A node that only a capacitor
// touches would lead the reference astray (its operating point comes out right, its small-signal
// conductances do not), so a gigaohm holds it.
func FuzzAlone(q circuit.BJT) *circuit.Netlist {
	n := circuit.New()
	n.R("hold", "in", "0", 1e9)
	addFuzz(n, q, 0.5)
	return n
}

// Clipper is two diodes head to tail across a capacitor: resistor and capacitor as in CMJ 32(2)
// 23-42, 2008.
func Clipper() *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "in", "0")
	n.R("r", "in", "out", 2.2e3)
	n.C("c", "out", "0", 10e-9)
	n.Pair("d", "out", "0", Switching)
	return n
}

// Stage is one transistor with a resistor in its emitter.
func Stage() *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "in", "0")
	n.V("supply", "vcc", "0", 9)
	n.R("rs", "in", "s", 1e3)
	n.C("cin", "s", "b", 1e-6)
	n.R("rb1", "vcc", "b", 100e3)
	n.R("rb2", "b", "0", 22e3)
	n.R("rc", "vcc", "c", 4.7e3)
	n.R("re", "e", "0", 1e3)
	n.C("ce", "e", "0", 1e-6)
	n.Q("q", "c", "b", "e", SiliconNPN)
	n.C("cout", "c", "out", 100e-9)
	n.R("rl", "out", "0", 100e3)
	return n
}

// Amplifier is an op-amp with a gain of 11 and rails at ±4 V.
func Amplifier(slew float64) *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "in", "0")
	n.R("rs", "in", "p", 10e3)
	n.OpAmp("a", "p", "m", "o", circuit.OpAmp{Gain: 1e5, GBW: 1e6, Slew: slew, Rin: 1e9, Rout: 75, Lo: -4, Hi: 4})
	n.R("rf", "o", "m", 100e3)
	n.R("rg", "m", "0", 10e3)
	n.R("rl", "o", "out", 1e3)
	n.C("cl", "out", "0", 1e-9)
	return n
}

// Everything has every kind of element in it.
func Everything() *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "in", "0")
	n.Input("second-input", "s", "0")
	n.R("r.1", "in", "a", 1e3)
	n.ColdR("cold", "s", "a", 22e3)
	n.C("c", "a", "0", 10e-9)
	n.L("l", "a", "b", 0.1)
	n.V("am", "b", "c", 0)
	n.R("rb", "c", "0", 4.7e3)
	n.Pot("pot", "c", "w", "0", 100e3, 0.3)
	n.Rheostat("rheo", "w", "x", 50e3, 0.5)
	n.C("cx", "x", "0", 1e-9)
	n.E("e", "y", "0", "w", "0", 2)
	n.R("ry", "y", "z", 1e3)
	n.G("g", "z", "0", "w", "0", 1e-3)
	n.F("f", "0", "z", "am", 0.5)
	n.Pair("pair", "z", "0", Switching)
	n.D("ge", "z", "k", circuit.Diode{Name: "plain", Is: 1e-7, N: 1.3})
	n.R("rk", "k", "0", 10e3)
	n.D("si", "k", "0", Resisting)
	n.V("supply", "vcc", "0", 9)
	n.R("rq", "vcc", "q", 10e3)
	n.Q("npn", "q", "z", "0", SiliconNPN)
	n.Q("pnp", "0", "z", "pe", GermaniumPNP)
	n.R("rpe", "vcc", "pe", 100e3)
	n.NoiseE("en", "q", "nq", 10e-9)
	n.OpAmp("op", "nq", "out", "out", circuit.OpAmp{Gain: 1e5, GBW: 3e6, Slew: 1e6, Rin: 1e7, Rout: 100, Lo: 1, Hi: 8, Noise: 5e-9})
	n.R("rload", "out", "0", 10e3)
	return n
}

// NonLinear is the circuits with a device, by name.
func NonLinear() map[string]*circuit.Netlist {
	return map[string]*circuit.Netlist{
		"silicon": FuzzWithGuitar(SiliconNPN), "germanium": FuzzWithGuitar(GermaniumPNP),
		"clipper": Clipper(), "stage": Stage(), "amplifier": Amplifier(0.5e6), "everything": Everything(),
	}
}
