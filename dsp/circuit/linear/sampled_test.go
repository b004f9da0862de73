package linear

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// linearCircuits is what the fit has to do: nothing, a resonance, filters that ring for a second,
// modes that are equal, capacitors straight across a source, and poles far above the rate; two of
// them with two sources.
func linearCircuits() map[string]*circuit.Netlist {
	all := map[string]*circuit.Netlist{}
	start := func(name string) *circuit.Netlist {
		n := circuit.New()
		n.Input("V", "in", "0")
		all[name] = n
		return n
	}
	n := start("divider")
	n.R("r1", "in", "out", 1e3)
	n.R("r2", "out", "0", 1e3)

	n = start("pickup")
	n.R("r", "in", "a", 8e3)
	n.L("l", "a", "out", 4.4)
	n.C("c", "out", "0", 630e-12)
	n.R("load", "out", "0", 200e3)

	n = start("slow and fast")
	n.C("across", "in", "0", 1e-9)
	n.C("c1", "in", "a", 10e-6)
	n.R("r1", "a", "0", 100e3) // 0.16 Hz
	n.R("r2", "a", "out", 100)
	n.C("c2", "out", "0", 100e-12) // 16 MHz
	n.R("r3", "out", "0", 1e6)

	n = start("twice the same")
	for k, from := 0, "in"; k < 3; k++ {
		to := fmt.Sprint("n", k)
		n.R("r"+to, from, to, 10e3)
		n.C("c"+to, to, "0", 10e-9)
		n.E("e"+to, to+"b", "0", to, "0", 1)
		from = to + "b"
	}
	n.R("last", "n2b", "out", 100)
	n.R("load", "out", "0", 1e6)

	n = start("two sources")
	n.Input("W", "other", "0")
	n.R("r1", "in", "a", 10e3)
	n.C("c1", "a", "out", 100e-9)
	n.R("r2", "other", "out", 47e3)
	n.C("c2", "out", "0", 1e-9)
	n.V("bias", "b", "0", 4.5)
	n.R("r3", "b", "out", 100e3)
	return all
}

// TestSampled: what the filter does to an impulse is the circuit's own response, by the AC
// solution, within a few millionths to 20 kHz (or 0.4535 of a lower rate); it is what Response
// says; the latency is exact.
func TestSampled(t *testing.T) {
	for name, n := range linearCircuits() {
		for _, rate := range []float64{44.1e3, 48e3, 96e3, 192e3} {
			top := math.Min(20e3, 0.4535*rate)
			f, err := NewSampled(n, dsp.Second(1/rate), dsp.Hertz(top), "out", "in")
			if err != nil {
				t.Fatal(name, err)
			}
			rest := []float64{0, 0}
			point, err := n.Operating()
			if err != nil {
				t.Fatal(name, err)
			}
			for p, node := range []string{"out", "in"} {
				rest[p] = f.reads[p].y0
				if want := point.V(node); rest[p] != want {
					t.Errorf("%s: %v V at rest, want %v", name, rest[p], want)
				}
			}
			// An impulse that has died after this long is what the response is the transform of.
			count := int(rate * 0.5)
			ac := mustAC(t, n)
			for i, source := range n.Inputs() {
				if name == "slow and fast" {
					break // rings for seconds: by Response below
				}
				in := make([][]float64, len(n.Inputs()))
				for k := range in {
					in[k] = make([]float64, count)
				}
				in[i][0] = 1
				out := [][]float64{make([]float64, count), make([]float64, count)}
				f.Reset()
				f.Process(out, in)
				for _, freq := range []float64{20, 100, 1e3, 2.9e3, 5e3, 10e3, 15e3, top} {
					want := ac.Transfer(source, dsp.Hertz(freq), "out", "in")
					said := f.Response(i, dsp.Hertz(freq))
					for p := range out {
						var got complex128
						for k, x := range out[p] {
							got += complex(x-rest[p], 0) * cmplx.Exp(complex(0, -2*math.Pi*freq*float64(k-f.Latency())/rate))
						}
						near(t, fmt.Sprintf("%s at %v Hz: probe %d at %.0f Hz against Response", name, rate, p, freq), got, said[p], 1e-7)
						if off := cmplx.Abs(got - want[p]); off > 5e-6*math.Max(1, cmplx.Abs(want[p])) {
							t.Errorf("%s at %v Hz: probe %d is %.3g off at %.0f Hz", name, rate, p, off, freq)
						}
					}
				}
			}
			for i, source := range n.Inputs() {
				for freq := 0.2; freq < top; freq *= 1.2 {
					want, got := ac.Transfer(source, dsp.Hertz(freq), "out", "in"), f.Response(i, dsp.Hertz(freq))
					for p := range got {
						if off := cmplx.Abs(got[p] - want[p]); off > 5e-6*math.Max(1, cmplx.Abs(want[p])) {
							t.Errorf("%s at %v Hz: probe %d is %.3g off at %.1f Hz", name, rate, p, off, freq)
						}
					}
				}
				for freq := top; freq < rate/2; freq += 100 { // and nothing stands out above
					if got := cmplx.Abs(f.Response(i, dsp.Hertz(freq))[0]); got > 1.5 {
						t.Errorf("%s at %v Hz: %.2f times at %.0f Hz", name, rate, got, freq)
					}
				}
			}
			if dense := f.reads[0].modes.Dense != nil; dense != (name == "twice the same") {
				t.Errorf("%s at %v Hz: modes that cannot be told apart: %v", name, rate, dense)
			}
			t.Logf("%s at %v Hz: %d modes, %d taps, error %.2g", name, rate, f.reads[0].n, len(f.reads[0].taps[0]), f.Error(dsp.Hertz(top)))
		}
	}
	if _, err := NewSampled(circuittest.Clipper(), 1/48e3, 20e3, "out"); !errors.Is(err, ErrNonLinear) {
		t.Errorf("a filter of diodes gives %v, want %v", err, ErrNonLinear)
	}
}

// TestSampledCallLength: the same bits however the signals are cut, and after Reset.
func TestSampledCallLength(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for name, n := range linearCircuits() {
		f, err := NewSampled(n, 1/48e3, 20e3, "out", "in")
		if err != nil {
			t.Fatal(err)
		}
		in := make([][]float64, len(n.Inputs()))
		for k := range in {
			for range 700 {
				in[k] = append(in[k], r.NormFloat64())
			}
		}
		run := func(length int) [2][]float64 {
			f.Reset()
			var out [2][]float64
			for from := 0; from < 700; from += length {
				to := min(700, from+length)
				part := make([][]float64, len(in))
				for k := range in {
					part[k] = in[k][from:to]
				}
				a, b := make([]float64, to-from), make([]float64, to-from)
				f.Process([][]float64{a, b}, part)
				out[0], out[1] = append(out[0], a...), append(out[1], b...)
			}
			return out
		}
		want := run(700)
		for _, length := range []int{700, 1, 7, 63, 64, 65, 300} {
			got := run(length)
			for p := range want {
				for k := range want[p] {
					if got[p][k] != want[p][k] {
						t.Fatalf("%s, calls of %d: probe %d, sample %d is %v, want %v", name, length, p, k, got[p][k], want[p][k])
					}
				}
			}
		}
	}
}

func BenchmarkSampled(b *testing.B) {
	n := linearCircuits()["pickup"]
	f, err := NewSampled(n, 1/48e3, 20e3, "out")
	if err != nil {
		b.Fatal(err)
	}
	in, out := [][]float64{make([]float64, 4800)}, [][]float64{make([]float64, 4800)}
	for b.Loop() {
		f.Process(out, in)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/4800, "ns/sample")
}
