package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// overdrive clips softly: diodes in the feedback of an op-amp, so that what is clipped is added to
// the clean input. Its gain falls below 720 Hz, which keeps the bass clean.
var overdrive = Kind{
	Name:  "overdrive",
	Brief: "overdrive: an op-amp with diodes in its feedback; soft, with little bass and treble",
	Models: []string{
		"An input buffer, the clipping amplifier with its diodes, an active tone control, a level control and an output buffer; everything between the buffers is one circuit.",
		"Op-amps with one pole at their gain-bandwidth product, that clip 1.5 V before their rails: so the highest drive loses treble.",
		"Thermal noise of every resistor, noise voltage and noise current of op-amps and transistor followers: the current works on the impedance that feeds the input.",
	},
	Ignores: []string{
		"The buffers' own distortion and loss, and the op-amps' slew rate: at full drive a common one's 1 V/µs would be met above some 5 kHz at 0.3 V.",
		"The diodes' series resistance of half an ohm, and their change with temperature: 27 °C.",
	},
	Sources: []string{
		"Gain leg 4.7 kΩ and 47 nF, feedback 51 kΩ and 500 kΩ with 51 pF, then 1 kΩ and 220 nF: DAFx-07, the paper on distortion and overdrive circuits.",
		"Diodes: Is 2.52 nA, n 1.752, 4 pF, as in the same paper; asymmetric means two in series one way, common practice, no source.",
		"510 kΩ, 20 nF, 1 µF, 10 kΩ, the tone control of 20 kΩ with 220 Ω and 220 nF, level 100 kΩ, output 10 µF: common practice, no source.",
		"Op-amps of 3 MHz, 8 nV/√Hz, 1.5 V: from memory, a common audio op-amp.",
		"Followers: 0.33 mA, a current gain of 300, a base of 200 Ω: common practice, no source; op-amp inputs of 0.4 pA/√Hz and a flicker corner of 200 Hz: from memory.",
	},
	InputImpedance:  "510 kΩ",
	OutputImpedance: "101 Ω",
	Draw:            8e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		dial("drive", "gain before the diodes: 12 to 118 times", "audio", 5),
		dial("tone", "treble after the diodes", "linear", 5),
		dial("level", "output level", "audio", 6),
		choice("clipping", "one diode either way, or two in series one way: more even harmonics", "symmetric", "symmetric", "asymmetric"),
		supplyKnob(9, 9, 18),
		bypassKnob("buffered"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		forward := switchingDiode
		if s.Word("clipping") == "asymmetric" {
			forward = twoInSeries(switchingDiode)
		}
		b.inputBuffer("c1", 20e-9, 510e3, supply)
		b.C("c2", "buffered", "plus", 1e-6)
		b.R("r2", "plus", "0", 10e3)
		b.OpAmp("u1", "plus", "minus", "o1", audioOpAmp(supply))
		b.R("r3", "minus", "leg", 4.7e3)
		b.C("c3", "leg", "0", 47e-9)
		b.R("r4", "minus", "limit", 51e3)
		b.Rheostat("drive", "limit", "o1", 500e3, circuit.Audio.Wiper(s.Number("drive")/10))
		b.C("c4", "minus", "o1", 51e-12)
		b.Antiparallel("d1", "o1", "minus", forward, switchingDiode)
		b.R("r5", "o1", "t", 1e3)
		b.C("c5", "t", "0", 220e-9)
		b.R("r6", "t", "0", 10e3)
		b.OpAmp("u2", "t", "minus2", "o2", audioOpAmp(supply))
		b.R("r7", "minus2", "o2", 1e3)
		b.Pot("tone", "minus2", "wiper", "t", 20e3, s.Number("tone")/10)
		b.R("r8", "wiper", "c6", 220)
		b.C("c6", "c6", "0", 220e-9)
		b.levelAndBuffer("o2", 1e-6, 100e3, s.Number("level"), supply)
	},
}

// switchingDiode is a small silicon diode: the values of DAFx-07, the paper on distortion and
// overdrive circuits.
var switchingDiode = circuit.Diode{Name: "switching", Is: 2.52e-9, N: 1.752, Cj: 4e-12}

// twoInSeries is two equal diodes one after the other: at half the voltage each, the same current.
func twoInSeries(d circuit.Diode) circuit.Diode {
	d.Name += "-two"
	d.N *= 2
	d.Cj /= 2
	return d
}

// audioOpAmp is a common op-amp of pedals at a single supply, its bias at half of it. From memory.
func audioOpAmp(supply float64) circuit.OpAmp {
	top := dsp.Volt(swing(supply))
	return circuit.OpAmp{Gain: 1e5, GBW: 3e6, Rin: 5e6, Rout: 50, Lo: -top, Hi: top, Noise: opAmpNoise, Current: opAmpCurrent}
}

// inputBuffer is a coupling capacitor, a resistor to the bias and an emitter follower, at node
// "buffered".
func (b *Bench) inputBuffer(name string, c dsp.Farad, r dsp.Ohm, supply float64) {
	b.C(name, "in", "base", c)
	b.R("rin", "base", "0", r)
	b.emitterFollower("input", "base", "buffered", supply)
}

// levelAndBuffer is a coupling capacitor, the level control and an output buffer.
func (b *Bench) levelAndBuffer(from string, c dsp.Farad, track dsp.Ohm, level, supply float64) {
	b.C("clevel", from, "top", c)
	b.Pot("level", "top", "slider", "0", track, circuit.Audio.Wiper(level/10))
	b.emitterFollower("output", "slider", "driven", supply)
	b.coupledOutput("driven", 10e-6)
}

// An emitter follower of pedals: 0.33 mA in 10 kΩ, biased from half of 9 V through 510 kΩ, a
// current gain of 300, a base of 200 Ω: common practice, no source; flicker noise as in a silicon
// transistor.
const (
	followerBase       = 0.33e-3 / 300 // A, of base current
	followerResistance = 200 + circuit.ThermalVoltage/0.33e-3/2
)

// emitterFollower is a stage that is a transistor. Its noise voltage is that of its base's
// resistance and of half of 1/gm, its noise current the shot and the flicker noise of its base
// current, which flows through what it is fed from.
func (b *Bench) emitterFollower(name, base, driven string, supply float64) {
	b.Circuit.NoiseI(b.Name(name)+".ib", b.Name(base), circuit.Ground, math.Sqrt(2*circuit.Charge*followerBase), siliconFlicker)
	b.Stage(Stage{
		Name: name, Sense: []string{base}, Drive: []string{driven},
		New: func() Core { return b.follower(1, supply) }, Raises: true, Noise: thermalNoise(followerResistance), Ceiling: swing(supply),
	})
}
