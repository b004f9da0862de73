package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/oversample"
)

// wah is a resonance that moves: an inductor with a capacitor that one transistor makes look
// larger, the more the further the pedal is down at the heel. With the pedal left where it is, it
// is all circuit; led by an envelope it is the same resonance behind a stage.
var wah = Kind{
	Name:  "wah",
	Brief: "wah: an inductor's resonance, at a fixed place or led by how hard one plays",
	Models: []string{
		"Fixed: two transistors by the Ebers-Moll model, the inductor and the pot, solved together with whatever is before and after: a low impedance behind it takes the sweep away.",
		"Envelope: 1 MΩ in, an amplifier, a filter of second order with the circuit's resonance at every place of the pot, an amplifier, 22 kΩ out.",
		"The envelope follows the peaks of the input, 10 ms up and 120 ms down, and moves from the set position towards the toe.",
		"Noise of every resistor and junction, or of the two amplifiers.",
	},
	Ignores: []string{
		"The inductor's saturation and capacitance, and the two transistors' resistances.",
		"With the envelope, the distortion of the circuit's transistors, and what the input and the load do to the resonance.",
	},
	Sources: []string{
		"0.5 H with 30 Ω, 33 kΩ, 68 kΩ with 10 nF in, 10 nF of feedback, 22 kΩ and 390 Ω at the first transistor, pot of 100 kΩ: common practice, no source.",
		"Silicon: a generic small-signal NPN, Is 10 fA, BF 200, VAF 100 V; junctions 5 pF and 4 pF: from memory.",
		"Envelope: resonance 1/(2π·√(L·C·(1 + A·w))) with the first transistor's gain A of 29 and the pot at w; Q is 19 kΩ·√(C·(1 + A·w)/L): the circuit's closed form.",
		"Attack and release of the envelope, noise of op-amps of 8 nV/√Hz: common practice and from memory, no source.",
	},
	InputImpedance:  "70 kΩ to 1 MΩ: fixed, 70 kΩ and what the resonance adds; with the envelope, 1 MΩ",
	OutputImpedance: "2.14 kΩ to 80 kΩ: fixed, it follows the resonance; with the envelope, 22 kΩ",
	Draw:            2e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60, // led by an envelope; else its circuit tells
	Knobs: []Knob{
		choice("mode", "the pedal left where it is, or moved by how hard one plays", "fixed", "fixed", "envelope"),
		dial("position", "place of the pedal: 0 is the heel, low; 10 is the toe, high; with an envelope, where it rests", "reverse audio", 5),
		dial("sense", "how far the envelope moves it: at 10, a peak of 50 mV goes all the way", "audio", 5),
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply := s.Number("supply")
		if s.Word("mode") == "envelope" {
			b.highInput()
			b.outputThrough(Stage{
				Name: "filter",
				New: func() Core {
					return b.sweeping(s.Number("position")/10, 20*circuit.Audio.Wiper(s.Number("sense")/10), supply)
				},
				Noise:   root(opAmpNoise*wahPeak, opAmpNoise),
				Ceiling: swing(supply),
			}, 22e3)
			return
		}
		b.Supply("vcc", dsp.Volt(supply))
		b.C("c1", "in", "c1", 10e-9)
		b.R("r1", "c1", "coil", 68e3)
		b.L("l1", "coil", "dcr", wahInductance)
		b.R("dcr", "dcr", "bias", 30)
		b.R("r2", "coil", "bias", 33e3)
		b.C("c2", "bias", "0", 4.7e-6)
		b.R("r3", "bias", "0", 82e3)
		b.R("r4", "bias", "collector", 470e3)
		b.R("r5", "coil", "base", 1.5e3)
		b.R("r6", "vcc", "collector", 22e3)
		b.Q("q1", "collector", "base", "emitter", silicon)
		b.R("r7", "emitter", "0", 390)
		b.C("c3", "collector", "out", 220e-9)
		b.Pot("pedal", "out", "wiper", "0", 100e3, wahShare(s.Number("position")/10))
		b.C("c4", "wiper", "base2", 220e-9)
		b.R("r8", "vcc", "base2", 470e3)
		b.R("r9", "base2", "0", 470e3)
		b.Q("q2", "vcc", "base2", "follower", silicon)
		b.R("r10", "follower", "0", 10e3)
		b.C("c5", "follower", "coil", wahCapacitance)
	},
}

