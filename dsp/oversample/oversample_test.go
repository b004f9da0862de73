package oversample

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/dsp"
)

const (
	tolStop = -140.0 // dB, from half the base rate on
	tolFlat = 0.001  // dB, up and down together
	tolNull = -120.0 // dB, up and down against the delayed input
)

var (
	factors = []int{1, 2, 4, 8, 16, 32, 64}
	rates   = []dsp.Hertz{44100, 48000, 96000, 192000}
)

func noise(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = 2*r.Float64() - 1
	}
	return x
}

// slowUp is the plain form: put zeros between the samples, then convolve.
func slowUp(x []float64, factor int, base dsp.Hertz) []float64 {
	for s := 0; 1<<s < factor; s++ {
		y := make([]float64, 2*len(x))
		for i, v := range x {
			y[2*i] = 2 * v
		}
		x = convolve(y, taps(s, base))
	}
	return x
}

// slowDown is the plain form: convolve, then leave every second sample out.
func slowDown(x []float64, factor, pad int, base dsp.Hertz) []float64 {
	x = append(make([]float64, pad), x[:len(x)-pad]...)
	for f := factor; f > 1; f /= 2 {
		s := stages(f, base) - 1
		y := convolve(x, taps(s, base))
		x = make([]float64, len(y)/2)
		for i := range x {
			x[i] = y[2*i]
		}
	}
	return x
}

func convolve(x, h []float64) []float64 {
	y := make([]float64, len(x))
	for n := range y {
		for k, g := range h {
			if n-k >= 0 {
				y[n] += g * x[n-k]
			}
		}
	}
	return y
}

func TestAgainstSlowTwin(t *testing.T) {
	for _, base := range []dsp.Hertz{44100, 48000} {
		for _, f := range factors {
			x := noise(200, 1)
			up, down := make([]float64, f*len(x)), make([]float64, len(x))
			u, d := NewUp(f, base), NewDown(f, base)
			u.Process(up, x)
			want := slowUp(x, f, base)
			for i, v := range up {
				if math.Abs(v-want[i]) > 1e-14 { // rounding of some hundred products of size 1
					t.Fatalf("up %d at %v Hz: sample %d is %v, want %v", f, base, i, v, want[i])
				}
			}
			high := noise(f*len(x), 2)
			d.Process(down, high)
			want = slowDown(high, f, d.Latency()-u.Latency(), base)
			for i, v := range down {
				if math.Abs(v-want[i]) > 1e-14 {
					t.Fatalf("down %d at %v Hz: sample %d is %v, want %v", f, base, i, v, want[i])
				}
			}
		}
	}
}

// responses measures the impulse responses of both ways at the high rate, scaled to a gain of one.
func responses(f int, base dsp.Hertz) (up, down []float64, u *Up, d *Down) {
	u, d = NewUp(f, base), NewDown(f, base)
	n := u.memory() + d.memory()
	x := make([]float64, n)
	x[0] = 1
	up, down = make([]float64, f*n), make([]float64, f*n)
	u.Process(up, x)
	for i := range up {
		up[i] /= float64(f)
	}
	// an impulse at each place of the first two base samples shows h[f·m-j]
	for j := 0; j < f; j++ {
		high, y := make([]float64, f*n), make([]float64, n)
		high[j] = 1
		d.Reset()
		d.Process(y, high)
		for m, v := range y {
			if i := f*m - j; i >= 0 {
				down[i] = v
			} else if v != 0 {
				panic("acausal")
			}
		}
	}
	d.Reset()
	return up, down, u, d
}

