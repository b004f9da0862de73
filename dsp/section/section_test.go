package section

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
	"time"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

func guitarInto(r float64) *circuit.Netlist {
	n := circuit.New()
	n.Input("Vdry", "e", "0")
	n.R("rp", "e", "p1", 8e3)
	n.L("lp", "p1", "guitar", 4.4)
	n.C("cp", "guitar", "0", 130e-12)
	n.Pot("vol", "guitar", "w", "0", 500e3, 1)
	n.R("tone", "guitar", "t", 500e3)
	n.C("ct", "t", "0", 22e-9)
	n.C("cable", "w", "0", 500e-12)
	n.R("rin", "w", "0", dsp.Ohm(r))
	return n
}

func TestFirst(t *testing.T) {
	for _, rate := range []float64{44100, 48000, 96000} {
		n := guitarInto(1e6)
		s, err := New(n, dsp.Hertz(rate), Normal, "w")
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println(rate, s.Factor, s.Latency())
		ac, _ := n.AC()
		N := 1 << 16
		in := make([]float64, N)
		in[0] = 1
		out := make([]float64, N)
		t0 := time.Now()
		s.Process([][]float64{out}, [][]float64{in})
		fmt.Println("ns/sample", time.Since(t0).Seconds()*1e9/float64(N))
		for _, f := range []float64{20, 100, 1000, 2870, 5000, 10000, 16000, 20000} {
			var h complex128
			for k, x := range out {
				h += complex(x, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*float64(k-s.Latency())/rate))
			}
			w := ac.Transfer("Vdry", dsp.Hertz(f), "w")[0]
			fmt.Printf("%6.0f  %.5f dB  phase %.5f\n", f, dsp.ToDB(cmplx.Abs(h/w)), cmplx.Phase(h/w))
		}
	}
}
