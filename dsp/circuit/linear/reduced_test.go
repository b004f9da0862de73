package linear

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// largeCircuits have more states than all modes are found of: a pickup into a row of pots with
// their cables, the same from both ends, with coupling capacitors and traps, and with amplifiers in
// between.
func largeCircuits() map[string]*circuit.Netlist {
	all := map[string]*circuit.Netlist{}
	for _, name := range []string{"pots", "two ends", "traps", "amplified"} {
		n := circuit.New()
		n.Input("V", "in", "0")
		n.R("r", "in", "a", 8e3)
		n.L("l", "a", "n0", 4.4)
		n.C("c", "n0", "0", 130e-12)
		for k := range 128 {
			from, to := fmt.Sprint("n", k), fmt.Sprint("n", k+1)
			id := fmt.Sprint(k)
			switch {
			case name == "traps" && k%16 == 0:
				n.C("couple"+id, from, to, 1e-6)
				n.R("leak"+id, to, "0", 1e6)
				n.R("trap"+id, to, "t"+id, 22e3)
				n.L("coil"+id, "t"+id, "u"+id, 1.5)
				n.C("tune"+id, "u"+id, "0", 10e-9*dsp.Farad(1+k))
			case name == "amplified" && k%16 == 8:
				n.E("e"+id, to, "0", from, "0", 1.7)
				n.R("bias"+id, from, "0", 1e6)
			default:
				n.R("top"+id, from, to, 100+10*dsp.Ohm(k))
				n.R("bottom"+id, to, "0", 1e6)
			}
			n.C("cable"+id, to, "0", 20e-12+1e-12*dsp.Farad(k))
		}
		if name == "two ends" {
			n.Input("W", "other", "0")
			n.R("feed", "other", "n128", 47e3)
		}
		n.R("wire", "n128", "out", 1)
		n.R("load", "out", "0", 1e6)
		all[name] = n
	}
	return all
}

// TestReducedCircuits: of a circuit too large for all of its modes to be found, the filter does
// what the circuit does, by the AC solution, with fewer than half of its states.
func TestReducedCircuits(t *testing.T) {
	for name, n := range largeCircuits() {
		for _, rate := range []float64{44.1e3, 96e3} {
			const top = 20e3
			step := dsp.Second(1 / rate)
			point, err := n.Operating()
			if err != nil {
				t.Fatal(name, err)
			}
			whole, err := point.Discrete(float64(step), []string{"out", "n64"})
			if err != nil {
				t.Fatal(name, err)
			}
			if whole.A.Rows <= mostModes {
				t.Fatalf("%s has %d states, and all are found", name, whole.A.Rows)
			}
			d := reduced(whole, step, top)
			if d == nil {
				t.Errorf("%s: not reduced", name)
				continue
			}
			t.Logf("%s at %v Hz: %d of %d states", name, rate, d.A.Rows, whole.A.Rows)
			small := exactFrom(d, step)
			if !small.fades() {
				t.Errorf("%s: does not fade", name)
			}
			f, err := NewSampled(n, step, top, "out", "n64")
			if err != nil {
				t.Fatal(name, err)
			}
			ac := mustAC(t, n)
			for i, source := range n.Inputs() {
				peaks, worst, filter := make([]float64, 2), make([]float64, 2), make([]float64, 2)
				for freq := 1.0; freq < top; freq *= 1.1 {
					want := ac.Transfer(source, dsp.Hertz(freq), "out", "n64")
					// the trapezoidal rule's own frequency, taken back by exactResponse
					got, ran := small.at(i, 2*math.Pi*freq), f.Response(i, dsp.Hertz(freq))
					for p := range got {
						peaks[p] = max(peaks[p], cmplx.Abs(want[p]))
						worst[p] = max(worst[p], cmplx.Abs(got[p]-want[p]))
						filter[p] = max(filter[p], cmplx.Abs(ran[p]-want[p]))
					}
				}
				t.Logf("input %s: peaks %.3g, reduced off by %.2g, the filter by %.2g", source, peaks, worst, filter)
				for p := range peaks {
					if worst[p] > 1e-7*peaks[p] {
						t.Errorf("%s at %v Hz, probe %d: %.2g off of %.2g", name, rate, p, worst[p], peaks[p])
					}
					if filter[p] > 5e-6*peaks[p] {
						t.Errorf("%s at %v Hz, probe %d: the filter is %.2g off of %.2g", name, rate, p, filter[p], peaks[p])
					}
				}
			}
		}
	}
}
