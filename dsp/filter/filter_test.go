package filter

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
)

const tolGain = 0.001 // dB

type design struct {
	name string
	make func(rate dsp.Hertz) *Biquad
}

func designs() (all []design) {
	for _, f := range []dsp.Hertz{40, 1000, 9000} {
		for _, gain := range []float64{-15, 6} {
			for _, q := range []float64{0.5, math.Sqrt2 / 2, 4} {
				all = append(all,
					design{fmt.Sprintf("peak %v %v %.2g", f, gain, q), func(r dsp.Hertz) *Biquad { return Peak(f, gain, q, r) }},
					design{fmt.Sprintf("low shelf %v %v %.2g", f, gain, q), func(r dsp.Hertz) *Biquad { return LowShelf(f, gain, q, r) }},
					design{fmt.Sprintf("high shelf %v %v %.2g", f, gain, q), func(r dsp.Hertz) *Biquad { return HighShelf(f, gain, q, r) }},
					design{fmt.Sprintf("low-pass %v %.2g", f, q), func(r dsp.Hertz) *Biquad { return LowPass(f, q, r) }},
					design{fmt.Sprintf("high-pass %v %.2g", f, q), func(r dsp.Hertz) *Biquad { return HighPass(f, q, r) }},
				)
			}
		}
		all = append(all,
			design{fmt.Sprintf("one-pole low %v", f), func(r dsp.Hertz) *Biquad { return OnePoleLow(f, r) }},
			design{fmt.Sprintf("one-pole high %v", f), func(r dsp.Hertz) *Biquad { return OnePoleHigh(f, r) }},
		)
	}
	return all
}

// measure is the response at f from an impulse response, by Fourier's sum.
func measure(h []float64, f, rate float64) complex128 {
	var sum complex128
	turn, step := complex(1, 0), cmplx.Rect(1, -2*math.Pi*f/rate)
	for _, v := range h {
		sum += complex(v, 0) * turn
		turn *= step
	}
	return sum
}

// The stated response against the measured one. A fault in the stated form or the transform shows
// as dB; the phase is checked by the size of the complex difference.
func TestResponse(t *testing.T) {
	for _, rate := range []float64{44100, 96000} {
		for _, d := range designs() {
			s := d.make(dsp.Hertz(rate))
			h := make([]float64, int(2.5*float64(s.Tail())*rate)+64) // 150 dB down
			h[0] = 1
			s.Process(h, h)
			for _, f := range []float64{20, 31.5, 40, 63, 100, 250, 630, 1000, 1600, 4000, 8000, 9000, 12500, 16000, 20000} {
				got, want := measure(h, f, rate), s.Response(dsp.Hertz(f))
				if off := dsp.ToDB(cmplx.Abs(got) / cmplx.Abs(want)); cmplx.Abs(want) > 1e-5 && !(math.Abs(off) <= tolGain) {
					t.Errorf("%s at %v Hz: measured %+.5f dB beside the stated gain at %v Hz", d.name, rate, off, f)
				}
				if cmplx.Abs(got-want) > 1.2e-4*max(cmplx.Abs(want), 0.01) {
					t.Errorf("%s at %v Hz: %v at %v Hz, stated %v", d.name, rate, got, f, want)
				}
			}
		}
	}
}

// The coefficients against the published formulas, in the published form with cos w0 and alpha.
// Source: "Cookbook formulae for audio EQ biquad filter coefficients", W3C Note, 8 June 2021.
func TestCookbook(t *testing.T) {
	const f0, fs, gain, q = 700.0, 48000.0, 9.0, 0.9
	a := math.Pow(10, gain/40)
	w := 2 * math.Pi * f0 / fs
	c, al := math.Cos(w), math.Sin(w)/(2*q)
	r := 2 * math.Sqrt(a) * al
	for _, k := range []struct {
		name string
		s    *Biquad
		b, a [3]float64
	}{
		{"peak", Peak(f0, gain, q, fs), [3]float64{1 + al*a, -2 * c, 1 - al*a}, [3]float64{1 + al/a, -2 * c, 1 - al/a}},
		{"low shelf", LowShelf(f0, gain, q, fs),
			[3]float64{a * (a + 1 - (a-1)*c + r), 2 * a * (a - 1 - (a+1)*c), a * (a + 1 - (a-1)*c - r)},
			[3]float64{a + 1 + (a-1)*c + r, -2 * (a - 1 + (a+1)*c), a + 1 + (a-1)*c - r}},
		{"high shelf", HighShelf(f0, gain, q, fs),
			[3]float64{a * (a + 1 + (a-1)*c + r), -2 * a * (a - 1 + (a+1)*c), a * (a + 1 + (a-1)*c - r)},
			[3]float64{a + 1 - (a-1)*c + r, 2 * (a - 1 - (a+1)*c), a + 1 - (a-1)*c - r}},
		{"low-pass", LowPass(f0, q, fs), [3]float64{(1 - c) / 2, 1 - c, (1 - c) / 2}, [3]float64{1 + al, -2 * c, 1 - al}},
		{"high-pass", HighPass(f0, q, fs), [3]float64{(1 + c) / 2, -1 - c, (1 + c) / 2}, [3]float64{1 + al, -2 * c, 1 - al}},
	} {
		got := []float64{k.s.b0, k.s.b1, k.s.b2, k.s.a1, k.s.a2}
		for i, want := range []float64{k.b[0], k.b[1], k.b[2], k.a[1], k.a[2]} {
			if want /= k.a[0]; math.Abs(got[i]-want) > 1e-12 {
				t.Errorf("%s: coefficient %d is %.15g, want %.15g", k.name, i, got[i], want)
			}
		}
	}
}