// The resonance: see Sources.
const (
	wahInductance  = 0.5
	wahCapacitance = 10e-9
	wahGain        = 29.0
	// what dampens the coil: 68 kΩ, 33 kΩ and the transistor's input
	wahResistance = 19e3
	wahPeak       = wahGain * wahResistance / (68e3 + 10e3) // with a source of 10 kΩ
)

// wahShare is the share of the pot that is fed back with the pedal at x, from 0 at the heel to 1 at
// the toe.
func wahShare(x float64) float64 { return circuit.Audio.Wiper(1 - x) }

// sweeping is the core: amplifier, filter, amplifier. The filter is a band-pass of second order by
// the trapezoidal rule, which keeps its state when its resonance moves: two integrators of gain g =
// tan(π·f/rate), as in J. Audio Eng. Soc. 63(9), 2015, on time-varying filters.
type sweeping struct {
	in, out     *oversample.Clip
	rest, sense float64
	g, k        [wahSteps + 1]float64 // by the pedal's place: tan(π·f/rate) and 1/Q
	up, down    float64               // shares of the way that the envelope goes in a sample
	envelope    float64
	s1, s2      float64
	rate        float64
}

const wahSteps = 256

func (b *Bench) sweeping(rest, sense, supply float64) *sweeping {
	rate := float64(b.Rate)
	w := &sweeping{
		in: b.rails(supply), out: b.rails(supply), rest: rest, sense: sense, rate: rate,
		up: 1 - math.Exp(-1/(10e-3*rate)), down: 1 - math.Exp(-1/(120e-3*rate)),
	}
	for n := range w.g {
		c := wahCapacitance * (1 + wahGain*wahShare(float64(n)/wahSteps))
		w.g[n] = math.Tan(math.Pi / (2 * math.Pi * math.Sqrt(wahInductance*c)) / rate)
		w.k[n] = math.Sqrt(wahInductance/c) / wahResistance
	}
	w.Reset()
	return w
}

// at is g and k with the pedal at x.
func (w *sweeping) at(x float64) (g, k float64) {
	x *= wahSteps
	n := min(int(x), wahSteps-1)
	x -= float64(n)
	return w.g[n] + x*(w.g[n+1]-w.g[n]), w.k[n] + x*(w.k[n+1]-w.k[n])
}

// Process implements Core.
func (w *sweeping) Process(out, in [][]float64) {
	y := out[0]
	w.in.Process(y, in[0])
	for n, x := range y {
		level := math.Abs(x)
		if level > w.envelope {
			w.envelope += w.up * (level - w.envelope)
		} else {
			w.envelope += w.down * (level - w.envelope)
		}
		g, k := w.at(min(1, w.rest+w.sense*w.envelope))
		// Band-pass of unity peak: v1 is the first integrator's output, k·v1 the band.
		v1 := (g*(x-w.s2) + w.s1) / (1 + g*(g+k))
		v2 := w.s2 + g*v1
		w.s1, w.s2 = 2*v1-w.s1, 2*v2-w.s2
		if math.Abs(w.s1)+math.Abs(w.s2)+w.envelope < tiny {
			w.s1, w.s2, w.envelope = 0, 0, 0
		}
		y[n] = wahPeak * k * v1
	}
	w.out.Process(y, y)
}

// Response implements Responder: about rest, the band-pass k·s/(s² + k·s + 1) at the frequency that
// the trapezoidal rule makes of f.
func (w *sweeping) Response(f dsp.Hertz) complex128 {
	g, k := w.at(w.rest)
	s := complex(0, math.Tan(math.Pi*float64(f)/w.rate)/g)
	return complex(wahPeak, 0) * complex(k, 0) * s / (s*s + complex(k, 0)*s + 1)
}

// Quiet implements Detecting: the envelope, some 1.6 times the RMS by its two speeds, moves the
// pedal by under a two-hundredth.
func (w *sweeping) Quiet() dsp.Volt { return dsp.Volt(0.005 / 1.6 / w.sense) }

// Latency implements Core.
func (w *sweeping) Latency() int { return w.in.Latency() + w.out.Latency() }

// Tail implements Core: the resonance rings for Q/(π·f) until it is 1/e down, longest where the
// pedal rests or at the heel; 60 dB are 6.9 of that.
func (w *sweeping) Tail() dsp.Second {
	g, k := w.at(w.rest)
	f := math.Atan(g) * w.rate / math.Pi
	return dsp.Second(6.91 / k / math.Pi / f)
}

// Reset implements Core.
func (w *sweeping) Reset() {
	w.in.Reset()
	w.out.Reset()
	w.envelope, w.s1, w.s2 = 0, 0, 0
}
