package linear

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

func near(t *testing.T, what string, got, want complex128, tol float64) {
	t.Helper()
	if d := cmplx.Abs(got - want); !(d <= tol*cmplx.Abs(want)) {
		t.Errorf("%s: %.8g, want %.8g (off by %.2g of it)", what, got, want, d/cmplx.Abs(want))
	}
}

func mustAC(t *testing.T, n *circuit.Netlist) *circuit.AC {
	t.Helper()
	ac, err := n.AC()
	if err != nil {
		t.Fatal(err)
	}
	return ac
}

// TestFilter: what the filter does to an impulse is what Response says; its latency is exact; its
// error is what Error says.
func TestFilter(t *testing.T) {
	divider := circuit.New()
	divider.Input("V", "in", "0")
	divider.R("r1", "in", "out", 1e3)
	divider.R("r2", "out", "0", 1e3)
	f, err := NewFilter(divider, 1/48e3, "out")
	if err != nil {
		t.Fatal(err)
	}
	var y [1]float64
	for k := 0; k < 5; k++ {
		u := 0.0
		if k == 0 {
			u = 1
		}
		f.Step(y[:], []float64{u})
		want := 0.0
		if k == f.Latency() {
			want = 0.5
		}
		if math.Abs(y[0]-want) > 1e-8 { // the node's picosiemens
			t.Errorf("divider, sample %d: %v, want %v", k, y[0], want)
		}
	}
	if got := f.Error(20e3); got > 1e-8 {
		t.Errorf("divider: error of %g", got)
	}

	pickup := circuit.New()
	pickup.Input("V", "e", "0")
	pickup.R("r", "e", "a", 8e3)
	pickup.L("l", "a", "out", 4.4)
	pickup.C("c", "out", "0", 630e-12)
	pickup.R("load", "out", "0", 200e3)
	for _, rate := range []float64{44.1e3, 96e3, 384e3} {
		f, err := NewFilter(pickup, dsp.Second(1/rate), "out")
		if err != nil {
			t.Fatal(err)
		}
		count := int(rate / 10)
		h := make([]float64, count)
		for run := 0; run < 2; run++ { // the second after Reset
			for k := range h {
				u := 0.0
				if k == 0 {
					u = 1
				}
				f.Step(y[:], []float64{u})
				if run == 1 && h[k] != y[0] {
					t.Fatalf("%v Hz: sample %d is %v, after Reset %v", rate, k, h[k], y[0])
				}
				h[k] = y[0]
			}
			f.Reset()
		}
		ac := mustAC(t, pickup)
		worst, largest := 0.0, 0.0
		for freq := 20.0; freq < 16e3; freq *= 1.3 {
			var got complex128
			for k, x := range h {
				got += complex(x, 0) * cmplx.Exp(complex(0, -2*math.Pi*freq*float64(k-f.Latency())/rate))
			}
			near(t, fmt.Sprintf("response at %.0f Hz, %v Hz", freq, rate), got, f.Response(0, dsp.Hertz(freq))[0], 1e-6)
			want := ac.Transfer("V", dsp.Hertz(freq), "out")[0]
			worst, largest = max(worst, cmplx.Abs(got-want)), max(largest, cmplx.Abs(want))
		}
		if said := f.Error(16e3); worst/largest > said*1.2+1e-9 {
			t.Errorf("%v Hz: error of %.3g, Error says %.3g", rate, worst/largest, said)
		}
		t.Logf("%v Hz: error %.3g", rate, worst/largest)
	}
	if _, err := NewFilter(circuittest.Clipper(), 1/48e3, "out"); !errors.Is(err, ErrNonLinear) {
		t.Errorf("a filter of diodes gives %v, want %v", err, ErrNonLinear)
	}
}

// TestNothingDriven: a circuit that nothing drives stays at its operating point, with and without
// memory.
func TestNothingDriven(t *testing.T) {
	for _, memory := range []bool{false, true} {
		n := circuit.New()
		n.V("v", "in", "0", 9)
		n.R("r", "in", "out", 2.2e3)
		n.R("r2", "out", "0", 10e3)
		if memory {
			n.C("c", "out", "0", 10e-9)
		}
		f, err := NewSampled(n, 1./48e3, 20e3, "out")
		if err != nil {
			t.Fatal(err)
		}
		y := make([]float64, 10)
		f.Process([][]float64{y}, nil)
		for k, v := range y {
			if want := mustAC(t, n).Point.V("out"); v != want {
				t.Errorf("memory %v, sample %d: %v V, at rest %v V", memory, k, v, want)
			}
		}
	}
}
