package blocks

import (
	"drywire/dsp"
	"drywire/dsp/dynamics"
	"drywire/dsp/oversample"
)

// compressor lowers what is loud, so that what follows gets a more even level.
var compressor = Kind{
	Name:  "compressor",
	Brief: "compressor: evens out loud and soft, with threshold, ratio, knee, attack and release",
	Models: []string{
		"1 MΩ in, an input amplifier, a gain cell, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"A detector that follows the peaks of the input, works in decibels and does not look ahead (feed-forward).",
		"The noise of the gain cell and the input amplifier, raised by the make-up gain.",
	},
	Ignores: []string{
		"The gain cell's own distortion, and the control voltage that leaks into the sound of a real one.",
		"The rails do not hold what lies above 20 kHz: with much make-up gain the output can go past them there.",
		"Noise falls and rises with the gain in a real one; here it is that of the block at rest.",
	},
	Sources: []string{
		"Static curve, knee and detector: J. Audio Eng. Soc. 60(6), 399-408, 2012.",
		"Gain cell noise 120 nV/√Hz at unity gain (-95 dBV in 20 kHz), op-amp 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            8e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "threshold", Brief: "level of the peaks above which it acts (0 dBV is a peak of 1 V)", Unit: dsp.DBVs, Min: -60, Max: 10, Default: -20},
		{Name: "ratio", Brief: "by how many dB the input must rise for one dB more at the output", Unit: dsp.Ratios, Min: 1, Max: 100, Default: 4},
		{Name: "knee", Brief: "width of the soft knee around the threshold; 0 dB is a hard knee", Unit: dsp.Decibels, Min: 0, Max: 24, Default: 6},
		{Name: "attack", Brief: "time constant (63 %) of the gain reduction after the level rises", Unit: dsp.Seconds, Min: 0.1e-3, Max: 0.5, Default: 10e-3, Still: stillTime},
		{Name: "release", Brief: "time constant (63 %) of the recovery after the level falls; never shorter than the attack", Unit: dsp.Seconds, Min: 5e-3, Max: 5, Default: 150e-3, Still: stillTime},
		{Name: "level", Brief: "make-up gain after compression", Unit: dsp.Decibels, Min: -20, Max: 40, Default: 6},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, level := s.Number("supply"), s.Number("level")
		curve := dynamics.Curve{Threshold: s.Number("threshold"), Ratio: s.Number("ratio"), Knee: s.Number("knee")}
		attack, release := dsp.Second(s.Number("attack")), dsp.Second(s.Number("release"))
		b.highInput()
		b.output(Stage{
			Name: "cell",
			New: func() Core {
				return &compressing{b.rails(supply), dynamics.New(curve, attack, release, level, b.Rate), b.rails(supply), dsp.FromDB(level)}
			},
			Noise:   root(opAmpNoise, gainCellNoise) * dsp.FromDB(level),
			Ceiling: swing(supply),
		})
	},
}

const gainCellNoise = 120e-9 // V/√Hz at unity gain: from memory

// compressing is the core: amplifier, gain cell, amplifier.
type compressing struct {
	in     *oversample.Clip
	cell   *dynamics.Compressor
	out    *oversample.Clip
	makeup float64
}

// Process implements Core.
func (c *compressing) Process(out, in [][]float64) {
	y := out[0]
	c.in.Process(y, in[0])
	c.cell.Process(y, y)
	c.out.Process(y, y)
}

// Response implements Responder: below the knee the block is its make-up gain.
func (c *compressing) Response(dsp.Hertz) complex128 { return complex(c.makeup, 0) }

// Quiet implements Detecting: no peak reaches the knee.
func (c *compressing) Quiet() dsp.Volt {
	return dsp.Volt(dsp.FromDB(c.cell.Threshold-c.cell.Knee/2) / noisePeak)
}

// Latency implements Core.
func (c *compressing) Latency() int { return c.in.Latency() + c.cell.Latency() + c.out.Latency() }

// Tail implements Core.
func (c *compressing) Tail() dsp.Second { return 0 }

// Reset implements Core.
func (c *compressing) Reset() {
	c.in.Reset()
	c.cell.Reset()
	c.out.Reset()
}
