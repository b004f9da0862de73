package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// distortion clips hard: an op-amp with much gain, then two diodes to ground.
var distortion = Kind{
	Name:  "distortion",
	Brief: "distortion: an op-amp into two diodes to ground; hard, with a low-pass",
	Models: []string{
		"An input buffer, an op-amp with up to 47 dB of gain, two diodes to ground, a low-pass, an output buffer and a level control; everything between the buffers is one circuit.",
		"The op-amp has one pole at its gain-bandwidth product and clips 1.5 V before its rails, before the diodes do.",
		"The level control is at the jack: cable and next block load it.",
		"Thermal noise of every resistor, noise voltage and noise current of op-amps and transistor followers: the current works on the impedance that feeds the input.",
	},
	Ignores: []string{
		"The buffers' own distortion and loss, and the op-amp's slew rate: a slow one takes more treble at full gain.",
		"The diodes' series resistance of half an ohm, and their change with temperature: 27 °C.",
	},
	Sources: []string{
		"Clipper of 2.2 kΩ and 10 nF with two silicon diodes: DAFx-07, the paper on distortion and overdrive circuits.",
		"Diodes: Is 2.52 nA, n 1.752, 4 pF, as in the same paper.",
		"47 nF, 1 MΩ, 1 µF, 100 kΩ, gain leg 470 Ω and 2.2 µF, gain control 100 kΩ with 100 pF, 4.7 µF, low-pass of 1.5 kΩ, 100 kΩ and 3.3 nF, level 100 kΩ: common practice, no source.",
		"Op-amp of 3 MHz, 8 nV/√Hz, 1.5 V: from memory, a common audio op-amp.",
		"Followers: 0.33 mA, a current gain of 300, a base of 200 Ω: common practice, no source; op-amp inputs of 0.4 pA/√Hz and a flicker corner of 200 Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 Ω to 25 kΩ: the wiper of the level control",
	Draw:            8e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		dial("distortion", "gain before the diodes: 1 to 214 times", "audio", 6),
		dial("tone", "treble after the diodes: a low-pass at 475 Hz up to 32 kHz", "reverse audio", 6),
		dial("level", "output level", "audio", 6),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		b.inputBuffer("c1", 47e-9, 1e6, supply)
		b.C("c2", "buffered", "plus", 1e-6)
		b.R("r2", "plus", "0", 100e3)
		b.OpAmp("u1", "plus", "minus", "o1", audioOpAmp(supply))
		b.R("r3", "minus", "leg", 470)
		b.C("c3", "leg", "0", 2.2e-6)
		b.Rheostat("distortion", "minus", "o1", 100e3, circuit.Audio.Wiper(s.Number("distortion")/10))
		b.C("c4", "minus", "o1", 100e-12)
		b.C("c5", "o1", "c5", 4.7e-6)
		b.R("r5", "c5", "clip", 2.2e3)
		b.C("c6", "clip", "0", 10e-9)
		b.Pair("d1", "clip", "0", switchingDiode)
		b.R("r6", "clip", "r6", 1.5e3)
		b.Rheostat("tone", "r6", "filtered", 100e3, circuit.Audio.Wiper(1-s.Number("tone")/10))
		b.C("c7", "filtered", "0", 3.3e-9)
		b.emitterFollower("output", "filtered", "driven", supply)
		b.C("c8", "driven", "top", 1e-6)
		b.Pot("level", "top", "out", "0", 100e3, circuit.Audio.Wiper(s.Number("level")/10))
	},
}
