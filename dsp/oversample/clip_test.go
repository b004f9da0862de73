package oversample

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/dsp"
)

// bursts is a signal that is far over 1 V, near it, just under it, quiet and silent by turns.
func bursts(n int) []float64 {
	x := noise(n, 7)
	size := []float64{8, 0.01, 1.1, 0.7, 0, 0.2, 3, 0.001, 0.2, 0, 0.1, 0.3, 0.01, 0.2, 0.1, 0.4, 8, 0.6}
	for i := range x {
		x[i] *= size[i/700%len(size)]
	}
	return x
}

// slowClip is the plain form: nothing is left out, the mean is the difference of the
// antiderivative.
func slowClip(x []float64, lo, hi, base float64, factor int) []float64 {
	u, d := NewUp(factor, dsp.Hertz(base)), NewDown(factor, dsp.Hertz(base))
	high := make([]float64, factor*len(x))
	u.Process(high, x)
	anti := func(v float64) float64 {
		e := v - min(max(v, lo), hi)
		return e * e / 2
	}
	mean := func(a, b float64) float64 {
		if a == b {
			return b - min(max(b, lo), hi)
		}
		return (anti(b) - anti(a)) / (b - a)
	}
	at := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return high[i]
	}
	// how much of the input comes up and down: 1 from the first excess to 50 ms after the last,
	// over 16 base samples; it has begun by then
	const fade = 16
	ahead := make([]float64, len(high))
	for i, share, calm := 0, 0.0, len(high)+int(base); i < len(high); i++ {
		if e := at(i) - min(max(at(i), lo), hi); e != 0 || i > 0 && at(i-1) != min(max(at(i-1), lo), hi) {
			calm = -1
		}
		if k := i - u.Latency(); k >= 0 && k%factor == 0 && (x[k/factor] > 2*hi || x[k/factor] < 2*lo) {
			calm = -1
		}
		if calm++; calm < int(base/20)*factor {
			share = min(1, share+1/float64(fade*factor))
		} else {
			share = max(0, share-1/float64(fade*factor))
		}
		ahead[i] = share
	}
	through := func(i int) float64 { return ahead[min(i+fade*factor, len(high)-1)] }
	whole := max(1, 2/factor) + fade
	e := make([]float64, len(high))
	for i := range e {
		j := i - whole*factor + 2
		e[i] = (-mean(at(j-4), at(j-3)) + 7*mean(at(j-3), at(j-2)) + 7*mean(at(j-2), at(j-1)) - mean(at(j-1), at(j))) / 12
		if k := j - 2; k >= -2 {
			e[i] -= through(k) * (-(at(k-2)+at(k-1))/2 + 7*(at(k-1)+at(k))/2 + 7*(at(k)+at(k+1))/2 - (at(k+1)+at(k+2))/2) / 12
		}
	}
	y := make([]float64, len(x))
	d.Process(y, e)
	late := (u.Latency()+d.Latency())/factor + whole
	for i := range y {
		y[i] = -y[i]
		if i >= late {
			y[i] += (1 - through((i-late)*factor+u.Latency())) * x[i-late]
		}
	}
	return y
}

func TestClipAgainstSlowTwin(t *testing.T) {
	for _, f := range []int{1, 2, 8, 64} {
		x := bursts(16000)
		for i := range 400 { // what the way up stops
			x[14400+i] = 2.5 * float64(1-2*(i%2))
		}
		got := make([]float64, len(x))
		NewClip(-1, 0.8, 48000, f).Process(got, x)
		want := slowClip(x, -1, 0.8, 48000, f)
		for i, v := range got {
			if math.Abs(v-want[i]) > 1e-9 { // the twin divides small differences
				t.Fatalf("factor %d: sample %d is %v, want %v", f, i, v, want[i])
			}
		}
	}
}

func TestClipCallLength(t *testing.T) {
	for _, f := range []int{1, 8, 32} {
		c := NewClip(-1, 0.8, 48000, f)
		x := bursts(16000)
		want := make([]float64, len(x))
		c.Process(want, x)
		for _, lengths := range cuts {
			c.Reset()
			got := append([]float64{}, x...)
			inCalls(len(x), lengths, func(i, j int) { c.Process(got[i:j], got[i:j]) }) // in place
			same(t, fmt.Sprintf("factor %d, calls %v", f, lengths), got, want)
		}
		if n := testing.AllocsPerRun(5, func() { c.Process(want, x) }); n != 0 {
			t.Errorf("%v allocations per call, want 0", n)
		}
	}
}

// A limiter behind an amplifier behind a limiter, and so on, keeps its limits: what lies above the
// pass band does not grow from one to the next. Cutting off harmonics makes a square wave ring by 9
// % (Gibbs), and where edges come at random their ringing adds up: at worst to the sum of the
// magnitudes of the filter's taps, over 2.
func TestClipBehindClip(t *testing.T) {
	for name, x := range map[string][]float64{"noise": noise(24000, 3), "bursts": bursts(24000), "a sine": sine(24000, 0.0613), "a high sine": sine(24000, 1.71)} {
		largest := 0.0
		for stage := range 4 {
			for i := range x {
				x[i] *= 30
			}
			NewClip(-1, 1, 48000, 8).Process(x, x)
			largest = 0
			for i, v := range x {
				if largest = max(largest, math.Abs(v)); !(math.Abs(v) < 2) {
					t.Fatalf("%s: limiter %d gives %v at sample %d", name, stage+1, v, i)
				}
			}
		}
		if largest < 0.99 {
			t.Errorf("%s: at most %v, nothing is limited", name, largest)
		}
		t.Logf("%s: at most %.3f", name, largest)
	}
}

