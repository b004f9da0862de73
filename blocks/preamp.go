package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// preamp is the front of a valve amplifier: two triodes and a tone network, then a send at the
// level of pedals.
var preamp = Kind{
	Name:  "preamp",
	Place: InAmplifier,
	Brief: "valve preamplifier: two triodes, passive treble, middle and bass, a send",
	Models: []string{
		"Two triodes with grid current and their capacitances, solved together with the tone network.",
		"A passive tone network whose controls interact, then the master control and a send amplifier that brings the level down 20 dB and clips at 13.5 V.",
		"Thermal noise of every resistor, the triodes' noise as that of 2.5/gm at their grids, and the send's.",
	},
	Ignores: []string{
		"That the first grid's current loads what is before it: it flows above 1.5 V of signal, through 68 kΩ.",
		"What the supply of 300 V does under load, hum, heaters, microphony and flicker noise.",
		"The triodes' plate to cathode capacitance. That from plate to grid is what it is at rest (Miller's value), also while a triode is cut off and has no gain.",
		"The triodes' law beyond a volt of positive grid, where a plate may swing too low.",
	},
	Sources: []string{
		"Triode: DAFx-11, 257-264, the paper on a physically-motivated triode model; its first measured double triode's parameters, from memory, without the constant leakage.",
		"1 MΩ, 68 kΩ, 100 kΩ, 1.5 kΩ with 22 µF, 22 nF, gain 1 MΩ, 470 kΩ, 2.7 kΩ with 680 nF: common practice, no source.",
		"Tone network of 56 kΩ, 250 pF, 22 nF, 22 nF, treble 250 kΩ, bass 1 MΩ, middle 25 kΩ, master 1 MΩ: common practice, no source.",
		"Grid to plate 1.7 pF, grid to cathode 1.6 pF; a triode's noise resistance of 2.5/gm: from memory.",
	},
	InputImpedance:  "794 kΩ: 1 MΩ, and the first triode's Miller capacitance",
	OutputImpedance: "100 Ω",
	Knobs: []Knob{
		dial("gain", "level into the second triode", "audio", 5),
		dial("treble", "treble", "linear", 5),
		dial("middle", "middle", "linear", 5),
		dial("bass", "bass", "audio", 5),
		dial("master", "level after the tone network", "audio", 5),
	},
	Build: func(b *Bench, s Settings) {
		b.V("supply", "vcc", "0", 300)
		b.R("r1", "in", "0", 1e6)
		// What is before it is loaded by a copy of the grid's resistor and capacitance, and the
		// grid itself stands behind a boundary, so that the amplifier is a section of its own: one
		// that knows four ports in place of all of a fuzz's too.
		b.ColdR("rload", "in", "cload", 68e3)
		b.C("cload", "cload", "0", millerCapacitance(firstGain))
		b.Stage(Stage{
			Name: "grid", Sense: []string{"in"}, Drive: []string{"driven"},
			New: func() Core { return b.follower(1, gridSupply) }, Raises: true, Noise: boundaryNoise, Ceiling: swing(gridSupply),
		})
		b.R("r2", "driven", "g1", 68e3)
		b.T("t1", "p1", "g1", "k1", doubleTriode)
		b.C("cm1", "g1", "0", millerCapacitance(firstGain))
		b.R("r3", "vcc", "p1", 100e3)
		b.R("r4", "k1", "0", 1.5e3)
		b.C("c1", "k1", "0", 22e-6)
		b.C("c2", "p1", "top", 22e-9)
		b.Pot("gain", "top", "gained", "0", 1e6, circuit.Audio.Wiper(s.Number("gain")/10))
		b.R("r5", "gained", "g2", 470e3)
		b.T("t2", "p2", "g2", "k2", doubleTriode)
		b.C("cm2", "g2", "0", millerCapacitance(secondGain))
		b.R("r6", "vcc", "p2", 100e3)
		b.R("r7", "k2", "0", 2.7e3)
		b.C("c3", "k2", "0", 680e-9)
		b.toneNetwork("p2", s)
		b.Pot("master", "toned", "mastered", "0", 1e6, circuit.Audio.Wiper(s.Number("master")/10))
		b.Stage(Stage{
			Name: "send", Sense: []string{"mastered"}, Drive: []string{"sent"},
			New: func() Core { return b.follower(0.1, sendSupply) }, Raises: true, Noise: opAmpNoise, Ceiling: swing(sendSupply),
		})
		b.coupledOutput("sent", 10e-6)
	},
}

const (
	sendSupply = 30  // V from rail to rail
	gridSupply = 103 // V: so that the boundary at the grid limits at 50 V, which nothing reaches

	boundaryNoise = 1e-12 // V/√Hz: next to none; the boundary is a means of modelling, not a part
)

// toneNetwork is the passive treble, middle and bass of valve amplifiers, from a plate to node
// "toned".
func (b *Bench) toneNetwork(from string, s Settings) {
	b.C("ctreble", from, "ttop", 250e-12)
	b.R("rslope", from, "slope", 56e3)
	b.C("cbass", "slope", "tbass", 22e-9)
	b.C("cmiddle", "slope", "tmid", 22e-9)
	b.Pot("treble", "ttop", "toned", "tbass", 250e3, s.Number("treble")/10)
	b.Rheostat("bass", "tbass", "tmid", 1e6, circuit.Audio.Wiper(s.Number("bass")/10))
	b.Rheostat("middle", "tmid", "0", 25e3, s.Number("middle")/10)
}

// doubleTriode is a small-signal double triode of high gain: DAFx-11, 257-264, from memory.
var doubleTriode = circuit.Triode{
	Name: "high-mu", Mu: 103.2, G: 2.242e-3, Gamma: 1.26, C: 3.40, Gg: 6.177e-4, Xi: 1.314, Cg: 9.901,
	NoiseConductance: 2.5,
}

// millerCapacitance is what a grid has to ground at a stage of so much gain: its capacitance to the
// cathode, and that to the plate as often as the plate moves against it.
func millerCapacitance(gain float64) dsp.Farad { return dsp.Farad(1.6e-12 + 1.7e-12*(1+gain)) }

// The gains of the two stages at rest and 1 kHz, each with its load.
const (
	firstGain  = 65.5
	secondGain = 38.4
)
