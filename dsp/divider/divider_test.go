package divider

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp/measure"
)

const rate = 48000

// octaves are those of a signal, given as a function of time, over so many samples.
func octaves(x func(at float64) float64, n int) (one, two []float64, d *Divider) {
	one, two = make([]float64, n), make([]float64, n)
	for k := range one {
		one[k] = x(float64(k) / rate)
	}
	d = New(rate)
	d.Process(one, two, one)
	return one, two, d
}

func sine(a, f float64) func(float64) float64 {
	return func(at float64) float64 { return a * math.Sin(2*math.Pi*f*at) }
}

// partial is the peak value of the sine at a bin of x.
func partial(x []float64, bin int) float64 {
	var sum complex128
	for k, v := range x {
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*float64(bin*k%len(x))/float64(len(x))))
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// A sine turned upside down once in a cycle, at phase p, has at half its frequency (2/π)·|1 +
// exp(-2ip)/3| of its height, and nothing at its own frequency: the Fourier integral over two
// cycles. p is where the sine gets to the comparator's share of its last peak, less what the
// detector has forgotten. The second octave is a square wave as high as the detected peak, on
// average over a cycle, 4/π of which is its fundamental.
func TestOneNote(t *testing.T) {
	const n, bin = 1 << 16, 37 // of half the note: 27.1 Hz
	for _, m := range []int{3, 5, 7, 9} {
		half := bin * m
		f := 2 * float64(half) * rate / n
		gain := 1 / math.Sqrt(1+math.Pow(math.Tan(math.Pi*f/rate)/math.Tan(math.Pi*200/rate), 4)) // Butterworth, second order, bilinear
		const a = 0.3
		one, _, d := octaves(sine(a, f), 2*n)
		p := 0.0
		for range 20 {
			p = math.Asin(0.5 * math.Exp(-(p+1.5*math.Pi)/(2*math.Pi*f)/60e-3))
		}
		want := a * gain * 2 / math.Pi * cmplx.Abs(1+cmplx.Exp(complex(0, -2*p))/3)
		if got := partial(one[n:], half); math.Abs(got/want-1) > 0.002 {
			t.Errorf("%.1f Hz: the octave is %.5f V, want %.5f V", f, got, want)
		}
		if got := partial(one[n:], 2*half); got > want*1e-4 {
			t.Errorf("%.1f Hz: %.6f V of the note itself in the octave of %.5f V", f, got, want)
		}
		// A peak decays from each cycle to the next: its mean over a cycle is (1 - exp(-r))/r, r =
		// 1/(f·60 ms), to first order.
		r := 1 / (f * 60e-3)
		want = 4 / math.Pi * (a*gain*(1-math.Exp(-r))/r - Threshold)
		_, two, _ := octaves(sine(a, f), 4*n) // a quarter of f is a bin of twice n
		if got := partial(two[2*n:], half); math.Abs(got/want-1) > 0.02 {
			t.Errorf("%.1f Hz: the second octave is %.5f V, want %.5f V", f, got, want)
		}
		if got, want := float64(d.Flips()), 2*n/float64(rate)*f; math.Abs(got-want) > 1.5 {
			t.Errorf("%.1f Hz: %v flips, want %.0f", f, got, want)
		}
	}
}

// The switches do not alias: of a steady note, what lies on no multiple of half its frequency is
// this far down. Jumps at the next sample leave 29 to 36 dB at these frequencies, and steps without
// a change of slope 65 to 82 dB (measured).
func TestAlias(t *testing.T) {
	const n = 1 << 16
	for _, bin := range []int{75, 151, 301} {
		one, _, _ := octaves(sine(0.3, 2*float64(bin)*rate/n), 2*n)
		a, err := measure.SignalToAlias(one[n:], rate, bin)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%.0f Hz: signal to alias %.1f dB", 2*float64(bin)*rate/n, a)
		if a < 70 {
			t.Errorf("%.0f Hz: signal to alias %.1f dB, want 70 dB", 2*float64(bin)*rate/n, a)
		}
	}
}