// What lies above the pass band is stopped where it is past the limits, although the way up leaves
// no excess of it: in alternating samples, which are half the base rate, at any voltage. The bound
// is the ringing of edges at its worst, 2.4 times the limits.
func TestClipStopsHalfTheRate(t *testing.T) {
	for _, base := range []dsp.Hertz{44100, 48000, 96000} {
		for _, volts := range []float64{1.5, 2.1, 3, 10, 100, 1e6} {
			x := make([]float64, 24000)
			for i := 4000; i < 16000; i++ {
				x[i] = volts * float64(1-2*(i%2))
			}
			NewClip(-1, 1, base, 8).Process(x, x)
			largest := 0.0
			for _, v := range x {
				largest = max(largest, math.Abs(v))
			}
			t.Logf("%v Hz, ±%v V: at most %.3f V", base, volts, largest)
			if largest > 2.4 {
				t.Errorf("%v Hz, ±%v V between limits of 1 V: %.3f V", base, volts, largest)
			}
		}
	}
}

func sine(n int, w float64) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = math.Sin(w * float64(k))
	}
	return x
}

// Below the limits the output is the delayed input, bit for bit, whether near them or far.
func TestClipPasses(t *testing.T) {
	c := NewClip(-4.5, 4.5, 48000, 8)
	x := make([]float64, 8000)
	for i := range x {
		x[i] = 4.4 * math.Sin(0.05*float64(i)) * math.Exp(-float64(i)/1500)
	}
	y := make([]float64, len(x))
	c.Process(y, x)
	same(t, "below the limits", y[c.Latency():], x[:len(x)-c.Latency()])
}

// A sine 20 dB over the limits, 48 kHz, 2^16 points, odd bin, 20 Hz to 20 kHz. Harmonics against
// the closed form, everything that is no harmonic against the aliasing bounds that the project sets
// itself.
func TestClipSine(t *testing.T) {
	const n = 1 << 16
	for _, c := range []struct {
		factor, bin int // bin of 48000/2^16 Hz
		alias       float64
	}{
		{8, 1699, 70}, {8, 5715, 50}, // 1244.4 Hz, 4185.8 Hz
		{32, 1699, 90}, {32, 5715, 70},
	} {
		clip := NewClip(-1, 1, 48000, c.factor)
		w := 2 * math.Pi * float64(c.bin) / n
		x := make([]float64, n+2048)
		for i := range x {
			x[i] = 10 * math.Sin(w*float64(i-2048))
		}
		clip.Process(x, x)
		spec := fourier.NewFFT(n).Coefficients(nil, x[2048:])
		var signal, alias float64
		for k := 28; k <= 27306; k++ { // 20 Hz to 20 kHz
			p := real(spec[k])*real(spec[k]) + imag(spec[k])*imag(spec[k])
			if k%c.bin == 0 {
				signal += p
			} else {
				alias += p
			}
		}
		ratio := 10 * math.Log10(signal/alias)
		t.Logf("factor %d, %.1f Hz: signal to alias %.1f dB", c.factor, float64(c.bin)*48000/n, ratio)
		if ratio < c.alias {
			t.Errorf("factor %d, bin %d: signal to alias %.1f dB, want %v", c.factor, c.bin, ratio, c.alias)
		}
		for h := 1; h*c.bin <= 27306; h += 2 {
			want := clippedSine(10, h)
			// bring the delay back; a sine of amplitude b has the coefficient -i·b·n/2
			got := spec[h*c.bin] * cmplx.Rect(2.0/n, float64(h)*w*float64(clip.Latency())) * 1i
			// What folds back onto a harmonic cannot be told from it: the bound is that of
			// aliasing.
			if d := cmplx.Abs(got - complex(want, 0)); d > 1.3*math.Pow(10, -c.alias/20) {
				t.Errorf("factor %d, bin %d: harmonic %d is %.6f, want %.6f", c.factor, c.bin, h, got, want)
			}
		}
	}
}

// clippedSine is the amplitude of the odd harmonic h of a·sin clipped to ±1, by Fourier's integral.
func clippedSine(a float64, h int) float64 {
	th, n := math.Asin(1/a), float64(h)
	if h == 1 {
		return 4 / math.Pi * (a*(th/2-math.Sin(2*th)/4) + math.Cos(th))
	}
	return 4 / math.Pi * (a*(math.Sin((n-1)*th)/(2*(n-1))-math.Sin((n+1)*th)/(2*(n+1))) + math.Cos(n*th)/n)
}

func TestClipMisuse(t *testing.T) {
	for _, l := range [][2]float64{{1, 2}, {-2, -1}, {0, 0}, {math.NaN(), 1}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("limits %v: no panic", l)
				}
			}()
			NewClip(l[0], l[1], 48000, 2)
		}()
	}
}

func BenchmarkClip(b *testing.B) {
	for _, c := range []struct {
		name string
		size float64
	}{{"silent", 0}, {"quiet", 0.1}, {"near", 0.5}, {"over", 10}} {
		b.Run(c.name, func(b *testing.B) {
			clip := NewClip(-1, 1, 48000, 8)
			x, y := make([]float64, 4096), make([]float64, 4096)
			for i := range x {
				x[i] = c.size * math.Sin(0.1*float64(i))
			}
			for b.Loop() {
				clip.Process(y, x)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(x)), "ns/base-sample")
		})
	}
}