// The composed cascade, from its measured impulse response: pass band, stop band and phase.
func TestResponse(t *testing.T) {
	for _, base := range rates {
		for _, f := range factors[1:] {
			up, down, u, d := responses(f, base)
			for name, r := range map[string]struct {
				h       []float64
				latency int
			}{"up": {up, u.Latency()}, "down": {down, d.Latency()}} {
				for k := 0; k <= r.latency; k++ { // symmetric about the latency: linear phase
					var mirror float64
					if i := 2*r.latency - k; i < len(r.h) {
						mirror = r.h[i]
					}
					if math.Abs(r.h[k]-mirror) > 1e-16 {
						t.Fatalf("%s %d at %v Hz: tap %d is %v, its mirror about %d is %v", name, f, base, k, r.h[k], r.latency, mirror)
					}
				}
			}
			size := 1 << 14
			for size < 4*len(up) {
				size *= 2
			}
			fft := fourier.NewFFT(size)
			hu := fft.Coefficients(nil, append(up, make([]float64, size-len(up))...))
			hd := fft.Coefficients(nil, append(down, make([]float64, size-len(down))...))
			var worstFlat float64
			worstUp, worstDown := math.Inf(-1), math.Inf(-1)
			for i := range hu {
				share := float64(i) / float64(size) * float64(f) // of the base rate
				a, b := absolute(hu[i]), absolute(hd[i])
				switch {
				case share <= passEdge(base):
					worstFlat = max(worstFlat, math.Abs(dsp.ToDB(a*b)))
				case share >= 0.5:
					worstUp, worstDown = max(worstUp, dsp.ToDB(a)), max(worstDown, dsp.ToDB(b))
				}
			}
			if worstFlat > tolFlat {
				t.Errorf("%d at %v Hz: pass band off by %.2g dB, want %v", f, base, worstFlat, tolFlat)
			}
			if worstUp > tolStop || worstDown > tolStop {
				t.Errorf("%d at %v Hz: stop band at %.2f dB up, %.2f dB down, want %v", f, base, worstUp, worstDown, tolStop)
			}
		}
	}
}

func absolute(c complex128) float64 { return math.Hypot(real(c), imag(c)) }

func TestPassEdge(t *testing.T) {
	for _, c := range []struct{ base, want float64 }{
		{44100, 20e3}, {48000, 20e3}, {50000, 20e3}, // Hz: 20 kHz where the rate allows it
		{96000, 38.4e3}, {192000, 76.8e3}, // 0.40 of higher rates
		{22050, 10e3}, // 20/44.1 of lower ones
	} {
		if got := passEdge(dsp.Hertz(c.base)) * c.base; math.Abs(got-c.want) > 1e-6 {
			t.Errorf("at %v Hz the pass band ends at %v Hz, want %v", c.base, got, c.want)
		}
	}
}

// The design against an outside one, whose grid is coarser, so that its ripple is a little larger.
// Source: scipy 1.10.1, ripple as the largest of freqz at 2^17 points,
//
//	signal.remez(165, [0, 20/96, .25, .5], [1, 0], weight=[1, 573.3], fs=1, maxiter=100,
//	             grid_density=64)
//	signal.remez(35, [0, .125, .375, .5], [1, 0], weight=[1, 1], fs=1, maxiter=200,
//	             grid_density=200)
func TestDesign(t *testing.T) {
	a, dev := minimax(83, false, []band{{0, math.Pi * 20 / 48, 1, 1, nil}, {math.Pi / 2, math.Pi, 0, 573.3, nil}})
	g, devHalf := minimax(9, true, []band{{0, math.Pi / 4, 0.5, 1, nil}})
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"lowest, ripple in dB", dsp.ToDB(dev), dsp.ToDB(5.26068176318617e-05), 0.05},
		{"lowest, middle tap", a[0], 0.4511789065737088, 2e-6},
		{"lowest, next tap", a[1] / 2, 0.31434868642907127, 2e-6},
		{"lowest, outermost tap", a[82] / 2, -1.5981342043677821e-06, 1e-9},
		{"half-band, ripple in dB", dsp.ToDB(devHalf), -152.3205403662319, 0.1},
		{"half-band, tap 1", g[0] / 2, 0.312270348, 3e-6},
		{"half-band, tap 3", g[1] / 2, -0.0892215171, 3e-6},
		{"half-band, tap 5", g[2] / 2, 0.0391397040, 3e-6},
	} {
		if !(math.Abs(c.got-c.want) <= c.tol) {
			t.Errorf("%s: got %v, want %v", c.name, c.got, c.want)
		}
	}
}

// Up and down again is a delay by a whole number of base samples.
func TestNull(t *testing.T) {
	for _, base := range rates {
		for _, f := range factors {
			u, d := NewUp(f, base), NewDown(f, base)
			total := u.Latency() + d.Latency()
			if total%f != 0 || d.Latency() < 0 {
				t.Errorf("%d at %v Hz: latency %d+%d is not a multiple of %d", f, base, u.Latency(), d.Latency(), f)
			}
			r := rand.New(rand.NewPCG(3, 3))
			x := make([]float64, 6000)
			for k := 0; k < 60; k++ { // sines up to the edge of the pass band, the last one at it
				w := 2 * math.Pi * passEdge(base) * math.Sqrt(float64(k+1)/60)
				phase := 2 * math.Pi * r.Float64()
				for i := range x {
					x[i] += math.Sin(w*float64(i) + phase)
				}
			}
			y, high := make([]float64, len(x)), make([]float64, f*len(x))
			u.Process(high, x)
			d.Process(y, high)
			var diff, level float64
			for i := 1000; i < len(x); i++ {
				e := y[i] - x[i-total/f]
				diff += e * e
				level += x[i] * x[i]
			}
			if null := 10 * math.Log10(diff/level+1e-40); null > tolNull {
				t.Errorf("%d at %v Hz: null %.1f dB, want %v", f, base, null, tolNull)
			}
		}
	}
}

