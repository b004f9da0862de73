package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// The voice coil's impedance against the closed form of its equivalent: Re + jωLe beside 25 Ω +
// Res, Lces and Cmes side by side. At the resonance it is Re·(1 + Qms/Qes), 80 Ω (J. Audio Eng.
// Soc. 20(5), 383-395, 1972), and what the inductance adds.
func TestSpeakerImpedance(t *testing.T) {
	const re, qms, qes, fs = 6.4, 8.0, 0.7, 95.0
	b := laid("speaker", nil)
	for _, part := range b.Circuit.Split() {
		if !part.HasNode("speaker.in") {
			continue
		}
		a := ac(t, part)
		for _, f := range []float64{30, 95, 400, 5000} {
			s := complex(0, 2*math.Pi*f)
			c := qes / (re * 2 * math.Pi * fs)
			motional := 1 / (complex(2*math.Pi*fs*c/qms, 0) + s*complex(c, 0) + complex(2*math.Pi*fs*2*math.Pi*fs*c, 0)/s)
			want := re + s*0.6e-3*25/(25+s*0.6e-3) + motional
			if f == fs && math.Abs(cmplx.Abs(want)/(re*(1+qms/qes))-1) > 0.01 {
				t.Errorf("at resonance the closed form has %.2f Ω, the paper's rule %.2f Ω", cmplx.Abs(want), re*(1+qms/qes))
			}
			if got := a.Impedance("speaker.in", dsp.Hertz(f)); cmplx.Abs(got/want-1) > 1e-4 {
				t.Errorf("%v Hz: %.4f Ω, want %.4f Ω", f, got, want)
			}
		}
	}
}

// The microphone's level: one watt, 2.83 V, at 400 Hz is 100 mV; the foot of the break-up adds 0.1
// dB. Far over its treble it falls by 24 dB an octave or more.
func TestSpeakerSound(t *testing.T) {
	at := func(f, source float64) float64 {
		b := blocks.NewBench(gainRate, 1)
		k := blocks.Find("speaker")
		b.Place("speaker", k, k.Defaults())
		b.Circuit.Input("amplifier", "amplifier", circuit.Ground)
		b.R("rs", "amplifier", "speaker.in", dsp.Ohm(source))
		for _, part := range b.Circuit.Split() {
			if part.HasNode("speaker.sound") {
				return dsp.ToDB(cmplx.Abs(ac(t, part).Transfer("amplifier", dsp.Hertz(f), "speaker.sound")[0] * b.Stages[0].Shape().(blocks.Responder).Response(dsp.Hertz(f))))
			}
		}
		t.Fatal("no speaker")
		return 0
	}
	if got := at(400, 1e-3) + dsp.ToDB(2.83); math.Abs(got+20) > 0.15 {
		t.Errorf("one watt at 400 Hz gives %.2f dBV, want -20 dBV", got)
	}
	if fall := at(6000, 1e-3) - at(12000, 1e-3); fall < 22 {
		t.Errorf("from 6 to 12 kHz it falls by %.1f dB", fall)
	}
	// A valve amplifier's 12 Ω lets the resonance through that a stiff source damps: the resonance
	// gains on 400 Hz.
	stiff, soft := at(95, 0.1)-at(400, 0.1), at(95, 12)-at(400, 12)
	if soft-stiff < 5 {
		t.Errorf("against 400 Hz the resonance is at %.2f dB from a stiff source and at %.2f dB from 12 Ω", stiff, soft)
	}
}

// decaying is an impulse response of a tone at 400 Hz that falls to 1/e in so many samples.
func decaying(decay float64) blocks.ImpulseResponse {
	h := make([]float64, 1000)
	for n := range h {
		h[n] = math.Exp(-float64(n)/decay) * math.Cos(2*math.Pi*400*float64(n)/gainRate)
	}
	return blocks.ImpulseResponse{Samples: h}
}

// cabinetOf is the stage of a speaker with that impulse response.
func cabinetOf(ir blocks.ImpulseResponse) blocks.Stage {
	b := blocks.NewBench(gainRate, 1)
	b.IR = map[string]blocks.ImpulseResponse{"cab": ir}
	k := blocks.Find("speaker")
	b.Place("cab", k, k.Defaults())
	return b.Stages[0]
}

// An impulse response in the place of the cone: what comes out is the terminals' voltage through
// it, so loud that one watt, 2.83 V, in the octave about 400 Hz gives 100 mV: here the root of the
// mean square of the response's transform in closed form, geometric series of the two rotating
// terms (the cut after 1000 samples is e^-10), over frequencies in equal ratios. Two responses are
// two cores.
func TestSpeakerImpulseResponse(t *testing.T) {
	s := cabinetOf(decaying(100))
	if s.Key == cabinetOf(decaying(120)).Key || s.Key != cabinetOf(decaying(100)).Key {
		t.Error("keys do not tell impulse responses apart")
	}
	q := math.Exp(-1.0 / 100)
	h := func(f float64) complex128 {
		sum := complex(0, 0)
		for _, w := range []float64{f - 400, f + 400} {
			sum += 0.5 / (1 - complex(q, 0)*cmplx.Exp(complex(0, -2*math.Pi*w/gainRate)))
		}
		return sum
	}
	var octave, n float64
	for x := -0.4995; x < 0.5; x += 0.001 {
		v := cmplx.Abs(h(400 * math.Pow(2, x)))
		octave, n = octave+v*v, n+1
	}
	level := 0.1 / math.Sqrt(octave/n)
	x := make([]float64, 9600)
	for n := range x {
		x[n] = 2.83 * math.Sin(2*math.Pi*400*float64(n)/gainRate)
	}
	s.New().Process([][]float64{x}, [][]float64{x})
	if got, want := line(x[4800:], 400), level*cmplx.Abs(h(400)); math.Abs(dsp.ToDB(got/want)) > 0.01 {
		t.Errorf("one watt at 400 Hz gives %.5f V, want %.5f V", got, want)
	}
	core := s.Shape().(blocks.Responder)
	for _, f := range []float64{100, 1000, 5000} {
		got, want := core.Response(dsp.Hertz(f)), h(f)*complex(level/2.83, 0)
		if cmplx.Abs(got/want-1) > 1e-3 {
			t.Errorf("%v Hz: %.6f, want %.6f", f, got, want)
		}
	}
}

// What a resampled response has before its time zero is taken back: with a lead, the same response
// one lead later is the same core, but for its latency.
func TestSpeakerLead(t *testing.T) {
	plain := decaying(100)
	led := blocks.ImpulseResponse{Samples: append(make([]float64, 37), plain.Samples...), Lead: 37}
	a, b := cabinetOf(plain), cabinetOf(led)
	if a.Key == b.Key {
		t.Error("keys do not tell leads apart")
	}
	if got := b.Shape().Latency() - a.Shape().Latency(); got != 37 {
		t.Errorf("the latency grows by %d samples, want 37", got)
	}
	for _, f := range []dsp.Hertz{100, 400, 3000} {
		x, y := a.Shape().(blocks.Responder).Response(f), b.Shape().(blocks.Responder).Response(f)
		if cmplx.Abs(x-y) > 1e-9*cmplx.Abs(x) {
			t.Errorf("%v Hz: %v with a lead, %v without", f, y, x)
		}
	}
}