// plucked is a plucked string's note: partials that die the sooner the higher they are, a little
// sharp, as from a fifth of its length (from memory: the amplitudes sin(nπ/5)/n² of an ideal
// string, and the stiffness of a wound one).
func plucked(f float64) func(at float64) float64 {
	return func(at float64) float64 {
		var s float64
		for n := 1.0; n <= 8; n++ {
			s += 0.3 * math.Sin(n*math.Pi/5) / (n * n) * math.Exp(-at*(0.8+0.3*n)) * math.Sin(2*math.Pi*f*n*math.Sqrt(1+4e-5*n*n)*at+n)
		}
		return s
	}
}

// wrong is the share of flips, from 0.1 s on, that come more than a tenth of a cycle too soon or
// too late after the last.
func wrong(x func(float64) float64, f float64) float64 {
	d := New(rate)
	var bad, all, last int
	var o, w [1]float64
	for k := range rate * 3 / 2 {
		before := d.Flips()
		d.Process(o[:], w[:], []float64{x(float64(k) / rate)})
		if d.Flips() == before || k < rate/10 {
			continue
		}
		if last > 0 {
			all++
			if math.Abs(float64(k-last)*f/rate-1) > 0.1 {
				bad++
			}
		}
		last = k
	}
	if all == 0 {
		return 1
	}
	return float64(bad) / float64(all)
}

// One clean note tracks; two at once do not, as players know (common practice, no source).
// Distortion alone does not make this note stumble, whose fundamental is four times its second
// harmonic: its square wave has a stronger fundamental than anything else, and the filter keeps
// that. (A stiff low string with strong harmonics does stumble behind a real fuzz:
// TestOctaveTracking in cmd/internal/cli.) It makes two notes worse, for their difference tone
// rises, and it does make a note stumble when its second harmonic comes out four times as high as
// its fundamental, as after a rectifier.
func TestTracking(t *testing.T) {
	fuzz := func(x func(float64) float64) func(float64) float64 {
		return func(at float64) float64 { return 0.5 * (math.Tanh(100*x(at)+0.3) - math.Tanh(0.3)) }
	}
	for _, f := range []float64{82.4, 146.8, 330} {
		fifth := func(at float64) float64 { return plucked(f)(at) + plucked(f*1.4983)(at) }
		rectified := func(at float64) float64 {
			return sine(0.1, f)(at) + sine(0.4*(1+math.Pow(f/100, 2)), 2*f)(at) // stronger by what the filter takes away
		}
		for _, c := range []struct {
			name   string
			x      func(float64) float64
			lo, hi float64
		}{
			{"clean note", plucked(f), 0, 0},
			{"fuzzed note", fuzz(plucked(f)), 0, 0},
			{"fifth", fifth, 0.3, 1},
			{"fuzzed fifth", fuzz(fifth), 0.7, 1},
			{"rectified note", rectified, 0.9, 1},
		} {
			got := wrong(c.x, f)
			t.Logf("%v Hz, %s: %.0f %% of the flips are wrong", f, c.name, 100*got)
			if got < c.lo || got > c.hi {
				t.Errorf("%v Hz, %s: %.3f of the flips are wrong, want %v to %v", f, c.name, got, c.lo, c.hi)
			}
		}
	}
}

// Noise under the threshold flips nothing, and silence gives silence.
func TestThreshold(t *testing.T) {
	_, _, d := octaves(sine(0.9e-3, 110), rate)
	if d.Flips() != 0 {
		t.Errorf("%d flips under half the threshold", d.Flips())
	}
	one, two, _ := octaves(func(float64) float64 { return 0 }, 1000)
	for k := range one {
		if one[k] != 0 || two[k] != 0 {
			t.Fatalf("%v and %v out of silence", one[k], two[k])
		}
	}
}
