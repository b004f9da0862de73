package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/oversample"
)

// gate closes when nobody plays.
var gate = Kind{
	Name:  "gate",
	Brief: "noise gate: closes softly when the signal falls under a threshold",
	Models: []string{
		"1 MΩ in, an input amplifier, a gain cell, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"A detector that follows the peaks of the input and decays within 15 ms.",
		"It opens above the threshold within some 2 ms, and closes when the level has been under the threshold less the hysteresis for the hold time.",
		"The gain never jumps: two lags in a row make it start and end its way softly.",
		"The noise of the gain cell and the input amplifier, with the gate closed, and of the output amplifier.",
	},
	Ignores: []string{
		"The gain cell's own distortion, and the control voltage that leaks into the sound of a real one.",
		"While the gate is open it hisses more than the noise ledger's figure, which is that of the block at rest.",
	},
	Sources: []string{
		"Threshold, hysteresis, hold and release as in studio gates: common practice, no source.",
		"Gain cell noise 120 nV/√Hz at unity gain (-95 dBV in 20 kHz), op-amp 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            15e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "threshold", Brief: "level of the peaks above which it opens (0 dBV is a peak of 1 V)", Unit: dsp.DBVs, Min: -80, Max: 0, Default: -50},
		{Name: "hysteresis", Brief: "how far under the threshold the level must fall before it closes", Unit: dsp.Decibels, Min: 0, Max: 20, Default: 6},
		{Name: "hold", Brief: "for how long it stays open after that", Unit: dsp.Seconds, Min: 0, Max: 1, Default: 50e-3, Still: stillTime},
		{Name: "release", Brief: "time in which it has closed by 63 %", Unit: dsp.Seconds, Min: 2e-3, Max: 2, Default: 80e-3, Still: stillTime},
		{Name: "range", Brief: "how much softer the signal is when it is closed", Unit: dsp.Decibels, Min: 0, Max: 90, Default: 70},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, rate := s.Number("supply"), float64(b.Rate)
		lag := func(seconds float64) float64 { return 1 - math.Exp(-1/(seconds*rate)) }
		open := dsp.FromDB(s.Number("threshold"))
		closed := dsp.FromDB(-s.Number("range"))
		b.highInput()
		b.output(Stage{
			Name: "cell",
			New: func() Core {
				return &gating{
					in: b.rails(supply), out: b.rails(supply),
					open: open, close: open * dsp.FromDB(-s.Number("hysteresis")), closed: closed,
					forget:  math.Exp(-1 / (15e-3 * rate)),
					hold:    int(math.Round(s.Number("hold") * rate)),
					attack:  lag(0.5e-3),
					release: lag(s.Number("release")),
					gain:    closed, lagged: closed,
				}
			},
			Noise:   root(closed*root(opAmpNoise, gainCellNoise), opAmpNoise),
			Ceiling: swing(supply),
		})
	},
}

// gating is the core: amplifier, gain cell, amplifier.
type gating struct {
	in, out         *oversample.Clip
	open, close     float64 // V: levels at which it opens and closes
	closed          float64 // gain
	forget          float64 // the detector's, per sample
	hold            int     // samples
	attack, release float64 // shares of the way that a lag goes in a sample

	level        float64 // V
	left         int     // samples until it closes; 0: it is closed
	lagged, gain float64
}

// Process implements Core.
func (g *gating) Process(out, in [][]float64) {
	y := out[0]
	g.in.Process(y, in[0])
	level, left, lagged, gain := g.level, g.left, g.lagged, g.gain
	for k, x := range y {
		if level = max(math.Abs(x), g.forget*level); level < tiny {
			level = 0
		}
		switch {
		case level > g.open, left > 0 && level > g.close:
			left = g.hold + 1
		case left > 0:
			left--
		}
		target, rate := g.closed, g.release
		if left > 0 {
			target, rate = 1, g.attack
		}
		lagged += rate * (target - lagged)
		gain += g.attack * (lagged - gain)
		y[k] = gain * x
	}
	g.level, g.left, g.lagged, g.gain = level, left, lagged, gain
	g.out.Process(y, y)
}

// Response implements Responder: what is small finds the gate closed.
func (g *gating) Response(dsp.Hertz) complex128 { return complex(g.closed, 0) }

// Quiet implements Detecting: no peak opens it, or it is open anyway.
func (g *gating) Quiet() dsp.Volt {
	if g.closed == 1 {
		return dsp.Volt(math.Inf(1))
	}
	return dsp.Volt(g.open / noisePeak)
}

// Latency implements Core.
func (g *gating) Latency() int { return g.in.Latency() + g.out.Latency() }

// Tail implements Core.
func (g *gating) Tail() dsp.Second { return 0 }

// Reset implements Core.
func (g *gating) Reset() {
	g.in.Reset()
	g.out.Reset()
	g.level, g.left, g.lagged, g.gain = 0, 0, g.closed, g.closed
}
