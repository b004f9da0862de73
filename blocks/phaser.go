package blocks

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/lfo"
	"drywire/dsp/oversample"
)

// phaser sweeps a few notches through the sound.
var phaser = Kind{
	Name:  "phaser",
	Brief: "phaser: four or six all-passes sweep two or three notches through the sound",
	Models: []string{
		"1 MΩ in, an input amplifier, a chain of all-passes of first order with one corner frequency, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"What comes out is half of what goes into the chain and half of what has gone through it: notches at corner·tan(π·(2k - 1)/(2·stages)).",
		"A sine moves the corner up and down in octaves; it starts in the middle, rising, at the first sample of the render.",
		"Feedback of either sign from the chain's end to its beginning, without delay; the notches stay where they are.",
		"The noise of the amplifiers and of each stage.",
	},
	Ignores: []string{
		"The distortion of the field-effect transistors or gain cells that move the corner, and their unequal corners.",
		"The rails inside the loop: only what goes in and out is limited.",
		"The all-passes are digital: their corner is exact, but well above it the phase is ahead of an analogue one's.",
	},
	Sources: []string{
		"Notches: where the phases 2·atan(f/corner) of all stages add up to an odd multiple of π, a closed form.",
		"Integrators by the trapezoidal rule, loop solved without delay: J. Audio Eng. Soc. 63(9), 2015, on time-varying filters.",
		"Four and six stages, rate, range and feedback, 1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
		"Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            8e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		{Name: "rate", Brief: "how often the notches sweep up and down", Unit: dsp.Hertzes, Min: 0.05, Max: 10, Default: 0.5, Still: stillRate},
		dial("depth", "how far they sweep to either side: 10 is two octaves", "linear", 6),
		{Name: "frequency", Brief: "middle of the sweep, of the all-passes' corner", Unit: dsp.Hertzes, Min: 200, Max: 2e3, Default: 600},
		choice("stages", "how many all-passes: two make a notch", "four", "four", "six"),
		{Name: "feedback", Brief: "share of the chain's output that is fed back, of either polarity", Unit: dsp.Percents, Min: -0.9, Max: 0.9, Default: 0.3},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, feedback := s.Number("supply"), s.Number("feedback")
		stages := map[string]int{"four": 4, "six": 6}[s.Word("stages")]
		b.highInput()
		b.output(Stage{
			Name: "all-passes",
			New: func() Core {
				return b.phasing(dsp.Hertz(s.Number("rate")), s.Number("frequency"), mostOctaves*s.Number("depth")/10, feedback, stages, supply)
			},
			// Each stage's noise, and the input's, come round with the feedback: over a wide band
			// by their powers. Half of them come out.
			Noise:   root(opAmpNoise, opAmpNoise*0.5*math.Sqrt(2+float64(stages))/math.Sqrt(1-feedback*feedback)),
			Ceiling: swing(supply),
		})
	},
}

const (
	mostOctaves = 2.0 // to either side
	mostStages  = 6
)

// phasing is the core: amplifier, all-passes with feedback, amplifier.
//
// An all-pass is 2·low - in, with a low-pass of first order by the trapezoidal rule: low = (g·in +
// s)/(1 + g), g = tan(π·corner/rate). So it is a·in + b·s with a = (g - 1)/(g + 1) and b = 2/(1 +
// g), the chain is A·in + S with A = a^stages, and the loop u = x + feedback·(A·u + S) can be
// solved for what goes into the chain.
type phasing struct {
	in, out  *oversample.Clip
	wave     *lfo.Oscillator
	g        [phaserSteps + 1]float64 // by the oscillator's value
	stages   int
	feedback float64
	state    [mostStages]float64
	lowest   float64 // Hz, corner
}

const phaserSteps = 1024

func (b *Bench) phasing(rate dsp.Hertz, middle, octaves, feedback float64, stages int, supply float64) *phasing {
	if stages > mostStages || stages%2 != 0 {
		panic(fmt.Sprintf("blocks: a phaser of %d stages", stages))
	}
	p := &phasing{
		in: b.rails(supply), out: b.rails(supply),
		wave:   lfo.New(lfo.Sine, rate, 0, b.Rate),
		stages: stages, feedback: feedback,
		lowest: middle * math.Exp2(-octaves),
	}
	for k := range p.g {
		corner := middle * math.Exp2(octaves*(2*float64(k)/phaserSteps-1))
		p.g[k] = math.Tan(math.Pi * corner / float64(b.Rate))
	}
	return p
}

// Process implements Core.
func (p *phasing) Process(out, in [][]float64) {
	y := out[0]
	p.in.Process(y, in[0])
	for n, x := range y {
		at := (p.wave.Next() + 1) * (phaserSteps / 2)
		k := min(int(at), phaserSteps-1)
		g := p.g[k] + (at-float64(k))*(p.g[k+1]-p.g[k])
		r := 1 / (1 + g)
		a, b := (g-1)*r, 2*r
		through, held := 1.0, 0.0
		for _, s := range p.state[:p.stages] {
			through *= a
			held = a*held + b*s
		}
		u := (x + p.feedback*held) / (1 - p.feedback*through)
		v := u
		for k, s := range p.state[:p.stages] {
			low := (g*v + s) * r
			if s = 2*low - s; math.Abs(s) < tiny {
				s = 0
			}
			p.state[k] = s
			v = 2*low - v
		}
		y[n] = 0.5 * (u + v)
	}
	p.out.Process(y, y)
}

// Latency implements Core.
func (p *phasing) Latency() int { return p.in.Latency() + p.out.Latency() }

// Tail implements Core: the slowest pole of the chain, with the corner at its lowest. With positive
// feedback it is where ((1 + q)/(1 - q))^stages = 1/feedback, at q times the corner; with negative
// feedback all poles are faster. Less feedback than a tenth is taken for a tenth: equal poles
// without feedback take longer to die than one of them.
func (p *phasing) Tail() dsp.Second {
	q := math.Tanh(-math.Log(max(0.1, math.Abs(p.feedback))) / (2 * float64(p.stages)))
	return dsp.Second(math.Log(1000) / (2 * math.Pi * p.lowest * q))
}

// Reset implements Core.
func (p *phasing) Reset() {
	p.in.Reset()
	p.wave.Reset()
	clear(p.state[:])
	p.out.Reset()
}
