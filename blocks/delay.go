package blocks

import (
	"math"
	"math/cmplx"

	"drywire/dsp"
	"drywire/dsp/bucket"
	"drywire/dsp/delayline"
	"drywire/dsp/filter"
	"drywire/dsp/lfo"
	"drywire/dsp/oversample"
)

// delay is an echo with an analogue dry path: a digital one, or a bucket-brigade line.
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
		"Modulation: a sine moves the time to either side by the depth, half of the time at most; it starts in the middle, getting longer, at the first sample of the render.",
		"Bucket-brigade: 8192 stages, clocked at 4096 over the time; filters of fourth order in all, 3 dB down at a third of the clock (12 kHz at most): at 380 ms, 3.6 kHz. Their delay comes on top of the time.",
		"Bucket-brigade: a compander of 2:1 around the line, led by the line's level averaged over 20 ms; unity at a third of the headroom, 30 dB of gain at most. What the line loses counts twice in dB, and a sudden loud note clips in the line before the compander has come down, and so comes out softer for a moment.",
		"Tails: the render goes on for as many repeats as it takes until they are 60 dB down, 30 s at most.",
		"The noise of the op-amps, and of a converter of 16 bits or of the line, as the compander leaves it at rest: it comes round with the repeats.",
	},
	Ignores: []string{
		"The rounding of the converter itself and its distortion at low level: only its noise is known.",
		"Change of the time while it sounds, other than by modulation.",
		"Bucket-brigade: its distortion under the headroom, what its clock folds down, the clock that leaks, and the noise that rises with the sound.",
		"Modulated, the treble next to half the sample rate, above 0.38 of it, is not exact; and the filters do not follow the clock.",
		"Of times under 5 ms the loop is limited at the recording's own rate, which leaves more aliasing when it clips.",
	},
	Sources: []string{
		"16 bits, feedback up to 95 %, 2 V peak, 1 MΩ, 1 kΩ, 1.5 V: common practice, no source.",
		"Bucket-brigade: clock, stages over twice the time, a closed form. 8192 stages, a third of the clock, compander, 20 ms, noise of 100 µV in 20 kHz: common practice, no source.",
		"Noise of rounding, a step over √12: closed form. Op-amps 8 nV/√Hz: from memory.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "1 kΩ",
	Draw:            100e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Recalls:         func(s Settings) bool { return s.Word("voice") == "digital" },
	Rejection:       50,
	Digital:         func(s Settings) bool { return s.Word("voice") == "digital" },
	Knobs: []Knob{
		{Name: "time", Brief: "from one repeat to the next", Unit: dsp.Seconds, Min: 1e-3, Max: 2, Default: 380e-3, Still: stillTime},
		dial("repeats", "how much of each repeat is fed back: 0 gives one repeat, 10 feeds back 95 %", "linear", 4),
		{Name: "mix", Brief: "share of the repeats; the rest is dry", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.25},
		{Name: "tone", Brief: "where the treble of a repeat is 3 dB down", Unit: dsp.Hertzes, Min: 500, Max: 16e3, Default: 4e3},
		choice("voice", "what delays: a digital memory, or a bucket-brigade line, the darker the longer", "digital", "digital", "bucket-brigade"),
		{Name: "rate", Brief: "how often modulation moves the time", Unit: dsp.Hertzes, Min: 0.1, Max: 8, Default: 0.5, Still: stillRate},
		{Name: "depth", Brief: "how far modulation moves the time to either side; 0 is none", Unit: dsp.Seconds, Min: 0, Max: 5e-3, Default: 0, Still: stillTime},
		{Name: "headroom", Brief: "peak voltage at which the converter, or the line, clips", Unit: dsp.Volts, Min: 0.25, Max: 8, Default: 2, Still: stillPart},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, headroom, mix := s.Number("supply"), s.Number("headroom"), s.Number("mix")
		e := b.echoes(s)
		// What the converter adds comes round again and again; the repeats of noise are
		// uncorrelated.
		wet := converterNoise(headroom)
		if e.compander != nil {
			wet = lineNoise * e.compander.Rest()
		}
		wet /= math.Sqrt(1 - e.feedback*e.feedback)
		b.highInput()
		b.outputThrough(Stage{
			Name: "repeats",
			New: func() Core {
				e := b.echoes(s)
				e.line = delayline.New(e.delay + int(math.Ceil(e.swing)))
				if e.wave != nil || e.compander != nil {
					return unsteady{e}
				}
				return e
			},
			Noise: root(opAmpNoise, (1-mix)*opAmpNoise), Converter: mix * wet,
			Ceiling: swing(supply),
		}, 1e3)
	},
}

// mostFeedback is what the dial of repeats gives at 10.
const mostFeedback = 0.95

// The bucket-brigade voice: see Sources.
const (
	lineStages  = 8192
	lineShare   = 1.0 / 3 // of the clock: the filters' corner
	lineWidest  = 12e3    // Hz
	lineAverage = 20e-3   // s
	lineRange   = 30      // dB
)

var lineNoise = 100e-6 / math.Sqrt(20e3) // V/√Hz, before the expander

// unsteady is echoes that are no linear, steady system: it has no response to state.
type unsteady struct{ e *echoes }

