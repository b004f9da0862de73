package dynamics

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
)

const (
	tolCurve = 0.001 // dB
	tolTime  = 0.01  // of the time asked for
)

var usual = Curve{Threshold: -20, Ratio: 4, Knee: 6}

// The published curve (J. Audio Eng. Soc. 60(6), 2012, eq. 4) at T -20, R 4, W 6, worked out by
// hand: in the knee x + (1/R - 1)(x - T + W/2)²/(2W), above it T + (x - T)/R.
func TestCurve(t *testing.T) {
	for _, c := range []struct{ in, want float64 }{
		{-40, -40}, {-26, -26}, {-23, -23}, {-20, -20.5625}, {-17, -19.25}, {-10, -17.5}, {0, -15},
	} {
		if got := usual.At(c.in); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("curve at %v dBV: %v, want %v", c.in, got, c.want)
		}
		comp := New(usual, 0.001, 0.01, 3, 48000)
		x := make([]float64, 4800)
		for i := range x {
			x[i] = dsp.FromDB(c.in) * float64(1-i/10%2*2) // a square wave: all of it is at its peak
		}
		comp.Process(x, x)
		if got := dsp.ToDB(x[len(x)-1]) - 3; math.Abs(got-c.want) > tolCurve {
			t.Errorf("settled at %v dBV: %v, want %v", c.in, got, c.want)
		}
		if got := comp.Reduction(); math.Abs(got-(c.in-c.want)) > tolCurve {
			t.Errorf("reduction at %v dBV: %v, want %v", c.in, got, c.in-c.want)
		}
	}
}

// The path through the fast logarithm and power against the curve, everywhere and for other curves.
func TestCurveEverywhere(t *testing.T) {
	for _, curve := range []Curve{usual, {-30, 1.5, 0}, {-10, math.Inf(1), 12}, {0, 1, 6}, {-50, 20, 40}} {
		for level := -90.0; level <= 40; level += 0.37 {
			comp := New(curve, 1e-4, 1e-4, 0, 48000)
			x := make([]float64, 400)
			for i := range x {
				x[i] = dsp.FromDB(level)
			}
			comp.Process(x, x)
			if got, want := dsp.ToDB(x[399]), curve.At(level); math.Abs(got-want) > tolCurve {
				t.Fatalf("%+v at %v dBV: %v, want %v", curve, level, got, want)
			}
		}
	}
}

func TestLogAndPower(t *testing.T) {
	for x := 1e-300; x < 1e300; x *= 1.00731 {
		if d := math.Abs(log2(x) - math.Log2(x)); d > 2e-9 {
			t.Fatalf("log2(%v) is off by %v", x, d)
		}
	}
	for x := -999.0; x < 999; x += 0.00731 {
		if d := math.Abs(exp2(x)/math.Exp2(x) - 1); d > 1e-8 {
			t.Fatalf("exp2(%v) is off by %v of it", x, d)
		}
	}
}

// Attack and release, from the step response: 1 - 1/e of the way in the time asked for.
func TestTimes(t *testing.T) {
	const rate, n = 48000, 480000
	for _, c := range []struct{ attack, release float64 }{
		{0.0005, 0.05}, {0.01, 0.1}, {0.03, 0.5}, {0.1, 1}, {0.02, 0.025}, {0.05, 0.01},
	} {
		comp := New(Curve{-40, 4, 0}, dsp.Second(c.attack), dsp.Second(c.release), 0, rate)
		reach := func(level, from, to float64) float64 {
			x := []float64{dsp.FromDB(level)}
			for i := 1; i < n; i++ {
				y := []float64{0}
				comp.Process(y, x)
				now := dsp.ToDB(x[0]) - dsp.ToDB(y[0])
				if math.Abs(now-from) >= (1-math.Exp(-1))*math.Abs(to-from) {
					return float64(i) / rate
				}
			}
			return math.Inf(1)
		}
		settle := func(level float64) {
			x := make([]float64, n)
			for i := range x {
				x[i] = dsp.FromDB(level)
			}
			comp.Process(x, x)
		}
		// 30 dB over asks for 22.5 dB of reduction, 10 dB over for 7.5 dB.
		settle(-30)
		if got := reach(-10, 7.5, 22.5); math.Abs(got-c.attack) > tolTime*c.attack+1.0/rate {
			t.Errorf("attack %v s: measured %v s", c.attack, got)
		}
		settle(-10)
		want := max(c.attack, c.release)
		if got := reach(-30, 22.5, 7.5); math.Abs(got-want) > tolTime*want+1.0/rate {
			t.Errorf("attack %v s, release %v s: measured %v s", c.attack, c.release, got)
		}
	}
}

