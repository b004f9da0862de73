package blocks

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"drywire/dsp"
	"drywire/dsp/convolver"
	"drywire/dsp/filter"
)

// speaker is a loudspeaker in its cabinet with a microphone before it. Its voice coil is a circuit,
// so the amplifier's output impedance is a part of its sound; what the cone does higher up is a
// filter behind a stage.
var speaker = Kind{
	Name:  "speaker",
	Place: AfterPower,
	Loads: true,
	Brief: "guitar loudspeaker in a cabinet, and a microphone",
	Models: []string{
		"The voice coil with its resistance, inductance and eddy currents, and the moving mass, suspension and losses as their electrical equivalent, solved together with the amplifier.",
		"Sound is the acceleration of the cone: the current in the capacitor that stands for its mass.",
		"The cone's break-up as a peak, and its fall above that.",
		"A microphone of 150 Ω, its noise, and a level of 100 mV for one watt at 400 Hz.",
		"With file, an impulse response out of a WAV file in the place of cone and microphone: from the voltage at the terminals on, so the coil still meets the amplifier. Its level is normalised: one watt in the octave about 400 Hz gives 100 mV. What silence it begins with is kept, as the way to the microphone.",
	},
	Ignores: []string{
		"Distortion of the speaker, and its warming up under power.",
		"The room, the floor, and the microphone's place: it is on the cone's axis.",
		"A real cabinet's many resonances, unless its impulse response is given; then breakup, bite and top mean nothing.",
	},
	Sources: []string{
		"Electrical equivalent of a moving coil, 6.4 Ω, 0.6 mH beside 25 Ω, resonance with Q of 8 and 0.7: J. Audio Eng. Soc. 20(5), 383-395, 1972, values common practice, no source.",
		"Break-up at 2.5 kHz, fall of 24 dB per octave above 5 kHz: common practice, no source.",
	},
	InputImpedance:  "7.35 Ω to 7.67 Ω: least there, 80 Ω at the resonance, more in the treble",
	OutputImpedance: "150 Ω",
	Knobs: []Knob{
		{Name: "resonance", Brief: "resonance in its cabinet", Unit: dsp.Hertzes, Min: 50, Max: 150, Default: 95, Still: stillPart},
		{Name: "breakup", Brief: "middle of the cone's break-up", Unit: dsp.Hertzes, Min: 1500, Max: 4000, Default: 2500, Still: stillPart},
		{Name: "bite", Brief: "height of the break-up", Unit: dsp.Decibels, Min: 0, Max: 12, Default: 6, Still: stillPart},
		{Name: "top", Brief: "where its treble ends", Unit: dsp.Hertzes, Min: 2500, Max: 8000, Default: 5000, Still: stillPart},
	},
	Build: func(b *Bench, s Settings) {
		// At resonance the coil sees Res beside it; Qms = Res·ω·C and Qes = Re·ω·C.
		const re, qms, qes = 6.4, 8.0, 0.7
		w := 2 * math.Pi * s.Number("resonance")
		c := qes / (re * w)
		b.R("re", "in", "coil", re)
		b.L("le", "coil", "emf", 0.6e-3)
		b.R("eddy", "coil", "emf", 25)
		b.R("res", "emf", "0", dsp.Ohm(qms/(w*c)))
		b.L("ces", "emf", "0", dsp.Henry(1/(w*w*c)))
		b.V("moved", "emf", "mass", 0)
		b.C("mes", "mass", "0", dsp.Farad(c))
		b.Circuit.F(b.Name("acceleration"), "0", b.Name("sound"), b.Name("moved"), 1)
		b.ColdR("air", "sound", "0", 1)
		if ir := b.IR[b.block]; len(ir.Samples) > 0 {
			b.cabinet(ir)
			return
		}
		f := func(knob string) dsp.Hertz { return dsp.Hertz(s.Number(knob)) }
		b.Stage(Stage{
			Name: "cone", Sense: []string{"sound"}, Drive: []string{"microphone"},
			New: func() Core {
				return &filtering{
					bands: filter.Cascade{
						filter.Peak(f("breakup"), s.Number("bite"), 1.5, b.Rate),
						// Butterworth of fourth order, two sections
						filter.LowPass(f("top"), 0.541, b.Rate),
						filter.LowPass(f("top"), 1.307, b.Rate),
					},
					// One watt is 2.83 V across 8 Ω; at 400 Hz, with the resonance at 95 Hz, it
					// drives 0.457 A through what stands for the mass.
					gain: 0.1 / 0.457,
				}
			},
			Noise: microphoneNoise,
		})
		b.R("rout", "microphone", "out", 150)
	},
}

