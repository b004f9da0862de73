package gemv

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"unsafe"
)

func drawn(r *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = r.NormFloat64()
	}
	return x
}

// The fast filters give the plain ones' bits and the sums of their definition, for every number of
// outputs, and touch nothing beyond y.
func TestSlide(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for _, count := range []int{1, 2, 3, 4, 5, 31, 64} {
		for n := 0; n < 80; n++ {
			x, taps, bias := drawn(r, n+count-1), drawn(r, count), r.NormFloat64()
			got, want := drawn(r, n+1), make([]float64, n)
			beyond := got[n]
			z := NewStretch[float64](len(x) + 1)
			Write(z, 1, x, true)
			Slide(got[:n], z, 1, taps, bias)
			slide(want, x, taps, bias)
			for j := range want {
				sum := bias
				for k := range taps {
					sum += taps[k] * x[j+k]
				}
				if math.Float64bits(got[j]) != math.Float64bits(want[j]) || math.Abs(got[j]-sum) > 1e-12 {
					t.Errorf("%d taps, output %d of %d: %v, plain %v, want %v", count, j, n, got[j], want[j], sum)
				}
			}
			if got[n] != beyond {
				t.Errorf("%d taps, %d outputs: written beyond the end", count, n)
			}
		}
	}
}

func TestSlideNear(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for _, count := range []int{0, 1, 7, 8, 9, 31, 64} {
		for n := 0; n < 150; n++ {
			x, all, bias, gain := drawn(r, n), drawn(r, max(0, n+count-1)), r.NormFloat64(), r.NormFloat64()
			z, taps := NewStretch[float32](len(all)+2), make([]float32, count)
			Narrow(z, 2, all)
			for k := range taps {
				taps[k] = float32(0.01 * r.NormFloat64())
			}
			got, want := drawn(r, n+1), make([]float64, n)
			beyond := got[n]
			SlideNear(got[:n], x, gain, bias, z, 2, taps)
			slideNear(want, x, gain, bias, z.a[2:], taps)
			for j := range want {
				sum := bias + gain*x[j]
				for k := range taps {
					sum += float64(taps[k]) * float64(z.b[2+j+k])
				}
				if math.Float64bits(got[j]) != math.Float64bits(want[j]) || math.Abs(got[j]-sum) > 1e-6 {
					t.Errorf("%d taps, output %d of %d: %v, plain %v, want %v", count, j, n, got[j], want[j], sum)
				}
			}
			if got[n] != beyond {
				t.Errorf("%d taps, %d outputs: written beyond the end", count, n)
			}
		}
	}
}

func TestNarrow(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	odd := []float64{0, 1e-24, -1e-24, 0.9e-25, -0.9e-25, 1e-40, 1e300, math.Inf(-1), math.NaN()}
	for n := 0; n < 40; n++ {
		x := drawn(r, n)
		for k := range x {
			if r.IntN(3) == 0 {
				x[k] = odd[r.IntN(len(odd))]
			}
		}
		z := NewStretch[float32](n + 6)
		for k := range z.a {
			z.a[k], z.b[k] = 5, 5
		}
		Narrow(z, 3, x)
		for k, v := range x {
			want := float32(v)
			if math.Abs(v) < 1e-25 {
				want = 0
			}
			for _, got := range []float32{z.a[3+k], z.b[3+k]} {
				if math.Float32bits(got) != math.Float32bits(want) && !(math.IsNaN(v) && got != got) {
					t.Errorf("%v in single precision is %v, want %v", v, got, want)
				}
			}
		}
		for _, k := range []int{0, 1, 2, n + 3, n + 4, n + 5} {
			if z.a[k] != 5 || z.b[k] != 5 {
				t.Errorf("%d samples: written beside", n)
			}
		}
		if a, b := uintptr(unsafe.Pointer(&z.a[0])), uintptr(unsafe.Pointer(&z.b[0])); a%64 != 0 || b%64 != 32 {
			t.Errorf("the two lie at %d and %d of a line", a%64, b%64)
		}
	}
}

func TestWithin(t *testing.T) {
	for n := 0; n < 70; n++ {
		x := make([]float64, n)
		for k := range x {
			x[k] = 2 * float64(1-k%3)
		}
		if !Within(x, 2) {
			t.Errorf("%d samples of 2 V at most are not within 2 V", n)
		}
		for k := range x {
			for _, v := range []float64{2.0000000001, -3, math.Inf(1), math.Inf(-1), math.NaN()} {
				old := x[k]
				if x[k] = v; Within(x, 2) {
					t.Errorf("%d samples, of which %d is %v, are within 2 V", n, k, v)
				}
				x[k] = old
			}
		}
		if x := append(x, math.Inf(1)); Within(x, math.MaxFloat64) {
			t.Error("infinity is finite")
		}
		if !Within(x, math.MaxFloat64) {
			t.Error("2 V is not finite")
		}
	}
}

