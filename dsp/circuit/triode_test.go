package circuit_test

import (
	"math"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// A stage of 300 V, 100 kΩ and 1.5 kΩ against a circuit simulator that has the same law as
// behavioural sources: ngspice 39.3, ngspice -b on the deck that this test logs.
func TestTriodeStage(t *testing.T) {
	n := circuit.New()
	n.V("supply", "vcc", "0", 300)
	n.R("plate", "vcc", "p", 100e3)
	n.R("cathode", "k", "0", 1.5e3)
	n.Input("Vin", "in", "0")
	n.R("grid", "in", "g", 68e3)
	n.T("t", "p", "g", "k", circuittest.Triode)
	a, err := n.AC()
	if err != nil {
		t.Fatal(err)
	}
	for node, want := range map[string]float64{"p": 201.6668, "k": 1.474998, "g": 0} {
		if got := a.Point.V(node); math.Abs(got-want) > 1e-4*math.Max(1, math.Abs(want)) {
			t.Errorf("%s rests at %.6f V, want %.6f V", node, got, want)
		}
	}
	got := a.Transfer("Vin", 1000, "p")[0]
	if want := -33.4500; math.Abs(real(got)-want) > 1e-3 {
		t.Errorf("gain %.5f, want %.5f", real(got), want)
	}
	t.Log(n.Deck(circuit.Deck{Title: "triode", RelTol: 1e-6, Lines: []string{".control", "op", "print v(p) v(k) v(g)", "ac lin 1 1k 1k", "print vr(p)", ".endc"}}))
}

// With the grid driven far positive through its resistor, the grid's current holds it near the
// cathode, and with the grid far negative the plate rests at the supply.
func TestTriodeEnds(t *testing.T) {
	rest := func(bias dsp.Volt) *circuit.OperatingPoint {
		n := circuit.New()
		n.V("supply", "vcc", "0", 300)
		n.V("bias", "in", "0", bias)
		n.R("plate", "vcc", "p", 100e3)
		n.R("grid", "in", "g", 470e3)
		n.T("t", "p", "g", "0", circuittest.Triode)
		p, err := n.Operating()
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if got := rest(-20).V("p"); math.Abs(got-300) > 1e-3 {
		t.Errorf("cut off, the plate is at %v V", got)
	}
	// Ig = (50 V - Vg)/470 kΩ = 106 µA by the law at Vg: Gg·Vg^Xi, Vg = (106e-6/6.177e-4)^(1/1.314)
	// = 0.26 V, less what the knee of 0.1 V adds.
	if got := rest(50).V("g"); math.Abs(got-0.26) > 0.03 {
		t.Errorf("driven by 50 V through 470 kΩ, the grid is at %.3f V", got)
	}
	// What the grid takes of the cathode's current does not reach the plate: with 10 kΩ in place of
	// 100 kΩ it is at 300 V - 10 kΩ·(Ik - Ig), by the law.
	n := circuit.New()
	n.V("supply", "vcc", "0", 300)
	n.V("bias", "g", "0", 1)
	n.R("plate", "vcc", "p", 10e3)
	n.T("t", "p", "g", "0", circuittest.Triode)
	p, err := n.Operating()
	if err != nil {
		t.Fatal(err)
	}
	l := func(u, c float64) float64 { return math.Log(1+math.Exp(c*u)) / c }
	m := circuittest.Triode
	v := p.V("p")
	want := 300 - 10e3*(m.G*math.Pow(l(v/m.Mu+1, m.C), m.Gamma)-m.Gg*math.Pow(l(1, m.Cg), m.Xi))
	if math.Abs(v-want) > 1e-3 {
		t.Errorf("with the grid at 1 V the plate is at %.4f V, by the law at %.4f V", v, want)
	}
}
