package reverb

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// The impulse response's spectrum against the loop in closed form: of each spring level·P/(1 - P²),
// P a pass: a delay of 33 or 41 ms and 50 all-passes (a + z^-K)/(1 + a·z^-K), a = 0.6, K = rate/8
// kHz rounded, all of this with γ·z^-1 for z^-1, γ being 60 dB in the decay; and the filters after
// them. The level is by what a pass leaves at 1 kHz.
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

// alone is one spring's impulse response, without what driver and pick-up leave of it, and the
// whole of it.
func alone(p *Spring, coil, n int) (bare, whole []float64) {
	x, room := make([]float64, n), make([]float64, chunk)
	x[0] = 1
	bare, whole = make([]float64, n), make([]float64, n)
	for at := 0; at < n; at += chunk {
		end := min(at+chunk, n)
		p.coil[coil].run(bare[at:end], x[at:end], room[:end-at])
	}
	p.ends.Process(whole, bare)
	return bare, whole
}

// Everything that a spring carries falls at one rate, whatever its frequency, and that is the decay
// asked for: two responses of other decays differ by γ^n, γ being 60 dB in the decay, and by their
// level, in every sample (a closed form: γ·z^-1 in the place of z^-1). What is left is that of the
// lossless spring.
func TestSpringFallsAtOneRate(t *testing.T) {
	const rate, n = 48000, 48000
	lossless := func(decay float64, coil int) []float64 {
		p := NewSpring(Settings{Decay: dsp.Second(decay), Tone: 1}, rate)
		h, _ := alone(p, coil, n)
		for k := range h {
			h[k] *= math.Pow(10, 3*float64(k)/(rate*decay)) / p.coil[coil].level
		}
		return h
	}
	for coil := range passes {
		want := lossless(10, coil)
		top := 0.0
		for _, v := range want {
			top = max(top, math.Abs(v))
		}
		for _, decay := range []float64{0.2, 0.5, 1, 3} {
			for k, v := range lossless(decay, coil) {
				if math.Abs(v-want[k]) > 1e-9*top {
					t.Fatalf("spring %d, decay %v s: %v at sample %d, want %v", coil, decay, v, k, want[k])
				}
			}
		}
	}
}

// The decay is what was asked for in all octaves that springs carry, T30 within 2.5 %. The two
// springs' echoes fall upon each other now and then, and what one pick-up has of that depends on
// how their phases lie, up to 4.6 % at 125 Hz, in one sense or, with one of them turned over, in
// the other: so the sum of their energies is held, which is the mean of both, as of a plate's
// places; and one pick-up by two standard deviations of what it may show. In less than a second
// each echo of a spring is more than 4 dB softer than the one before, and a line through such steps
// is no decay; TestSpringFallsAtOneRate holds that one. In the octave of 4 kHz, of which springs
// carry the lower half, echoes of one pass run into those of the next.
func TestSpringDecay(t *testing.T) {
	const rate = 48000
	for _, s := range []Settings{{Decay: 1, Tone: 1}, {Decay: 1.4, Tone: 0.1}, {Decay: 2, Tone: 1}, {Decay: 4, Tone: 0.4}} {
		decay := float64(s.Decay)
		n := int((1.3*decay + 0.3) * rate)
		_, first := alone(NewSpring(s, rate), 0, n)
		_, second := alone(NewSpring(s, rate), 1, n)
		h := make([]float64, n)
		h[0] = 1
		NewSpring(s, rate).Process(h, nil, h)
		for k, v := range h {
			if math.Abs(v-first[k]-second[k]) > 1e-12 {
				t.Fatalf("%+v: the two springs are not the whole at sample %d", s, k)
			}
		}
		both, size := spectra(first, second)
		for _, f := range []float64{125, 250, 500, 1000, 2000, 4000} {
			got := t30(both, size, n, rate, f)
			d, err := measure.OctaveDecay(h, rate, f)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%+v: %v Hz: T30 %+.1f %%, of one pick-up %+.1f %%", s, f, 100*(got/decay-1), 100*(d.T30/decay-1))
			if math.Abs(got/decay-1) > tolDecay {
				t.Errorf("%+v: T30 %.3f s at %v Hz", s, got, f)
			}
			if tol := max(tolDecay, 2*deviation(f, decay)); math.Abs(d.T30/decay-1) > tol {
				t.Errorf("%+v: T30 %.3f s of one pick-up at %v Hz", s, d.T30, f)
			}
		}
	}
}

// High frequencies come later: the first arrival of a short burst is where its pass ends, 33 ms and
// the all-passes' K·(1 - a²)/(1 + a² + 2a·cos(K·ω)).
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
		// The shorter spring's arrival is the first peak of the envelope: the loudest until the
		// other's.
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