// A mode is its pole's powers, by the definition; the fast form gives the plain one's bits; and
// calls may end anywhere.
func TestMode(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	for _, pole := range []complex128{cmplx.Rect(0.99, 0.3), cmplx.Rect(0.5, -2), 0.999, -0.4} {
		const n = 300
		u := append(make([]float64, 3), drawn(r, n)...)
		y := drawn(r, n)
		m, plain := NewMode(pole, 0.7, -0.2), NewMode(pole, 0.7, -0.2)
		want := append([]float64(nil), y...)
		plain.add(want, u)
		var w complex128
		for j := range y {
			w = pole*w + complex(u[j+3], 0)
			sum := y[j] + 0.7*real(w) - 0.2*imag(w)
			if math.Abs(want[j]-sum) > 1e-12*(1+cmplx.Abs(w)) {
				t.Fatalf("pole %v: sample %d is %v, want %v", pole, j, want[j], sum)
			}
		}
		for _, size := range []int{n, 1, 3, 4, 7, 64} {
			m.Reset()
			got := append(append([]float64(nil), y...), 5)
			for at := 0; at < n; at += size {
				end := min(n, at+size)
				m.Add(got[at:end], u[at:end+3])
			}
			for j := range want {
				if math.Float64bits(got[j]) != math.Float64bits(want[j]) {
					t.Fatalf("pole %v, calls of %d: sample %d is %v, plain %v", pole, size, j, got[j], want[j])
				}
			}
			if got[n] != 5 {
				t.Error("written beyond the end")
			}
		}
		if m.Flush(1e6); m.state != [2][4]float64{} {
			t.Errorf("pole %v: %v is left under a megavolt", pole, m.state)
		}
	}
}

// Modes together are the same as one after the other, to the bit.
func TestAddModes(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	poles := []complex128{cmplx.Rect(0.99, 0.3), cmplx.Rect(0.5, -2), 0.999, -0.4, 0.7}
	for _, size := range []int{200, 1, 3, 4, 7, 64} {
		var one, all []Mode
		for k, p := range poles {
			one = append(one, NewMode(p, 0.7, -0.2*float64(k)))
		}
		all = append(all, one...)
		u, want := append(make([]float64, 3), drawn(r, 200)...), drawn(r, 200)
		got := append([]float64(nil), want...)
		for k := range one {
			one[k].add(want, u)
		}
		for at := 0; at < len(got); at += size {
			end := min(len(got), at+size)
			AddModes(all, got[at:end], u[at:end+3])
		}
		for j := range want {
			if math.Float64bits(got[j]) != math.Float64bits(want[j]) {
				t.Fatalf("calls of %d: sample %d is %v, one by one %v", size, j, got[j], want[j])
			}
		}
	}
}

func perSample(b *testing.B, n int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/sample")
}

func BenchmarkSlide32(b *testing.B) {
	x, y, taps := NewStretch[float64](600), make([]float64, 512), make([]float64, 32)
	for b.Loop() {
		Slide(y, x, 0, taps, 0)
	}
	perSample(b, len(y))
}

func BenchmarkSlideNear32(b *testing.B) {
	x, y, z, taps := make([]float64, 600), make([]float64, 512), NewStretch[float32](600), make([]float32, 32)
	for b.Loop() {
		SlideNear(y, x, 1, 0, z, 0, taps)
	}
	perSample(b, len(y))
}

func BenchmarkNarrow(b *testing.B) {
	x, z := make([]float64, 512), NewStretch[float32](512)
	for b.Loop() {
		Narrow(z, 0, x)
	}
	perSample(b, len(x))
}

func BenchmarkWithin(b *testing.B) {
	x := make([]float64, 512)
	for b.Loop() {
		Within(x, 1)
	}
	perSample(b, len(x))
}

func BenchmarkModePair(b *testing.B) {
	m, y, u := NewMode(cmplx.Rect(0.9, 1), 1, 1), make([]float64, 512), make([]float64, 515)
	for b.Loop() {
		m.Add(y, u)
	}
	perSample(b, len(y))
}

func BenchmarkModePairAndReal(b *testing.B) {
	m, y, u := []Mode{NewMode(cmplx.Rect(0.9, 1), 1, 1), NewMode(0.9, 1, 1)}, make([]float64, 512), make([]float64, 515)
	for b.Loop() {
		AddModes(m, y, u)
	}
	perSample(b, len(y))
}

func BenchmarkModeReal(b *testing.B) {
	m, y, u := NewMode(0.9, 1, 1), make([]float64, 512), make([]float64, 515)
	for b.Loop() {
		m.Add(y, u)
	}
	perSample(b, len(y))
}

func BenchmarkCopy(b *testing.B) {
	x, y := make([]float64, 600), make([]float64, 512)
	for b.Loop() {
		copy(y, x[3:])
	}
	perSample(b, len(y))
}