// ImpulseResponse is that of a loudspeaker in its cabinet: from the voltage at its terminals to a
// microphone. Its level is normalised; ConeKnobs then have nothing to do.
type ImpulseResponse struct {
	Samples []float64 // at the bench's rate
	Lead    int       // samples that come before the time zero, as resampling leaves them
}

// ConeKnobs is the knobs of a speaker that an impulse response takes the place of.
var ConeKnobs = []string{"breakup", "bite", "top"}

// cabinet puts a measured cabinet in the place of the cone. The voice coil stays: it is the
// amplifier's load.
func (b *Bench) cabinet(ir ImpulseResponse) {
	rate, response := float64(b.Rate), slices.Clone(ir.Samples)
	level := ir.Level(b.Rate)
	if !(level > 0) {
		panic("blocks: an impulse response without anything around 400 Hz")
	}
	for k := range response {
		response[k] *= oneWatt / level
	}
	bits := binary.LittleEndian.AppendUint64(nil, uint64(ir.Lead))
	for _, h := range ir.Samples {
		bits = binary.LittleEndian.AppendUint64(bits, math.Float64bits(h))
	}
	b.Stage(Stage{
		Name:  fmt.Sprintf("cabinet-%x", sha256.Sum256(bits)), // equal names, equal cores
		Sense: []string{"in"}, Drive: []string{"microphone"},
		New: func() Core {
			return &convolving{rate: rate, response: response, lead: ir.Lead, conv: convolver.New(response)}
		},
		Noise: microphoneNoise,
	})
	b.R("rout", "microphone", "out", 150)
}

const (
	microphoneNoise = 4e-9 // V/√Hz: from memory, 150 Ω and an input stage
	// the microphone's voltage over the terminals', where one watt into 8 Ω gives 100 mV
	oneWatt = 0.1 / 2.83
)

// Level is the response's gain in the octave about 400 Hz: the root of the mean of the squares at
// frequencies in equal ratios. A cabinet's own colour is least there, between its resonance and its
// break-up.
func (ir ImpulseResponse) Level(rate dsp.Hertz) float64 {
	const points = 49
	var sum float64
	for k := range points {
		f := 400 * math.Pow(2, (float64(k)+0.5)/points-0.5)
		h := cmplx.Abs(transform(ir.Samples, f/float64(rate)))
		sum += h * h / points
	}
	return math.Sqrt(sum)
}

// transform is the Fourier transform of samples at a frequency in cycles per sample.
func transform(x []float64, f float64) (sum complex128) {
	const run = 1024 // so that the turning pointer's error does not grow
	turn := cmplx.Exp(complex(0, -2*math.Pi*f))
	for from := 0; from < len(x); from += run {
		at := cmplx.Exp(complex(0, -2*math.Pi*math.Mod(f*float64(from), 1)))
		for _, v := range x[from:min(from+run, len(x))] {
			sum += complex(v, 0) * at
			at *= turn
		}
	}
	return sum
}

// convolving is a core that is an impulse response.
type convolving struct {
	rate     float64
	response []float64
	lead     int
	conv     *convolver.Convolver
}

// Process implements Core.
func (c *convolving) Process(out, in [][]float64) { c.conv.Process(out[0], in[0]) }

// Response implements Responder.
func (c *convolving) Response(f dsp.Hertz) complex128 {
	x := float64(f) / c.rate
	return transform(c.response, x) * cmplx.Exp(complex(0, 2*math.Pi*x*float64(c.lead)))
}

// Impulse implements Finite; not a copy.
func (c *convolving) Impulse() ([]float64, int) { return c.response, c.lead }

// Latency implements Core.
func (c *convolving) Latency() int { return c.conv.Latency() + c.lead }

// Tail implements Core.
func (c *convolving) Tail() dsp.Second { return dsp.Second(float64(len(c.response)) / c.rate) }

// Reset implements Core.
func (c *convolving) Reset() { c.conv.Reset() }

// filtering is a core of filters alone.
type filtering struct {
	bands filter.Cascade
	gain  float64
}

// Process implements Core.
func (l *filtering) Process(out, in [][]float64) {
	y := out[0]
	l.bands.Process(y, in[0])
	for k := range y {
		y[k] *= l.gain
	}
}

// Response implements Responder.
func (l *filtering) Response(f dsp.Hertz) complex128 {
	return complex(l.gain, 0) * l.bands.Response(f)
}

// Latency implements Core.
func (l *filtering) Latency() int { return 0 }

// Tail implements Core.
func (l *filtering) Tail() dsp.Second { return l.bands.Tail() }

// Reset implements Core.
func (l *filtering) Reset() { l.bands.Reset() }
