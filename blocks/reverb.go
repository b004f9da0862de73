package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/oversample"
	reverberator "drywire/dsp/reverb"
)

// reverb is a digital plate, spring or room with an analogue dry path.
var reverb = Kind{
	Name:  "reverb",
	Brief: "reverb: a plate, a pair of springs or a room, with decay, tone and pre-delay",
	Models: []string{
		"1 MΩ in, an input amplifier, a dry path that is not converted, converter, reverb and converter, an output amplifier, 1 kΩ out.",
		"The amplifiers clip 1.5 V before their rails; the converters clip at their headroom.",
		"Plate: its density, and a decay that is shorter in the treble.",
		"Decay of plate and room by octave, 125 Hz to 8 kHz, as shares of the knob's: 1 in all of them at tone 10; 1.08, 1.07, 1.05, 0.99, 0.85, 0.65, 0.51 at tone 5; 1.24, 1.22, 1.16, 1.01, 0.73, 0.43, 0.26 at tone 0. T30 is within 2.5 % of that as the mean over places; at any one place, as here, it scatters as in every diffuse field, by some 5 % at 125 Hz and 1 s, less higher up and with longer decays.",
		"Room: 7.1 by 5.3 by 2.9 m; reflections of one and two bounces one by one, off walls that absorb what the decay asks for by Sabine's formula, then the plate's network.",
		"Spring: two springs of 33 and 41 ms a pass, in which high frequencies run slower, so that each echo is a longer chirp; from 80 Hz to 3.4 kHz. What they lose, they lose along the wire, so the decay is the same at all frequencies; under 1 s it is a few steps rather than a line.",
		"Tone from 0 to 10 gives the highest treble of plate and room a fifth of the decay up to all of it, in equal ratios: 5 is 45 %. Of the springs it moves a low-pass, from 1.7 to 6 kHz.",
		"Mix fades in proportion from dry alone (0 %) to reverb alone (100 %).",
		"Tails: the render goes on until the reverb is 60 dB down, 30 s at most.",
		"The noise of the op-amps, and of converters of 16 bits.",
	},
	Ignores: []string{
		"The plate's metal: a real one's high frequencies arrive before its low ones, and its driver and pick-ups have a sound.",
		"The room's air, and the colour of its walls; its size does not follow the decay.",
		"The spring's faint chirps above 4 kHz, its crash when it is knocked, and the overload of its driver.",
		"Stereo: the block is mono.",
		"The rounding of the converters and their distortion at low level: only their noise is known.",
	},
	Sources: []string{
		"Feedback delay network with absorbers: J. Audio Eng. Soc. 39, 1991, \"Digital delay networks for designing artificial reverberators\".",
		"Reflections: image method, J. Acoust. Soc. Am. 65(4), 943-950, 1979. Springs: J. Audio Eng. Soc. 58(7/8), 2010, \"Parametric spring reverberation effect\".",
		"The room's measures are our own; the springs' passes and stiffness: common practice, no source.",
		"16 bits, 2 V peak, 1 MΩ, 1 kΩ, 1.5 V: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 kΩ",
	Draw:            150e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Recalls:         func(Settings) bool { return true },
	Rejection:       50,
	Digital:         always,
	Knobs: []Knob{
		choice("style", "what sounds: a plate, two springs, or a room", "plate", "plate", "spring", "room"),
		{Name: "decay", Brief: "time in which the reverb falls by 60 dB, at 1 kHz", Unit: dsp.Seconds, Min: 0.2, Max: 20, Default: 1.8, Still: stillTime},
		dial("tone", "how long the treble lasts: 10 as long as the rest, 0 a fifth of that; of a spring, how bright it is", "", 5),
		{Name: "mix", Brief: "share of the reverb; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.2},
		{Name: "predelay", Brief: "from the dry sound to the beginning of the reverb", Unit: dsp.Seconds, Min: 0, Max: 0.25, Default: 0, Still: stillTime},
		{Name: "headroom", Brief: "peak voltage at which the converters clip", Unit: dsp.Volts, Min: 0.25, Max: 8, Default: 2, Still: stillPart},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, headroom, mix := s.Number("supply"), s.Number("headroom"), s.Number("mix")
		set := reverberator.Settings{
			Decay:    dsp.Second(s.Number("decay")),
			Tone:     math.Pow(darkest, 1-s.Number("tone")/10),
			PreDelay: dsp.Second(s.Number("predelay")),
		}
		reverberate := func() Core {
			p := &reverberating{
				in: b.rails(supply), out: b.rails(supply),
				first: b.limit(headroom), last: b.limit(headroom),
				dry: 1 - mix, wet: mix,
			}
			switch s.Word("style") {
			case "spring":
				p.style = reverberator.NewSpring(set, b.Rate)
			case "room":
				p.style = reverberator.NewRoom(set, b.Rate)
			default:
				p.style = reverberator.New(set, b.Rate)
			}
			p.late = p.first.Latency() + p.last.Latency()
			p.line = delayline.New(p.late + loopChunk)
			return p
		}
		b.highInput()
		b.outputThrough(Stage{
			Name: s.Word("style"),
			New:  reverberate,
			// each of two converters is as loud as what steadily drives it
			Noise: root(opAmpNoise, (1-mix)*opAmpNoise), Converter: math.Sqrt2 * mix * converterNoise(headroom),
			Ceiling: swing(supply),
		}, 1e3)
	},
}

// darkest is the share of the decay that the highest treble has at tone 0. With less, the decay
// changes so much within the octave around 1 kHz that it would be no longer what the knob says.
const darkest = 0.2

// style is a reverberator: a plate, springs or a room.
type style interface {
	Process(dst, second, src []float64)
	Tail() dsp.Second
	Reset()
}

// reverberating is the core: amplifier, dry path and reverb, amplifier.
type reverberating struct {
	in, out     *oversample.Clip
	first, last *oversample.Clip // the converters
	style       style
	line        *delayline.Line // holds the dry sound back until the converters are done
	late        int             // samples
	dry, wet    float64
	straight    [loopChunk]float64
	reverbed    [loopChunk]float64
}

// Process implements Core.
func (p *reverberating) Process(out, in [][]float64) {
	dst := out[0]
	p.in.Process(dst, in[0])
	for at := 0; at < len(dst); at += loopChunk {
		x := dst[at:min(at+loopChunk, len(dst))]
		wet, dry := p.reverbed[:len(x)], p.straight[:len(x)]
		p.line.WriteBlock(x)
		p.line.ReadBlock(dry, p.late)
		p.first.Process(wet, x)
		p.style.Process(wet, nil, wet)
		p.last.Process(wet, wet)
		for k := range x {
			x[k] = p.dry*dry[k] + p.wet*wet[k]
		}
	}
	p.out.Process(dst, dst)
}

// Latency implements Core.
func (p *reverberating) Latency() int { return p.in.Latency() + p.late + p.out.Latency() }

// Tail implements Core: the decay, and the time in which what has just gone in spreads.
func (p *reverberating) Tail() dsp.Second { return min(p.style.Tail()+spreading, longestTail) }

// spreading is a little over the plate's longest line, or two passes of a spring: only after it
// does the sound fall by the decay alone.
const spreading dsp.Second = 0.1

// Reset implements Core.
func (p *reverberating) Reset() {
	p.in.Reset()
	p.line.Reset()
	p.first.Reset()
	p.style.Reset()
	p.last.Reset()
	p.out.Reset()
}