// thd is the distortion of the last tenth of a second of a 100 Hz tone, harmonics 2 to 100 against
// the first.
func thd(y []float64, rate int) float64 {
	y = y[len(y)-rate/10:]
	var first, rest float64
	for h := 1; h <= 100; h++ {
		var sum complex128
		for i, v := range y {
			sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*float64(h*100*i%rate)/float64(rate))
		}
		if a := cmplx.Abs(sum); h == 1 {
			first = a
		} else {
			rest += a * a
		}
	}
	return math.Sqrt(rest) / first
}

// corner is the plain detector that the smooth one is measured against: it rises with the attack,
// falls with the release, and switches between the two.
func corner(x []float64, c Curve, attack, release, rate float64) []float64 {
	a, r := math.Exp(-1/(attack*rate)), math.Exp(-1/(release*rate))
	y, now := make([]float64, len(x)), 0.0
	for i, v := range x {
		want := 0.0
		if v != 0 {
			want = c.reduction(dsp.ToDB(v))
		}
		if want > now {
			now = a*now + (1-a)*want
		} else {
			now *= r
		}
		y[i] = v * dsp.FromDB(-now)
	}
	return y
}

// Distortion of a 100 Hz tone 20 dB over the threshold: less for every longer release, and less
// than a detector with a corner makes.
func TestDistortion(t *testing.T) {
	const rate = 48000
	x := make([]float64, 4*rate)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 100 * float64(i) / rate)
	}
	t.Log("attack ms  release ms   THD %   with a corner %")
	for _, attack := range []float64{0.001, 0.01, 0.03} {
		last := math.Inf(1)
		for _, release := range []float64{0.05, 0.1, 0.3, 1} {
			y := make([]float64, len(x))
			New(usual, dsp.Second(attack), dsp.Second(release), 0, rate).Process(y, x)
			got, plain := thd(y, rate), thd(corner(x, usual, attack, release, rate), rate)
			t.Logf("%9.0f  %10.0f  %6.4f  %6.4f", attack*1e3, release*1e3, got*100, plain*100)
			if got >= last {
				t.Errorf("attack %v s: %v with release %v s, not less than %v", attack, got, release, last)
			}
			if got >= plain {
				t.Errorf("attack %v s, release %v s: %v, a detector with a corner %v", attack, release, got, plain)
			}
			last = got
		}
	}
}

func TestKeeps(t *testing.T) {
	x := make([]float64, 6000)
	for i := range x {
		x[i] = math.Sin(0.05*float64(i)) * math.Exp(-math.Abs(float64(i-2000))/500)
	}
	c := New(usual, 0.005, 0.05, 6, 44100)
	want := make([]float64, len(x))
	c.Process(want, x)
	for _, size := range []int{1, 7, 64, 479} {
		c.Reset()
		got := append([]float64{}, x...)
		for i := 0; i < len(x); i += size {
			j := min(i+size, len(x))
			c.Process(got[i:j], got[i:j])
			c.Process(nil, nil)
		}
		for i := range got {
			if math.Float64bits(got[i]) != math.Float64bits(want[i]) {
				t.Fatalf("calls of %d: sample %d is %v, want %v", size, i, got[i], want[i])
			}
		}
	}
	if n := testing.AllocsPerRun(5, func() { c.Process(want, x) }); n != 0 {
		t.Errorf("%v allocations per call, want 0", n)
	}
	silence := make([]float64, 48000*3)
	c.Process(silence, silence)
	for i, v := range silence {
		if v != 0 {
			t.Fatalf("silence gives %v at %d", v, i)
		}
	}
	if c.hold != 0 || c.now != 0 {
		t.Errorf("after 3 s of silence the detector is at %g and %g dB, want rest", c.hold, c.now)
	}
}

func TestMisuse(t *testing.T) {
	nan := math.NaN()
	for i, f := range []func(){
		func() { New(Curve{-20, 0.5, 6}, 1, 1, 0, 48000) },
		func() { New(Curve{-20, 2, -1}, 1, 1, 0, 48000) },
		func() { New(Curve{nan, 2, 1}, 1, 1, 0, 48000) },
		func() { New(usual, 0, 1, 0, 48000) },
		func() { New(usual, 1, dsp.Second(nan), 0, 48000) },
		func() { New(usual, 1, 1, nan, 48000) },
		func() { New(usual, 1, 1, 0, 0) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("case %d: no panic", i)
				}
			}()
			f()
		}()
	}
}

func BenchmarkCompressor(b *testing.B) {
	for _, level := range []float64{-60, 0} {
		b.Run(fmt.Sprintf("%g dBV", level), func(b *testing.B) {
			c := New(usual, 0.005, 0.1, 0, 48000)
			x, y := make([]float64, 1024), make([]float64, 1024)
			for i := range x {
				x[i] = dsp.FromDB(level) * math.Sin(0.05*float64(i))
			}
			for b.Loop() {
				c.Process(y, x)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1024, "ns/sample")
		})
	}
}
