package circuit

import (
	"drywire/dsp"
	"fmt"
	"gonum.org/v1/gonum/dsp/fourier"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// fuzzWithGuitar is the classic two-transistor shunt-feedback fuzz on a pickup: the circuit that the engine is
// judged by. Values: references for the silicon version, common practice.
func fuzzWithGuitar(wiper, fuzz float64) *Netlist {
	n := New()
	n.Input("Vdry", "e", "0")
	n.R("rp", "e", "p1", 7e3)
	n.L("lp", "p1", "guitar", 2.4)
	n.C("cp", "guitar", "0", 110e-12)
	n.Pot("vol", "guitar", "w", "0", 500e3, wiper)
	n.C("cable", "w", "0", 390e-12)
	n.R("cabler", "w", "in", 0.5)
	n.C("cin", "in", "b1", 2.2e-6)
	q := BJT{Name: "si", Is: 1e-14, BF: 150, BR: 1, VAF: 100, Cje: 5e-12, Cjc: 4e-12}
	n.V("supply", "vcc", "0", 9)
	n.R("rc1", "vcc", "c1", 33e3)
	n.Q("q1", "c1", "b1", "0", q)
	n.Q("q2", "c2", "c1", "e2", q)
	n.R("rf", "e2", "b1", 100e3)
	n.R("rc2a", "vcc", "t", 470)
	n.R("rc2b", "t", "c2", 8.2e3)
	n.Pot("fuzz", "e2", "fw", "0", 1e3, fuzz)
	n.C("ce", "fw", "0", 22e-6)
	n.C("cout", "t", "o", 10e-9)
	n.Pot("level", "o", "out", "0", 500e3, 0.8)
	n.C("cload", "out", "0", 500e-12)
	n.R("rload", "out", "0", 1e6)
	return n
}

func TestFirst(t *testing.T) {
	freq, _ := strconv.ParseFloat(os.Getenv("FREQ"), 64)
	amp, _ := strconv.ParseFloat(os.Getenv("AMP"), 64)
	n := fuzzWithGuitar(1, 1)
	p, err := n.Operating()
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(p.Method, p.Iterations, p.Residual)
	for _, k := range []string{"b1", "c1", "e2", "c2", "t"} {
		fmt.Printf("%s %.6f\n", k, p.V(k))
	}
	tr, err := n.NewTransient(Options{Step: 1 / 384000., Divide: 16, Tolerance: 1e-3}, "out")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(tr.coarse.modes.dense != nil, tr.fine.modes.dense != nil, tr.n, tr.m, tr.coarse.modes)
	os.WriteFile("/tmp/fz.cir", []byte(n.Deck(Deck{Title: "t", Drive: map[string]string{"Vdry": fmt.Sprintf("SIN(0 %v %v)", amp, freq)}, Step: 0.35e-6, Stop: 0.06, Probes: []string{"out"}})), 0o644)
	var b strings.Builder
	div, _ := strconv.Atoi(os.Getenv("DIV"))
	for _, os := range []int{4, 8, 16, 32} {
		fs := 48000 * float64(os)
		tr, _ = n.NewTransient(Options{Step: dsp.Second(1 / fs), Divide: div, Tolerance: 1e-3}, "out")
		var u, y [1]float64
		for k := 1; k < int(0.06*fs); k++ {
			u[0] = amp * math.Sin(2*math.Pi*freq*float64(k)/fs)
			tr.Step(y[:], u[:])
			if os <= 8 || k%(os/8) == 0 {
				fmt.Fprintln(&b, os, float64(k)/fs, y[0])
			}
		}
		fmt.Printf("%d %+v\n", os, tr.Report())
	}
	os.WriteFile("/tmp/fz.txt", []byte(b.String()), 0o644)
}

func BenchmarkFuzz(b *testing.B) {
	n := fuzzWithGuitar(1, 1)
	tr, _ := n.NewTransient(Options{Step: 1 / 384000., Divide: 16, Tolerance: 1e-3}, "out")
	in := make([]float64, 384000/10)
	for k := range in {
		in[k] = 0.2 * math.Sin(2*math.Pi*330*float64(k)/384000)
	}
	out := make([]float64, len(in))
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		tr.Process(out, in)
	}
	r := tr.Report()
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(r.Steps), "ns/step")
	b.ReportMetric(float64(r.Evaluations)/float64(r.Steps), "evals/step")
}

func TestAlias(t *testing.T) {
	n := fuzzWithGuitar(1, 1)
	div, _ := strconv.Atoi(os.Getenv("DIV"))
	for _, fac := range []int{2, 4, 8} {
		for _, bin := range []int{1699, 5715} {
			fs := 48000 * float64(fac)
			tr, _ := n.NewTransient(Options{Step: dsp.Second(1 / fs), Divide: div, Tolerance: 1e-3, Smooth: os.Getenv("SM") != ""}, "out")
			N := 65536 * fac
			y := make([]float64, N)
			var u, o [1]float64
			for k := -N / 2; k < N; k++ {
				u[0] = 0.5 * math.Sin(2*math.Pi*float64(bin)*float64(k)/float64(N))
				tr.Step(o[:], u[:])
				if k >= 0 {
					y[k] = o[0]
				}
			}
			c := fourier.NewFFT(N).Coefficients(nil, y)
			var h, a float64
			for k := 28; k <= 27306; k++ {
				p := real(c[k])*real(c[k]) + imag(c[k])*imag(c[k])
				if k%bin == 0 {
					h += p
				} else {
					a += p
				}
			}
			fmt.Printf("x%d bin %d: signal to alias %.1f dB  %+v\n", fac, bin, 10*math.Log10(h/a), tr.Report())
		}
	}
}
