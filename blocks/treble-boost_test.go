package blocks_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

func trebleBoostBench(device string, source dsp.Ohm) *blocks.Bench {
	k := blocks.Find("treble-boost")
	b := blocks.NewBench(gainRate, 1)
	b.Place("boost", k, k.Defaults().WithWord("device", device))
	b.R("load", "boost.out", circuit.Ground, 1e6)
	b.Circuit.Input("Vsrc", "source", circuit.Ground)
	b.R("rs", "source", "boost.in", source)
	return b
}

// Operating point, input impedance and gain against a circuit simulator: ngspice 39.3, ngspice -b
// DECK, where DECK is what this test logs (go test ./blocks -run TrebleBoostAgainstSimulator -v). A
// source of 100 kΩ loses what the input impedance says: it cares what is before it.
func TestTrebleBoostAgainstSimulator(t *testing.T) {
	const (
		tolRest = 1e-3 // V
		tolGain = 0.01 // dB
	)
	for _, c := range []struct {
		device          string
		base, collector float64    // V
		direct, far     [3]float64 // dB at 100 Hz, 1 kHz, 10 kHz from 1 Ω and from 100 kΩ
	}{
		{"silicon", 1.101884, 7.719870, [3]float64{10.90457, 29.12585, 33.02435}, [3]float64{10.31345, 19.23023, 19.24352}},
		{"germanium", -1.06336, -6.59869, [3]float64{10.42185, 29.57623, 35.36969}, [3]float64{9.90399, 19.36180, 16.92700}},
	} {
		for source, want := range map[dsp.Ohm][3]float64{1: c.direct, 100e3: c.far} {
			b := trebleBoostBench(c.device, source)
			a := ac(t, b.Circuit)
			for node, want := range map[string]float64{"base": c.base, "collector": c.collector} {
				if got := a.Point.V("boost." + node); math.Abs(got-want) > tolRest {
					t.Errorf("%s: %s rests at %.5f V, want %.5f V", c.device, node, got, want)
				}
			}
			for k, f := range []dsp.Hertz{100, 1000, 10000} {
				got := dsp.ToDB(cmplx.Abs(a.Transfer("Vsrc", f, "boost.out")[0]))
				if math.Abs(got-want[k]) > tolGain {
					t.Errorf("%s from %v Ω: gain at %v Hz is %.4f dB, want %.4f dB", c.device, float64(source), float64(f), got, want[k])
				}
			}
			t.Log(b.Circuit.Deck(circuit.Deck{Title: fmt.Sprintf("treble booster, %s, %v Ohm", c.device, float64(source)), RelTol: 1e-6, Lines: []string{
				".control", "op", "print v(boost_base) v(boost_collector)", "ac dec 1 100 10k", "print vdb(boost_out)", ".endc"}}))
		}
	}
}