// inCalls runs process over n samples in calls of the given lengths, again and again, 0 included.
func inCalls(n int, lengths []int, process func(from, to int)) {
	for i, k := 0, 0; i < n; k++ {
		to := min(i+lengths[k%len(lengths)], n)
		process(i, to)
		i = to
	}
}

var cuts = [][]int{{1}, {7}, {64}, {479}, {0, 1, 8, 3, 65, 0, 128, 200}}

func TestCallLength(t *testing.T) {
	for _, f := range factors {
		u, d := NewUp(f, 48000), NewDown(f, 48000)
		x := noise(1500, 4)
		high, y := make([]float64, f*len(x)), make([]float64, len(x))
		u.Process(high, x)
		d.Process(y, high)
		for _, lengths := range cuts {
			u.Reset() // what was made and used must be as new
			d.Reset()
			high2, y2 := make([]float64, len(high)), make([]float64, len(y))
			inCalls(len(x), lengths, func(i, j int) {
				u.Process(high2[f*i:f*j], x[i:j])
				d.Process(y2[i:j], high2[f*i:f*j])
			})
			same(t, fmt.Sprintf("up %d, calls %v", f, lengths), high2, high)
			same(t, fmt.Sprintf("down %d, calls %v", f, lengths), y2, y)
		}
	}
}

func same(t *testing.T, what string, got, want []float64) {
	t.Helper()
	for i := range want {
		if math.Float64bits(got[i]) != math.Float64bits(want[i]) {
			t.Fatalf("%s: sample %d is %v, want %v", what, i, got[i], want[i])
		}
	}
}

func TestSilenceAndAllocation(t *testing.T) {
	u, d := NewUp(8, 48000), NewDown(8, 48000)
	x, high := noise(1000, 5), make([]float64, 8000)
	clear(x[300:])
	u.Process(high, x)
	d.Process(x, high)
	for i, v := range x[300+u.memory()+d.memory():] {
		if v != 0 {
			t.Fatalf("output is %v, %d samples after it should have ended, want exactly 0", v, i)
		}
	}
	if n := testing.AllocsPerRun(10, func() { u.Process(high, x); d.Process(x, high) }); n != 0 {
		t.Errorf("%v allocations per call, want 0", n)
	}
}

func TestMisuse(t *testing.T) {
	for name, f := range map[string]func(){
		"factor 3":          func() { NewUp(3, 48000) },
		"factor 0":          func() { NewDown(0, 48000) },
		"factor 128":        func() { NewUp(128, 48000) },
		"no rate":           func() { NewUp(2, 0) },
		"rate not a number": func() { NewUp(2, dsp.Hertz(math.NaN())) },
		"wrong length":      func() { NewUp(2, 48000).Process(make([]float64, 3), make([]float64, 2)) },
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

func BenchmarkUpDown(b *testing.B) {
	for _, base := range []dsp.Hertz{44100, 48000, 96000} {
		for _, f := range []int{2, 8, 64} {
			b.Run(fmt.Sprintf("%gHz/%d", float64(base), f), func(b *testing.B) {
				u, d := NewUp(f, base), NewDown(f, base)
				x := noise(512, 6)
				high, y := make([]float64, f*len(x)), make([]float64, len(x))
				b.ReportAllocs()
				for b.Loop() {
					u.Process(high, x)
					d.Process(y, high)
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(x)), "ns/base-sample")
			})
		}
	}
}

// BenchmarkDesign is what the first filter of a rate costs, once.
func BenchmarkDesign(b *testing.B) {
	for _, base := range []dsp.Hertz{44100, 48000} {
		b.Run(fmt.Sprintf("%gHz", float64(base)), func(b *testing.B) {
			for b.Loop() {
				clear(designs)
				lowest(passEdge(base))
			}
		})
	}
}
