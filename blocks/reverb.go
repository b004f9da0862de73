package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/oversample"
	plate "drywire/dsp/reverb"
)

// reverb is a digital plate with an analogue dry path.
var reverb = Kind{
	Name:  "reverb",
	Brief: "reverb: a plate, dense at once, with decay, tone and pre-delay",
	Models: []string{
		"1 MΩ in, an input amplifier, a dry path that is not converted, converter, plate and converter, an output amplifier, 1 kΩ out.",
		"The amplifiers clip 1.5 V before their rails; the converters clip at their headroom.",
		"What a plate does to the ear: density, and a decay that is shorter in the treble; at 1 kHz it is within 5 % of what the knob says.",
		"Tone from 0 to 10 gives the highest treble a fifth of the decay up to all of it, in equal ratios: 5 is 45 %.",
		"Mix fades in proportion from dry alone (0 %) to reverb alone (100 %).",
		"Tails: the render goes on until the reverb is 60 dB down, 30 s at most.",
		"The noise of the op-amps, and of converters of 16 bits.",
	},
	Ignores: []string{
		"The metal: a real plate's high frequencies arrive before its low ones, and its driver and pick-ups have a sound.",
		"Stereo: the block is mono.",
		"The rounding of the converters and their distortion at low level: only their noise is known.",
	},
	Sources: []string{
		"Feedback delay network with absorbers: J. Audio Eng. Soc. 39, 1991, \"Digital delay networks for designing artificial reverberators\".",
		"16 bits, 2 V peak, 1 MΩ, 1 kΩ, 1.5 V: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 kΩ",
	Draw:            150e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Rejection:       50,
	Knobs: []Knob{
		{Name: "decay", Brief: "time in which the reverb falls by 60 dB, at 1 kHz", Unit: dsp.Seconds, Min: 0.2, Max: 20, Default: 1.8},
		dial("tone", "how long the treble lasts: 10 as long as the rest, 0 a fifth of that", "", 5),
		{Name: "mix", Brief: "share of the reverb; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.2},
		{Name: "predelay", Brief: "from the dry sound to the beginning of the reverb", Unit: dsp.Seconds, Min: 0, Max: 0.25, Default: 0},
		{Name: "headroom", Brief: "peak voltage at which the converters clip", Unit: dsp.Volts, Min: 0.25, Max: 8, Default: 2},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, headroom, mix := s.Number("supply"), s.Number("headroom"), s.Number("mix")
		p := &plating{
			in: b.rails(supply), out: b.rails(supply),
			first: b.limit(headroom), last: b.limit(headroom),
			plate: plate.New(plate.Settings{
				Decay:    dsp.Second(s.Number("decay")),
				Tone:     math.Pow(darkest, 1-s.Number("tone")/10),
				PreDelay: dsp.Second(s.Number("predelay")),
			}, b.Rate),
			dry: 1 - mix, wet: mix,
		}
		p.late = p.first.Latency() + p.last.Latency()
		p.line = delayline.New(p.late + loopChunk)
		b.highInput()
		b.outputThrough(Stage{
			Name:    "plate",
			Core:    p,
			Noise:   root(opAmpNoise, (1-mix)*opAmpNoise, math.Sqrt2*mix*converterNoise(headroom)), // a plate is as loud as what steadily drives it
			Ceiling: swing(supply),
		}, 1e3)
	},
}

// darkest is the share of the decay that the highest treble has at tone 0. With less, the decay changes so much within the octave around 1 kHz
// that it would be no longer what the knob says.
const darkest = 0.2

// plating is the core: amplifier, dry path and plate, amplifier.
type plating struct {
	in, out     *oversample.Clip
	first, last *oversample.Clip // the converters
	plate       *plate.Plate
	line        *delayline.Line // holds the dry sound back until the converters are done
	late        int             // samples
	dry, wet    float64
	straight    [loopChunk]float64
	plated      [loopChunk]float64
}

// Process implements Core.
func (p *plating) Process(out, in [][]float64) {
	dst := out[0]
	p.in.Process(dst, in[0])
	for at := 0; at < len(dst); at += loopChunk {
		x := dst[at:min(at+loopChunk, len(dst))]
		wet, dry := p.plated[:len(x)], p.straight[:len(x)]
		p.line.WriteBlock(x)
		p.line.ReadBlock(dry, p.late)
		p.first.Process(wet, x)
		p.plate.Process(wet, nil, wet)
		p.last.Process(wet, wet)
		for k := range x {
			x[k] = p.dry*dry[k] + p.wet*wet[k]
		}
	}
	p.out.Process(dst, dst)
}

// Latency implements Core.
func (p *plating) Latency() int { return p.in.Latency() + p.late + p.out.Latency() }

// Tail implements Core: the plate's decay, and the time in which what has just gone in spreads over it.
func (p *plating) Tail() dsp.Second { return min(p.plate.Tail()+spreading, longestTail) }

// spreading is a little over the plate's longest line: only after it does the sound fall by the decay alone.
const spreading dsp.Second = 0.1

// Reset implements Core.
func (p *plating) Reset() {
	p.in.Reset()
	p.line.Reset()
	p.first.Reset()
	p.plate.Reset()
	p.last.Reset()
	p.out.Reset()
}
