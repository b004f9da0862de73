package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// The voice coil's impedance against the closed form of its equivalent: Re + jωLe beside 25 Ω + Res, Lces and Cmes side by side. At the
// resonance it is Re·(1 + Qms/Qes), 80 Ω (J. Audio Eng. Soc. 20(5), 383-395, 1972), and what the inductance adds.
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

// The microphone's level: one watt, 2.83 V, at 400 Hz is 100 mV; the foot of the break-up adds 0.1 dB. Far over its treble it falls by 24
// dB an octave or more.
func TestSpeakerSound(t *testing.T) {
	at := func(f, source float64) float64 {
		b := blocks.NewBench(gainRate, 1)
		k := blocks.Find("speaker")
		b.Place("speaker", k, k.Defaults())
		b.Circuit.Input("amplifier", "amplifier", circuit.Ground)
		b.R("rs", "amplifier", "speaker.in", dsp.Ohm(source))
		for _, part := range b.Circuit.Split() {
			if part.HasNode("speaker.sound") {
				return dsp.ToDB(cmplx.Abs(ac(t, part).Transfer("amplifier", dsp.Hertz(f), "speaker.sound")[0] * b.Stages[0].Core.(blocks.Responder).Response(dsp.Hertz(f))))
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
	// A valve amplifier's 12 Ω lets the resonance through that a stiff source damps: the resonance gains on 400 Hz.
	stiff, soft := at(95, 0.1)-at(400, 0.1), at(95, 12)-at(400, 12)
	if soft-stiff < 5 {
		t.Errorf("against 400 Hz the resonance is at %.2f dB from a stiff source and at %.2f dB from 12 Ω", stiff, soft)
	}
}

// An impulse response in the place of the cone: what comes out is the terminals' voltage through it, at the level of one watt, 2.83 V at 400 Hz, to
// 100 mV; two responses are two cores. The response here is a decaying tone of 400 Hz, whose transform is a closed form.
func TestSpeakerImpulseResponse(t *testing.T) {
	place := func(decay float64) blocks.Stage {
		b := blocks.NewBench(gainRate, 1)
		ir := make([]float64, 1000)
		for n := range ir {
			ir[n] = math.Exp(-float64(n)/decay) * math.Cos(2*math.Pi*400*float64(n)/gainRate)
		}
		b.IR = map[string][]float64{"cab": ir}
		k := blocks.Find("speaker")
		b.Place("cab", k, k.Defaults())
		return b.Stages[0]
	}
	s := place(100)
	if s.Key == place(120).Key || s.Key != place(100).Key {
		t.Error("keys do not tell impulse responses apart")
	}
	x := make([]float64, 9600)
	for n := range x {
		x[n] = 2.83 * math.Sin(2*math.Pi*400*float64(n)/gainRate)
	}
	s.Core.Process([][]float64{x}, [][]float64{x})
	if got := line(x[4800:], 400); math.Abs(got-0.1) > 1e-4 {
		t.Errorf("one watt gives %.5f V, want 0.1 V", got)
	}
	// Against 400 Hz, another frequency is |1/(1-q·e^(-jw))| of the two rotating terms: closed form, the cut after 1000 samples is e^-10.
	q := math.Exp(-1.0 / 100)
	h := func(f float64) complex128 {
		sum := complex(0, 0)
		for _, w := range []float64{f - 400, f + 400} {
			sum += 0.5 / (1 - complex(q, 0)*cmplx.Exp(complex(0, -2*math.Pi*w/gainRate)))
		}
		return sum
	}
	core := s.Core.(blocks.Responder)
	for _, f := range []float64{100, 1000, 5000} {
		got, want := cmplx.Abs(core.Response(dsp.Hertz(f))/core.Response(400)), cmplx.Abs(h(f)/h(400))
		if math.Abs(dsp.ToDB(got/want)) > 0.01 {
			t.Errorf("%v Hz: %.5f of 400 Hz, want %.5f", f, got, want)
		}
	}
}
