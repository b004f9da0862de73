package transient

import (
	"math"
	"testing"

	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// benchmark runs a circuit with one input on a sine at a rate of 384 kHz.
func benchmark(b *testing.B, n *circuit.Netlist, probe string, freq, peak float64) {
	const rate = 384e3
	tr, err := New(n, Options{Step: 1 / rate, Levels: 2, Tolerance: 1e-3, Smooth: true}, probe)
	if err != nil {
		b.Fatal(err)
	}
	in, out := make([]float64, rate/10), make([]float64, rate/10)
	for k := range in {
		in[k] = peak * math.Sin(2*math.Pi*freq*float64(k)/rate)
	}
	b.ReportAllocs()
	for b.Loop() {
		tr.Process([][]float64{out}, [][]float64{in})
	}
	r := tr.Report()
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(r.Steps), "ns/step")
	b.ReportMetric(float64(r.Evaluations)/float64(r.Steps), "evals/step")
	if r.Failures > 0 {
		b.Fatalf("%d steps failed", r.Failures)
	}
}

// The fuzz jointly with the guitar: the circuit that the engine is judged by.
func BenchmarkFuzz(b *testing.B) {
	benchmark(b, circuittest.FuzzWithGuitar(circuittest.SiliconNPN), "out", 330, 0.2)
}
func BenchmarkFuzzGermanium(b *testing.B) {
	benchmark(b, circuittest.FuzzWithGuitar(circuittest.GermaniumPNP), "out", 330, 0.2)
}

// BenchmarkFuzzHigh is the hardest that it meets: a note at the top of the neck, hit hard.
func BenchmarkFuzzHigh(b *testing.B) {
	benchmark(b, circuittest.FuzzWithGuitar(circuittest.SiliconNPN), "out", 1244.5, 0.5)
}

// BenchmarkClipper is two diodes across a capacitor.
func BenchmarkClipper(b *testing.B) { benchmark(b, circuittest.Clipper(), "out", 330, 1) }
