package circuit_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// TestSplit: parts that share only ground fall apart in the order of their nodes, keep what belongs
// together, and answer as the whole does.
func TestSplit(t *testing.T) {
	n := circuit.New()
	n.Input("A", "a", "0")
	n.Input("B", "b", "0")
	n.R("ra", "a", "ao", 1e3)
	n.C("ca", "ao", "0", 1e-8)
	n.R("rb", "b", "bm", 2e3)
	n.V("meter", "bm", "bo", 0)
	n.L("lb", "bo", "0", 0.5)
	n.R("rc", "c", "0", 5e3)
	n.F("f", "0", "c", "meter", 3) // joins c to b
	n.NoiseE("en", "ao", "an", 4e-9)
	n.R("rn", "an", "0", 1e4)
	n.Pair("d", "ao", "0", circuittest.Switching)
	parts := n.Split()
	if len(parts) != 2 {
		t.Fatalf("%d parts, want 2", len(parts))
	}
	for k, want := range []struct{ in, has, lacks string }{{"A", "an", "c"}, {"B", "c", "ao"}} {
		p := parts[k]
		if got := fmt.Sprint(p.Inputs()); got != "["+want.in+"]" || !p.HasNode(want.has) || p.HasNode(want.lacks) {
			t.Errorf("part %d has inputs %s and nodes %v", k, got, p.Nodes())
		}
	}
	whole := mustAC(t, n)
	for k, node := range []string{"an", "c"} {
		part := mustAC(t, parts[k])
		in := parts[k].Inputs()[0]
		near(t, "part "+node, part.Transfer(in, 3e3, node)[0], whole.Transfer(in, 3e3, node)[0], 1e-12)
		sum := func(list []circuit.Noise) (s float64) {
			for _, x := range list {
				s += x.Density
			}
			return s
		}
		near(t, "noise of part "+node, complex(sum(part.Noise(node, 3e3)), 0), complex(sum(whole.Noise(node, 3e3)), 0), 1e-12)
	}
	if parts[0].Linear() || !parts[1].Linear() {
		t.Error("the diodes are in the wrong part")
	}
	for name, n := range circuittest.NonLinear() {
		if n.Linear() {
			t.Errorf("%s is said to be linear", name)
		}
	}
}

// TestSingular: what has no solution is told.
func TestSingular(t *testing.T) {
	loop := circuit.New()
	loop.V("v1", "a", "0", 1)
	loop.V("v2", "a", "0", 2)
	if _, err := loop.Operating(); !errors.Is(err, circuit.ErrNoOperatingPoint) {
		t.Errorf("two sources on one node: %v, want %v", err, circuit.ErrNoOperatingPoint)
	}
}

// TestMistakesPanic: a programmer's mistake shows at once.
func TestMistakesPanic(t *testing.T) {
	for name, f := range map[string]func(n *circuit.Netlist){
		"used twice":  func(n *circuit.Netlist) { n.R("r", "a", "0", 1); n.C("r", "a", "0", 1) },
		"negative":    func(n *circuit.Netlist) { n.R("r", "a", "0", -1) },
		"not finite":  func(n *circuit.Netlist) { n.C("c", "a", "0", dsp.Farad(math.Inf(1))) },
		"no node":     func(n *circuit.Netlist) { n.R("r", "", "0", 1) },
		"no ammeter":  func(n *circuit.Netlist) { n.F("f", "a", "0", "nothing", 1) },
		"off the end": func(n *circuit.Netlist) { n.Pot("p", "a", "b", "0", 1e3, 1.01) },
		"rails turned": func(n *circuit.Netlist) {
			n.OpAmp("o", "a", "b", "c", circuit.OpAmp{Gain: 1, GBW: 1, Rin: 1, Rout: 1, Lo: 1, Hi: 0})
		},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f(circuit.New())
		}()
	}
}

// TestTapers: 15 % at half the dial (common practice, no source), ends met, the reverse turned
// round; a pot's parts add up.
func TestTapers(t *testing.T) {
	for _, x := range []struct {
		taper      circuit.Taper
		dial, want float64
	}{
		{circuit.Linear, 0.3, 0.3}, {circuit.Audio, 0, 0}, {circuit.Audio, 0.5, 0.15}, {circuit.Audio, 1, 1}, {circuit.Reverse, 0.5, 0.85}, {circuit.Reverse, 0, 0}, {circuit.Reverse, 1, 1},
	} {
		if got := x.taper.Wiper(x.dial); math.Abs(got-x.want) > 1e-12 {
			t.Errorf("taper %d at %v: %v, want %v", x.taper, x.dial, got, x.want)
		}
	}
	for _, position := range []float64{0, 0.25, 1} {
		n := circuit.New()
		n.V("v", "top", "0", 10)
		n.Pot("p", "top", "w", "0", 10e3, position)
		p, err := n.Operating()
		if err != nil {
			t.Fatal(err)
		}
		want := 10 * math.Min(math.Max(position*10e3, 1), 9999) / 10e3
		if got := p.V("w"); math.Abs(got-want) > 1e-6 {
			t.Errorf("wiper at %v: %v V, want %v", position, got, want)
		}
	}
}
