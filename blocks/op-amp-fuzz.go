package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// opAmpFuzz is two clipping stages in a row and a tone control with a notch in the mids.
var opAmpFuzz = Kind{
	Name:  "op-amp-fuzz",
	Brief: "op-amp fuzz: two clipping stages in a row, and a tone control with scooped mids",
	Models: []string{
		"An input buffer, the sustain control, two inverting op-amps of 35 dB with diodes in their feedback, a passive tone network, a recovery amplifier and a volume control.",
		"Everything between buffer and recovery amplifier is one circuit. Buffer and recovery amplifier clip 1.5 V before their rails.",
		"Op-amps with one pole at their gain-bandwidth product.",
		"The volume control is at the jack: cable and next block load it.",
		"Thermal noise of every resistor, noise voltage and noise current of op-amps and transistor followers: the current works on the impedance that feeds the input.",
	},
	Ignores: []string{
		"Rails and slew rate of the two clipping op-amps: their diodes hold them within 0.7 V.",
		"The diodes' series resistance of half an ohm, and their change with temperature: 27 °C.",
	},
	Sources: []string{
		"Topology and values (100 nF, 1 MΩ, sustain 100 kΩ, 8.2 kΩ with 100 nF, 470 kΩ with 470 pF, volume 100 kΩ, recovery of 12 dB): common practice, no source.",
		"Tone network of 39 kΩ with 10 nF and 4 nF with 22 kΩ across 100 kΩ: common practice, no source.",
		"Diodes: Is 2.52 nA, n 1.752, 4 pF: DAFx-07, the paper on distortion and overdrive circuits.",
		"Op-amps of 3 MHz, 8 nV/√Hz, 1.5 V: from memory, a common audio op-amp.",
		"Followers: 0.33 mA, a current gain of 300, a base of 200 Ω: common practice, no source; op-amp inputs of 0.4 pA/√Hz and a flicker corner of 200 Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 Ω to 25 kΩ: the wiper of the volume control",
	Draw:            8e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		dial("sustain", "level into the clipping stages", "audio", 7),
		dial("tone", "from bass to treble, with a notch in the mids between", "linear", 5),
		dial("volume", "output level", "audio", 5),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		b.inputBuffer("c1", 100e-9, 1e6, supply)
		b.C("c2", "buffered", "c2", 1e-6)
		b.Pot("sustain", "c2", "sustained", "0", 100e3, circuit.Audio.Wiper(s.Number("sustain")/10))
		held := audioOpAmp(supply)
		held.Lo, held.Hi = 0, 0 // the diodes keep it from its rails
		clipper := func(n, from, to string) {
			b.C("c3"+n, from, "leg"+n, 100e-9)
			b.R("r3"+n, "leg"+n, "minus"+n, 8.2e3)
			b.R("r4"+n, "minus"+n, to, 470e3)
			b.C("c4"+n, "minus"+n, to, 470e-12)
			b.Pair("d"+n, "minus"+n, to, switchingDiode)
			b.OpAmp("u"+n, "0", "minus"+n, to, held)
		}
		clipper("1", "sustained", "o1")
		clipper("2", "o1", "o2")
		b.R("r5", "o2", "low", 39e3)
		b.C("c5", "low", "0", 10e-9)
		b.C("c6", "o2", "high", 4e-9)
		b.R("r6", "high", "0", 22e3)
		b.Pot("tone", "high", "toned", "low", 100e3, s.Number("tone")/10)
		const recovery = 3.9
		b.Circuit.NoiseI(b.Name("recovery")+".i", b.Name("toned"), circuit.Ground, opAmpCurrent, 0)
		b.Stage(Stage{
			Name: "recovery", Sense: []string{"toned"}, Drive: []string{"recovered"},
			New: func() Core { return b.follower(recovery, supply) }, Raises: true, Noise: recovery * opAmpNoise, Ceiling: swing(supply),
		})
		b.C("c7", "recovered", "top", dsp.Farad(1e-6))
		b.Pot("volume", "top", "out", "0", 100e3, circuit.Audio.Wiper(s.Number("volume")/10))
	},
}