func (u unsteady) Process(out, in [][]float64) { u.e.Process(out, in) }
func (u unsteady) Latency() int                { return u.e.Latency() }
func (u unsteady) Tail() dsp.Second            { return u.e.Tail() }
func (u unsteady) Reset()                      { u.e.Reset() }

// echoes is the core: amplifier, dry path and loop, amplifier.
type echoes struct {
	in, out   *oversample.Clip
	tone      *filter.Biquad
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

	// Modulation: nil and 0 without.
	wave  *lfo.Oscillator
	swing float64 // samples to either side
	// by how many samples a piece of the loop must be shorter than the delay for that
	margin int

	// The bucket-brigade voice: nil without.
	compander     *bucket.Compander
	before, after *filter.Biquad
	lag           float64 // seconds by which the filters delay low frequencies
}

// loopChunk is how many samples of the loop are worked on at a time at most; it has no influence on
// the output.
const loopChunk = 512

// echoes is the core without its line.
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
	e.swing = min(s.Number("depth"), e.time/2) * rate
	shortest := 1
	if e.swing > 0 {
		shortest = int(math.Ceil(e.swing)) + delayline.Nearest + 2
	}
	// then there is no time for oversampling inside the loop
	if total-e.converter.Latency() < shortest {
		e.converter = b.limitAt(headroom, 1)
	}
	e.delay = total - e.converter.Latency()
	if e.swing > 0 {
		// so that the shortest delay can be read, a sample at a time at least
		e.swing = min(e.swing, float64(e.delay-delayline.Nearest-2))
		e.margin = int(math.Ceil(e.swing)) + delayline.Nearest + 1
		e.wave = lfo.New(lfo.Sine, dsp.Hertz(s.Number("rate")), 0, b.Rate)
	}
	if s.Word("voice") == "bucket-brigade" {
		clock := float64(bucket.Clock(lineStages, dsp.Second(s.Number("time"))))
		corner := min(lineShare*clock, lineWidest)
		e.before, e.after = bucket.Filters(dsp.Hertz(corner), b.Rate)
		e.lag = 2.613 / (2 * math.Pi * corner) // Butterworth of fourth order: the sum of its 1/Q
		e.compander = bucket.NewCompander(headroom/3, lineRange, lineAverage, b.Rate)
	}
	return e
}

// Process implements Core.
func (e *echoes) Process(out, in [][]float64) {
	dst := out[0]
	e.in.Process(dst, in[0])
	for at := 0; at < len(dst); {
		n := min(len(dst)-at, loopChunk, e.delay-e.margin)
		x, echo, loop := dst[at:at+n], e.echo[:n], e.loop[:n]
		e.read(echo)
		for k, y := range echo {
			back := e.feedback * y
			if math.Abs(back) < tiny {
				back = 0
			}
			loop[k] = x[k] + back
			x[k] = e.dry*x[k] + e.wet*y
		}
		e.tone.Process(loop, loop)
		if e.compander != nil {
			e.compander.Compress(loop)
			e.before.Process(loop, loop)
		}
		e.converter.Process(loop, loop)
		e.line.WriteBlock(loop)
		at += n
	}
	e.out.Process(dst, dst)
}

// read is what the line gives back for a piece of the loop.
func (e *echoes) read(echo []float64) {
	if e.wave == nil {
		e.line.ReadBlock(echo, e.delay-len(echo))
	} else {
		for k := range echo { // the newest in the line is the one before the piece
			echo[k] = e.line.Read(float64(e.delay-1-k) + e.swing*e.wave.Next())
		}
	}
	if e.compander != nil {
		e.after.Process(echo, echo)
		e.compander.Expand(echo)
	}
}

// tiny is where a repeat ends, in volts: it keeps the loop from creeping towards denormal numbers,
// which processors are slow with.
const tiny = 1e-30

// Response implements Responder: one repeat is tone and delay, and the repeats are a geometric
// series.
func (e *echoes) Response(f dsp.Hertz) complex128 {
	once := e.tone.Response(f) * cmplx.Exp(complex(0, -2*math.Pi*float64(f)*e.time))
	return complex(e.dry, 0) + complex(e.wet, 0)*once/(1-complex(e.feedback, 0)*once)
}

// Latency implements Core. The converter's is a part of the time.
func (e *echoes) Latency() int { return e.in.Latency() + e.out.Latency() }

// Tail implements Core: the repeats up to the last that is less than 60 dB under the first, each a
// time and the tone's delay at low frequencies after the one before, and then the time in which the
// tone's filter comes to rest.
func (e *echoes) Tail() dsp.Second {
	repeats := 1.0
	if e.feedback > 0 {
		repeats = max(1, math.Ceil(-60/dsp.ToDB(e.feedback)))
	}
	each := e.time + 1/(2*math.Pi*e.corner) + e.swing/e.rate + e.lag
	end := e.tone.Tail()
	if e.compander != nil {
		end += e.before.Tail() + e.after.Tail()
	}
	return min(dsp.Second(repeats*each)+end, longestTail)
}

// Reset implements Core.
func (e *echoes) Reset() {
	e.in.Reset()
	e.tone.Reset()
	e.converter.Reset()
	e.line.Reset()
	e.out.Reset()
	if e.wave != nil {
		e.wave.Reset()
	}
	if e.compander != nil {
		e.compander.Reset()
		e.before.Reset()
		e.after.Reset()
	}
}
