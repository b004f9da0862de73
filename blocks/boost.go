package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// boost is a clean gain: an op-amp, whose rails are all that is not linear.
var boost = Kind{
	Name:  "boost",
	Brief: "clean boost: one op-amp; its ceiling follows the supply",
	Models: []string{
		"1 MΩ in behind a coupling capacitor, an amplifier that clips 1.5 V before its rails, a coupling capacitor, 100 Ω out.",
		"The noise of the op-amp and of its gain resistors, and of the resistors at either jack.",
	},
	Ignores: []string{"The op-amp's own distortion below its rails, its bias current, bandwidth and slew rate: at 30 dB of gain a common audio op-amp still reaches 95 kHz."},
	Sources: []string{
		"1 MΩ, 22 nF, 10 µF, 100 kΩ, 100 Ω, 1.5 V, a gain leg of 1 kΩ: common practice, no source.",
		"Noise 8 nV/√Hz and a bandwidth of 3 MHz: from memory, a common audio op-amp.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "101 Ω",
	Draw:            5e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "gain", Brief: "how much louder", Unit: dsp.Decibels, Min: 0, Max: 30, Default: 12},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, gain := s.Number("supply"), dsp.FromDB(s.Number("gain"))
		b.C("c1", "in", "plus", 22e-9)
		b.R("r1", "plus", "0", inputResistance)
		// Feedback and gain leg make the noise of the two in parallel: R·(1-1/gain) with R the leg.
		leg := thermalNoise(1e3 * (1 - 1/gain))
		b.Stage(Stage{
			Name: "amp", Sense: []string{"plus"}, Drive: []string{"amp"},
			New: func() Core { return b.follower(gain, supply) }, Raises: true,
			Noise:   gain * root(opAmpNoise, leg),
			Ceiling: swing(supply),
		})
		b.coupledOutput("amp", 10e-6)
	},
}

// thermalNoise of a resistance, in V/√Hz.
func thermalNoise(r float64) float64 {
	return math.Sqrt(4 * circuit.Boltzmann * circuit.Temperature * r)
}

// coupledOutput is a coupling capacitor, the resistor that keeps the jack from popping, and 100 Ω
// in series.
func (b *Bench) coupledOutput(from string, c dsp.Farad) {
	b.C("cout", from, "coupled", c)
	b.R("rpop", "coupled", "0", 100e3)
	b.R("rout", "coupled", "out", outputResistance)
}
