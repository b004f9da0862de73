package blocks

import (
	"math"
	"math/cmplx"

	"drywire/dsp"
	"drywire/dsp/delayline"
	"drywire/dsp/filter"
	"drywire/dsp/oversample"
)

// delay is a digital echo with an analogue dry path.
var delay = Kind{
	Name:  "delay",
	Brief: "echo: repeats that get softer and darker",
	Models: []string{
		"1 MΩ in, an input amplifier, a dry path that is not converted, a loop of converter, delay and tone, an output amplifier, 1 kΩ out.",
		"The amplifiers clip 1.5 V before their rails; the converter clips at its headroom, whatever comes round the loop with it.",
		"A low-pass of first order before the converter: the first repeat goes through it once, the second twice, and so on.",
		"Repeats from 0 to 10 feed back from 0 to 95 % of each repeat, in proportion: 4 is 38 %, so each repeat is 8.4 dB softer.",
		"Mix fades in proportion from dry alone (0 %) to repeats alone (100 %).",
		"The time, to the nearest sample of the recording.",
		"Tails: the render goes on for as many repeats as it takes until they are 60 dB down, 30 s at most.",
		"The noise of the op-amps, and of a converter of 16 bits: it comes round with the repeats.",
	},
	Ignores: []string{
		"The rounding of the converter itself and its distortion at low level: only its noise is known.",
		"Change of the time while it sounds, and modulation.",
		"Of times under 5 ms the loop is limited at the recording's own rate, which leaves more aliasing when it clips.",
	},
	Sources: []string{
		"16 bits, feedback up to 95 %, 2 V peak, 1 MΩ, 1 kΩ, 1.5 V: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 kΩ",
	Draw:            100e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Rejection:       50,
	Knobs: []Knob{
		{Name: "time", Brief: "from one repeat to the next", Unit: dsp.Seconds, Min: 1e-3, Max: 2, Default: 380e-3},
		dial("repeats", "how much of each repeat is fed back: 0 gives one repeat, 10 feeds back 95 %", "linear", 4),
		{Name: "mix", Brief: "share of the repeats; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.25},
		{Name: "tone", Brief: "where the treble of a repeat is 3 dB down", Unit: dsp.Hertzes, Min: 500, Max: 16e3, Default: 4e3},
		{Name: "headroom", Brief: "peak voltage at which the converter clips", Unit: dsp.Volts, Min: 0.25, Max: 8, Default: 2},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, headroom, mix := s.Number("supply"), s.Number("headroom"), s.Number("mix")
		e := b.echoes(s)
		// What the converter adds comes round again and again; the repeats of noise know nothing of each other.
		wet := converterNoise(headroom) / math.Sqrt(1-e.feedback*e.feedback)
		b.highInput()
		b.outputThrough(Stage{
			Name:    "repeats",
			Core:    e,
			Noise:   root(opAmpNoise, (1-mix)*opAmpNoise, mix*wet),
			Ceiling: swing(supply),
		}, 1e3)
	},
}

// mostFeedback is what the dial of repeats gives at 10.
const mostFeedback = 0.95

// echoes is the core: amplifier, dry path and loop, amplifier.
type echoes struct {
	in, out   *oversample.Clip
	tone      *filter.Section
	converter *oversample.Clip
	line      *delayline.Line // what has been converted
	delay     int             // samples from the input of the converter to the end of the line
	time      float64         // seconds, the same with the converter's latency
	feedback  float64
	dry, wet  float64
	rate      float64
	echo      [loopChunk]float64
	loop      [loopChunk]float64
	corner    float64 // Hz, of the tone
}

// loopChunk is how many samples of the loop are worked on at a time at most; it has no influence on the output.
const loopChunk = 64

func (b *Bench) echoes(s Settings) *echoes {
	rate, headroom := float64(b.Rate), s.Number("headroom")
	e := &echoes{
		in: b.rails(s.Number("supply")), out: b.rails(s.Number("supply")),
		corner:    s.Number("tone"),
		tone:      filter.OnePoleLow(dsp.Hertz(s.Number("tone")), b.Rate),
		converter: b.limit(headroom),
		feedback:  mostFeedback * s.Number("repeats") / 10,
		dry:       1 - s.Number("mix"), wet: s.Number("mix"),
		rate: rate,
	}
	total := int(math.Round(s.Number("time") * rate))
	e.time = float64(total) / rate
	if total <= e.converter.Latency() { // then there is no time for oversampling inside the loop
		e.converter = b.limitAt(headroom, 1)
	}
	e.delay = total - e.converter.Latency()
	e.line = delayline.New(e.delay)
	return e
}

// Process implements Core.
func (e *echoes) Process(out, in [][]float64) {
	dst := out[0]
	e.in.Process(dst, in[0])
	for at := 0; at < len(dst); {
		n := min(len(dst)-at, loopChunk, e.delay)
		x, echo, loop := dst[at:at+n], e.echo[:n], e.loop[:n]
		e.line.ReadBlock(echo, e.delay-n)
		for k, y := range echo {
			back := e.feedback * y
			if math.Abs(back) < tiny {
				back = 0
			}
			loop[k] = x[k] + back
			x[k] = e.dry*x[k] + e.wet*y
		}
		e.tone.Process(loop, loop)
		e.converter.Process(loop, loop)
		e.line.WriteBlock(loop)
		at += n
	}
	e.out.Process(dst, dst)
}

// tiny is where a repeat ends, in volts: it keeps the loop from creeping towards denormal numbers, which processors are slow with.
const tiny = 1e-30

// Response implements Responder: one repeat is tone and delay, and the repeats are a geometric series.
func (e *echoes) Response(f dsp.Hertz) complex128 {
	once := e.tone.Response(f) * cmplx.Exp(complex(0, -2*math.Pi*float64(f)*e.time))
	return complex(e.dry, 0) + complex(e.wet, 0)*once/(1-complex(e.feedback, 0)*once)
}

// Latency implements Core. The converter's is a part of the time.
func (e *echoes) Latency() int { return e.in.Latency() + e.out.Latency() }

// Tail implements Core: the repeats up to the last that is less than 60 dB under the first, each a time and the tone's delay at
// low frequencies after the one before, and then the time in which the tone's filter comes to rest.
func (e *echoes) Tail() dsp.Second {
	repeats := 1.0
	if e.feedback > 0 {
		repeats = max(1, math.Ceil(-60/dsp.ToDB(e.feedback)))
	}
	each := e.time + 1/(2*math.Pi*e.corner)
	return min(dsp.Second(repeats*each)+e.tone.Tail(), longestTail)
}

// Reset implements Core.
func (e *echoes) Reset() {
	e.in.Reset()
	e.tone.Reset()
	e.converter.Reset()
	e.line.Reset()
	e.out.Reset()
}
