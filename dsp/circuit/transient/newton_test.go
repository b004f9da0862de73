package transient

import (
	"fmt"
	"math"
	"testing"

	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// The steps of circuits of up to eight ports against those for any number: the same voltages within
// a nanovolt or so of rounding and Newton's last step, on circuits that are driven hard.
func TestNewtonForFewPorts(t *testing.T) {
	d := circuit.Diode{Name: "d", Is: 2.52e-9, N: 1.752}
	q := circuit.BJT{Name: "q", Is: 1e-14, BF: 200, BR: 1, VAF: 100}
	circuits := map[string]func(n *circuit.Netlist){
		"two diodes": func(n *circuit.Netlist) {
			n.R("r", "in", "out", 2.2e3)
			n.C("c", "out", "0", 10e-9)
			n.D("d1", "out", "0", d)
			n.D("d2", "0", "out", d)
		},
		"transistor": func(n *circuit.Netlist) {
			n.V("vcc", "vcc", "0", 9)
			n.C("c", "in", "b", 1e-6)
			n.R("rb", "vcc", "b", 1e6)
			n.R("rc", "vcc", "out", 10e3)
			n.R("re", "e", "0", 100)
			n.Q("q", "out", "b", "e", q)
		},
		"triode": func(n *circuit.Netlist) {
			n.V("vcc", "vcc", "0", 300)
			n.R("rg", "in", "g", 68e3)
			n.C("cg", "g", "0", 100e-12)
			n.R("rp", "vcc", "out", 100e3)
			n.R("rk", "k", "0", 1.5e3)
			n.C("ck", "k", "0", 22e-6)
			n.T("t", "out", "g", "k", circuittest.Triode)
		},
		"overdriven op-amp": func(n *circuit.Netlist) {
			n.OpAmp("u", "in", "m", "o", circuit.OpAmp{Gain: 1e5, GBW: 3e6, Rin: 5e6, Rout: 50, Lo: -3, Hi: 3})
			n.R("rg", "m", "0", 4.7e3)
			n.R("rf", "m", "o", 500e3)
			n.Pair("d", "o", "m", d)
			n.R("ro", "o", "out", 2.2e3)
			n.C("co", "out", "0", 10e-9)
			n.Pair("d2", "out", "0", d)
		},
		"two transistors": func(n *circuit.Netlist) {
			n.V("vcc", "vcc", "0", 9)
			n.C("c", "in", "b", 1e-6)
			n.R("rb", "e2", "b", 100e3)
			n.R("rc", "vcc", "c1", 33e3)
			n.Q("q1", "c1", "b", "0", q)
			n.R("rc2", "vcc", "out", 8.2e3)
			n.R("re", "e2", "0", 1e3)
			n.Q("q2", "out", "c1", "e2", q)
		},
	}
	for name, lay := range circuits {
		for _, levels := range []int{0, 3} {
			run := func(plain bool) []float64 {
				n := circuit.New()
				n.Input("in", "in", "0")
				lay(n)
				tr, err := New(n, Options{Step: 1 / 384e3, Levels: levels, Tolerance: 1e-4}, "out")
				if err != nil {
					t.Fatal(name, err)
				}
				if plain {
					tr.few = false
				}
				x := make([]float64, 4000)
				for k := range x {
					at := 2 * math.Pi * float64(k) / 384e3
					x[k] = 2 * (math.Sin(1000*at) + 0.5*math.Sin(3700*at)) * math.Min(1, float64(k)/400)
				}
				tr.Process([][]float64{x}, [][]float64{x})
				if r := tr.Report(); r.Failures > 0 || r.Evaluations == 0 {
					t.Errorf("%s: %+v", name, r)
				}
				return x
			}
			got, want := run(false), run(true)
			scale := 0.0
			for _, v := range want {
				scale = math.Max(scale, math.Abs(v))
			}
			for k := range got {
				if off := math.Abs(got[k] - want[k]); !(off <= 1e-7*math.Max(1, scale)) {
					t.Errorf("%s, %d levels: sample %d is %.9f V, want %.9f V", name, levels, k, got[k], want[k])
					break
				}
			}
		}
	}
}

// Three equal circuits side by side have more ports than the quick form of a step takes; each gives
// what one gives alone.
func TestManyPorts(t *testing.T) {
	lay := func(n *circuit.Netlist, name string) {
		n.V(name+"vcc", name+"vcc", "0", 9)
		n.C(name+"c", "in", name+"b", 1e-6)
		n.R(name+"rb", name+"e2", name+"b", 100e3)
		n.R(name+"rc", name+"vcc", name+"c1", 33e3)
		q := circuit.BJT{Name: "q", Is: 1e-14, BF: 200, BR: 1, VAF: 100}
		n.Q(name+"q1", name+"c1", name+"b", "0", q)
		n.R(name+"rc2", name+"vcc", name+"out", 8.2e3)
		n.R(name+"re", name+"e2", "0", 1e3)
		n.Q(name+"q2", name+"out", name+"c1", name+"e2", q)
	}
	run := func(names ...string) [][]float64 {
		n := circuit.New()
		n.Input("in", "in", "0")
		var probes []string
		for _, name := range names {
			lay(n, name)
			probes = append(probes, name+"out")
		}
		tr, err := New(n, Options{Step: 1 / 384e3, Levels: 3, Tolerance: 1e-4}, probes...)
		if err != nil {
			t.Fatal(err)
		}
		if many := 4*len(names) > 8; tr.few == many {
			t.Fatalf("%d ports are few: %v", 4*len(names), tr.few)
		}
		out := make([][]float64, 4000)
		for k := range out {
			out[k] = make([]float64, len(names))
			at := 2 * math.Pi * float64(k) / 384e3
			tr.Step(out[k], []float64{0.2 * math.Sin(1000*at) * math.Min(1, float64(k)/400)})
		}
		if r := tr.Report(); r.Failures > 0 || r.Divided == 0 {
			t.Errorf("%+v", r)
		}
		return out
	}
	one, three := run("a"), run("a", "b", "c")
	for k, y := range three {
		for j, v := range y {
			if math.Abs(v-one[k][0]) > 1e-7 {
				t.Fatalf("circuit %d, sample %d: %.9f V, want %.9f V", j+1, k, v, one[k][0])
			}
		}
	}
}

// What is not a finite number leaves nothing behind that Reset does not clear, in the rows that are
// no port either: reset equals new, to the last bit.
func TestResetAfterWhatIsNotFinite(t *testing.T) {
	// Rows of four, of eight, and as many as it takes, none of them full.
	for _, diodes := range []int{1, 3, 5, 7, 9} {
		n := circuit.New()
		n.Input("in", "in", "0")
		n.R("r", "in", "out", 2.2e3)
		n.C("c", "out", "0", 10e-9)
		for k := range diodes {
			n.D(fmt.Sprint("d", k), "out", "0", circuit.Diode{Name: "d", Is: 2.52e-9, N: 1.752})
		}
		in, want := make([]float64, 100), make([]float64, 100)
		for k := range in {
			in[k] = math.Sin(float64(k) / 3)
		}
		for _, bad := range []float64{math.NaN(), math.Inf(1)} {
			tr, err := New(n, Options{Step: 1. / 192e3, Levels: 2, Tolerance: 1e-4}, "out")
			if err != nil {
				t.Fatal(err)
			}
			tr.Process([][]float64{want}, [][]float64{in})
			tr.Reset()
			got := make([]float64, len(in))
			tr.Process([][]float64{got[:3]}, [][]float64{[]float64{0, bad, 1}})
			tr.Reset()
			tr.Process([][]float64{got}, [][]float64{in})
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("%d diodes, after %v: sample %d is %v V, new it is %v V", diodes, bad, k, got[k], want[k])
					break
				}
			}
		}
	}
}

// Circuits that nothing drives stay at their operating point, with and without ports and memory:
// there are no columns to multiply then.
func TestNothingDriven(t *testing.T) {
	for _, diodes := range []int{0, 1, 5, 9} {
		for _, memory := range []bool{false, true} {
			n := circuit.New()
			n.V("v", "in", "0", 9)
			n.R("r", "in", "out", 2.2e3)
			n.R("r2", "out", "0", 10e3)
			for k := range diodes {
				n.D(fmt.Sprint("d", k), "out", "0", circuit.Diode{Name: "d", Is: 2.52e-9, N: 1.752})
			}
			if memory {
				n.C("c", "out", "0", 10e-9)
			}
			tr, err := New(n, Options{Step: 1. / 192e3, Levels: 2, Tolerance: 1e-4}, "out")
			if err != nil {
				t.Fatal(err)
			}
			for k := range 10 {
				var y [1]float64
				tr.Step(y[:], nil)
				if want := tr.Point().V("out"); !(math.Abs(y[0]-want) <= 1e-9) { // V: portTolerance
					t.Errorf("%d diodes, memory %v, step %d: %v V, at rest %v V", diodes, memory, k, y[0], want)
				}
			}
		}
	}
}
