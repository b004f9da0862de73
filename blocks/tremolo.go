package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/lfo"
	"drywire/dsp/oversample"
)

// tremolo makes the level rise and fall.
var tremolo = Kind{
	Name:  "tremolo",
	Brief: "tremolo: the level rises and falls, as a sine, a triangle or a soft square",
	Models: []string{
		"1 MΩ in, an input amplifier, a gain cell, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The gain moves from 1 down to 1 less the depth and back, in volts, with a sine, a triangle, or a square whose edges take 6 % of the cycle.",
		"It starts half way down, on its way up, at the first sample of the render.",
		"The noise of the gain cell and of the amplifiers, over a whole cycle.",
	},
	Ignores: []string{
		"The gain cell's own distortion, and the control voltage that leaks into the sound of a real one.",
		"The lag of a lamp and a photoresistor, which makes some real ones lopsided.",
	},
	Sources: []string{
		"Gain from 1 down, waves, rate and depth: common practice, no source.",
		"Gain cell noise 120 nV/√Hz at unity gain (-95 dBV in 20 kHz), op-amp 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            5e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "rate", Brief: "how often it rises and falls", Unit: dsp.Hertzes, Min: 0.1, Max: 15, Default: 5, Still: stillRate},
		{Name: "depth", Brief: "how much of the level it takes away; at 100 % down to nothing", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.6},
		choice("wave", "how the level moves", "sine", "sine", "triangle", "square"),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, depth := s.Number("supply"), s.Number("depth")
		wave := map[string]lfo.Wave{"sine": lfo.Sine, "triangle": lfo.Triangle, "square": lfo.Square}[s.Word("wave")]
		// The mean square of 1 - depth/2·(1 - w), the wave w being without a mean: what a cycle
		// makes of noise.
		var square float64
		const steps = 1000
		for k := range steps {
			w := wave(float64(k) / steps)
			square += w * w / steps
		}
		cell := root(1-depth/2, depth/2*math.Sqrt(square))
		b.highInput()
		b.output(Stage{
			Name: "cell",
			New: func() Core {
				return &trembling{
					in: b.rails(supply), out: b.rails(supply),
					wave:   lfo.New(wave, dsp.Hertz(s.Number("rate")), 0, b.Rate),
					middle: 1 - depth/2, swing: depth / 2,
				}
			},
			Noise:   root(cell*root(opAmpNoise, gainCellNoise), opAmpNoise),
			Ceiling: swing(supply),
		})
	},
}

// trembling is the core: amplifier, gain cell, amplifier.
type trembling struct {
	in, out       *oversample.Clip
	wave          *lfo.Oscillator
	middle, swing float64 // of the gain
}

// Process implements Core.
func (t *trembling) Process(out, in [][]float64) {
	y := out[0]
	t.in.Process(y, in[0])
	for k := range y {
		y[k] *= t.middle + t.swing*t.wave.Next()
	}
	t.out.Process(y, y)
}

// Latency implements Core.
func (t *trembling) Latency() int { return t.in.Latency() + t.out.Latency() }

// Tail implements Core.
func (t *trembling) Tail() dsp.Second { return 0 }

// Reset implements Core.
func (t *trembling) Reset() {
	t.in.Reset()
	t.wave.Reset()
	t.out.Reset()
}