// What the arguments promise: gains at the corner, at DC and far above.
func TestPromises(t *testing.T) {
	const rate = 48000
	for _, c := range []struct {
		name  string
		s     *Biquad
		f, dB float64
	}{
		{"peak, middle", Peak(1000, 9, 2, rate), 1000, 9},
		{"peak, DC", Peak(1000, 9, 2, rate), 0, 0},
		{"low shelf, DC", LowShelf(300, -8, 0.7, rate), 0, -8},
		{"low shelf, corner", LowShelf(300, -8, 0.7, rate), 300, -4},
		{"high shelf, DC", HighShelf(300, -8, 0.7, rate), 0, 0},
		{"high shelf, corner", HighShelf(300, -8, 0.7, rate), 300, -4},
		{"low-pass, corner", LowPass(5000, 0.5, rate), 5000, dsp.ToDB(0.5)},
		{"high-pass, corner", HighPass(5000, 2, rate), 5000, dsp.ToDB(2)},
		{"one-pole low, corner", OnePoleLow(5000, rate), 5000, dsp.ToDB(math.Sqrt2 / 2)},
		{"one-pole high, corner", OnePoleHigh(5000, rate), 5000, dsp.ToDB(math.Sqrt2 / 2)},
	} {
		if got := dsp.ToDB(cmplx.Abs(c.s.Response(dsp.Hertz(c.f)))); math.Abs(got-c.dB) > 1e-9 {
			t.Errorf("%s: %v dB, want %v", c.name, got, c.dB)
		}
	}
}

func five(rate dsp.Hertz) Cascade {
	return Cascade{HighPass(30, 0.7, rate), LowShelf(120, 4, 0.7, rate), Peak(700, -6, 1.4, rate), HighShelf(4000, 5, 0.7, rate), OnePoleLow(9000, rate)}
}

func TestCascade(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 3000)
	for i := range x {
		x[i] = r.Float64() - 0.5
	}
	all := five(48000)
	want := append([]float64{}, x...)
	for _, s := range five(48000) { // one by one is the plain form
		s.Process(want, want)
	}
	for _, size := range []int{3000, 1, 7, 64, 479} {
		all.Reset()
		got := make([]float64, len(x))
		for i := 0; i < len(x); i += size {
			j := min(i+size, len(x))
			all.Process(got[i:j], x[i:j])
			all.Process(nil, nil)
		}
		for i := range got {
			if math.Float64bits(got[i]) != math.Float64bits(want[i]) {
				t.Fatalf("calls of %d: sample %d is %v, want %v", size, i, got[i], want[i])
			}
		}
	}
	h := make([]float64, int(2*float64(all.Tail())*48000))
	h[0] = 1
	all.Reset()
	all.Process(h, h)
	if off := dsp.ToDB(cmplx.Abs(measure(h, 500, 48000)) / cmplx.Abs(all.Response(500))); math.Abs(off) > tolGain {
		t.Errorf("cascade is %v dB beside its stated gain at 500 Hz", off)
	}
	if n := testing.AllocsPerRun(5, func() { all.Process(want, x) }); n != 0 {
		t.Errorf("%v allocations per call, want 0", n)
	}
	Cascade{}.Process(want, x)
	if want[7] != x[7] {
		t.Errorf("an empty cascade gives %v for %v", want[7], x[7])
	}
}

// A tail ends in exact zeros, not in denormal numbers.
func TestTailEnds(t *testing.T) {
	for _, d := range designs() {
		s := d.make(48000)
		x := make([]float64, 64+int(120/3*float64(s.Tail())*48000)) // Tail is three decades, tiny a hundred
		x[0] = 1
		s.Process(x, x)
		if end := x[len(x)-1]; end != 0 {
			t.Errorf("%s: %g at the end", d.name, end)
		}
		if s.s1 != 0 || s.s2 != 0 {
			t.Errorf("%s: memory %g, %g at the end", d.name, s.s1, s.s2)
		}
	}
}

// Tail against the decay itself: 60 dB in that time, for a filter with two like poles somewhat
// more.
func TestTail(t *testing.T) {
	s := OnePoleLow(10, 48000)
	if got, want := float64(s.Tail()), math.Log(1000)/(2*math.Pi*10); math.Abs(got-want) > 1e-3*want { // t = ln 1000 · RC
		t.Errorf("tail %v s, want %v", got, want)
	}
}

func TestMisuse(t *testing.T) {
	for name, f := range map[string]func(){
		"at half the rate": func() { Peak(24000, 3, 1, 48000) },
		"at 0 Hz":          func() { LowPass(0, 1, 48000) },
		"no q":             func() { HighPass(100, 0, 48000) },
		"q not a number":   func() { LowShelf(100, 3, math.NaN(), 48000) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f()
		}()
	}
}

func BenchmarkSection(b *testing.B) {
	s := Peak(1000, 6, 1, 48000)
	x := make([]float64, 1024)
	x[0] = 1
	y := make([]float64, 1024)
	for b.Loop() {
		s.Process(y, x)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1024, "ns/sample")
}

func BenchmarkCascadeOfFive(b *testing.B) {
	c := five(48000)
	x := make([]float64, 1024)
	x[0] = 1
	y := make([]float64, 1024)
	for b.Loop() {
		c.Process(y, x)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1024/5, "ns/sample-band")
}
