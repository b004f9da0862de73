package reverb

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// The impulse response's spectrum against the loop in closed form: of each spring level·P/(1 - P²), P a pass: a delay of 33 or 41 ms and 50 all-passes
// (a + z^-K)/(1 + a·z^-K), a = 0.6, K = rate/8 kHz rounded, all of this with γ·z^-1 for z^-1, γ being 60 dB in the decay; and the filters after them. The level is by
// what a pass leaves at 1 kHz.
func TestSpringResponse(t *testing.T) {
	for _, rate := range []float64{44100, 48000} {
		const decay = 0.3
		p := NewSpring(Settings{Decay: decay, Tone: 1}, dsp.Hertz(rate))
		h := make([]float64, int(3*rate))
		h[0] = 1
		p.Process(h, nil, h)
		for _, f := range []float64{100, 440, 1000, 1777, 2500, 3100} {
			z := func(n, f float64) complex128 { return cmplx.Exp(complex(0, -2*math.Pi*f*n/rate)) }
			var got, want complex128
			for n, v := range h {
				got += complex(v, 0) * z(float64(n), f)
			}
			k := math.Round(rate / 8000)
			gamma := math.Pow(10, -3/(rate*decay))
			pass := func(seconds, f, gamma float64) complex128 {
				z := func(n float64) complex128 { return z(n, f) * complex(math.Pow(gamma, n), 0) }
				return z(math.Round(seconds*rate)) * cmplx.Pow((0.6+z(k))/(1+0.6*z(k)), 50)
			}
			for _, seconds := range []float64{33e-3, 41e-3} {
				// The time of a pass is the derivative of its phase.
				const d = 0.01
				turn := cmplx.Phase(pass(seconds, 1000-d, 1) / pass(seconds, 1000+d, 1))
				r := math.Pow(10, -3*turn/(2*math.Pi*2*d)/decay)
				P := pass(seconds, f, gamma)
				level := math.Sqrt((1-r*r*r*r)/2) / r
				want += complex(level, 0) * P / (1 - P*P)
			}
			want *= p.ends.Response(dsp.Hertz(f))
			if cmplx.Abs(got-want) > 1e-6 {
				t.Errorf("%v Hz: response at %v Hz is %.7f, want %.7f", rate, f, got, want)
			}
		}
	}
}

// The decay is what was asked for in all octaves that springs carry: T30 by the project's own meter within 2.5 %, or two standard deviations of what one pick-up
// shows. In the octave of 4 kHz, of which springs carry the lower half, echoes of one pass run into those of the next.
func TestSpringDecay(t *testing.T) {
	const rate = 48000
	for _, decay := range []float64{1, 2, 4} {
		p := NewSpring(Settings{Decay: dsp.Second(decay), Tone: 1}, rate)
		h := make([]float64, int((1.3*decay+0.3)*rate))
		h[0] = 1
		p.Process(h, nil, h)
		for _, f := range []float64{125, 250, 500, 1000, 2000, 4000} {
			d, err := measure.OctaveDecay(h, rate, f)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("decay %v s: %v Hz: T30 %+.1f %%", decay, f, 100*(d.T30/decay-1))
			if tol := max(tolDecay, 2*deviation(f, decay)); math.Abs(d.T30/decay-1) > tol {
				t.Errorf("decay %v s: T30 %.3f s at %v Hz", decay, d.T30, f)
			}
		}
	}
}

// High frequencies come later: the first arrival of a short burst is where its pass ends, 33 ms and the all-passes' K·(1 - a²)/(1 + a² + 2a·cos(K·ω)).
func TestSpringChirp(t *testing.T) {
	const rate = 48000
	for _, f := range []float64{400, 2800} {
		p := NewSpring(Settings{Decay: 2, Tone: 1}, rate)
		const width = 2e-3 // s, of the burst, standard deviation
		h := make([]float64, rate/10)
		for n := range h {
			at := float64(n)/rate - 5*width
			h[n] = math.Exp(-at*at/(2*width*width)) * math.Sin(2*math.Pi*f*at)
		}
		p.Process(h, nil, h)
		// The shorter spring's arrival is the first peak of the envelope: the loudest until the other's.
		want := 5*width + (33e-3*rate+50*6*0.64/(1.36+1.2*math.Cos(6*2*math.Pi*f/rate)))/rate
		var sum, moment float64
		for n := int((want - 4e-3) * rate); n < int((want+4e-3)*rate); n++ {
			sum += h[n] * h[n]
			moment += h[n] * h[n] * float64(n) / rate
		}
		if got := moment / sum; math.Abs(got-want) > 0.7e-3 { // the filters after the springs take 0.3 ms and more
			t.Errorf("%v Hz arrives after %.2f ms, want %.2f ms", f, 1e3*(got-5*width), 1e3*(want-5*width))
		}
	}
}
