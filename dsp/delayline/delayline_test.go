package delayline

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

func noise(n int) []float64 {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.Float64() - 0.5
	}
	return x
}

// Whole delays against the plain form, an index into all that was ever written.
func TestWhole(t *testing.T) {
	x := noise(3000)
	old := func(i int) float64 {
		if i < 0 {
			return 0
		}
		return x[i]
	}
	for _, most := range []int{0, 1, 39, 40, 100, 1000} {
		for _, size := range []int{1, 7, 64, 479} {
			l := New(most)
			for i := 0; i < len(x); i += size {
				j := min(i+size, len(x))
				if size == 1 {
					l.Write(x[i])
				} else {
					l.WriteBlock(x[i:j])
				}
				for _, d := range []int{0, 1, most / 2, most} {
					if d > most {
						continue
					}
					if got, want := l.Tap(d), old(j-1-d); got != want {
						t.Fatalf("most %d, calls of %d: tap %d at %d is %v, want %v", most, size, d, j, got, want)
					}
					if d >= Nearest {
						if got, want := l.Read(float64(d)), old(j-1-d); got != want {
							t.Fatalf("most %d, calls of %d: read %d at %d is %v, want %v", most, size, d, j, got, want)
						}
					}
					dst := make([]float64, most-d+1)
					l.ReadBlock(dst, d)
					for k, got := range dst {
						if want := old(j - 1 - d - (len(dst) - 1 - k)); got != want {
							t.Fatalf("most %d, calls of %d: block of %d at %d: sample %d is %v, want %v", most, size, d, j, k, got, want)
						}
					}
				}
			}
			l.Reset()
			if l.Tap(most) != 0 || l.Tap(0) != 0 {
				t.Fatalf("not silent after Reset")
			}
		}
	}
}

// The stated error of the fractional read: its response, from its weights as an impulse sees them,
// against that of an ideal delay.
func TestFraction(t *testing.T) {
	const edge, want = 0.38, -85.0 // of the sample rate, dB
	worst := math.Inf(-1)
	r := rand.New(rand.NewPCG(3, 4))
	for trial := 0; trial < 300; trial++ {
		d := 20 + r.Float64()
		if trial < 100 {
			d = 20 + (float64(trial)+0.5)/phases // half way between the rows of the table
		}
		l := New(200)
		h := make([]float64, 64)
		for i := range h {
			x := 0.0
			if i == 0 {
				x = 1
			}
			l.Write(x)
			h[i] = l.Read(d)
		}
		for f := 0.0; f <= edge; f += edge / 100 {
			var sum complex128
			for i, v := range h {
				sum += complex(v, 0) * cmplx.Rect(1, -2*math.Pi*f*float64(i))
			}
			worst = max(worst, 20*math.Log10(cmplx.Abs(sum-cmplx.Rect(1, -2*math.Pi*f*d))))
		}
	}
	t.Logf("worst error %.1f dB up to %v of the rate", worst, edge)
	if worst > want {
		t.Errorf("worst error %.1f dB, want %v", worst, want)
	}
}

// A line whose delay glides over the whole ring reads a slow sine as the sine.
func TestGlide(t *testing.T) {
	l := New(255) // a ring of 256 would be too short for the interpolator
	const w = 0.3 // radians per sample
	for i := 0; i < 4000; i++ {
		l.Write(math.Sin(w * float64(i)))
		d := 133 + 121.9*math.Sin(float64(i)/97)
		if i < 400 {
			continue
		}
		if got, want := l.Read(d), math.Sin(w*(float64(i)-d)); math.Abs(got-want) > 1e-4 { // -80 dB
			t.Fatalf("at %d with delay %v: %v, want %v", i, d, got, want)
		}
	}
}

func TestMisuse(t *testing.T) {
	l := New(100)
	for name, f := range map[string]func(){
		"negative line":  func() { New(-1) },
		"tap too old":    func() { l.Tap(101) },
		"tap to come":    func() { l.Tap(-1) },
		"block too old":  func() { l.ReadBlock(make([]float64, 2), 100) },
		"block to come":  func() { l.ReadBlock(make([]float64, 2), -1) },
		"read too near":  func() { l.Read(Nearest - 0.1) },
		"read too old":   func() { l.Read(100.1) },
		"read no number": func() { l.Read(math.NaN()) },
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

func BenchmarkRead(b *testing.B) {
	l := New(48000)
	l.WriteBlock(noise(48000))
	d, sum := 1000.3, 0.0
	for b.Loop() {
		l.Write(sum)
		sum = l.Read(d)
		d += 1e-7
	}
}

func BenchmarkBlock(b *testing.B) {
	l, x := New(48000), noise(512)
	for b.Loop() {
		l.WriteBlock(x)
		l.ReadBlock(x, 40000)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/512, "ns/sample")
}
