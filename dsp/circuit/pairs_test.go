package circuit_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
)

// noisy is every kind of element in a circuit of its own, which draws from s and leads to o: what
// makes noise, at a current at which it does, and what makes none, on the way of the noise of a
// resistor.
var noisy = map[string]func(n *circuit.Netlist, at func(string) string, s, o string){
	"resistor": func(n *circuit.Netlist, at func(string) string, s, o string) { n.R(at("r"), s, o, 20e3) },
	"cold":     func(n *circuit.Netlist, at func(string) string, s, o string) { n.ColdR(at("r"), s, o, 20e3) },
	"source": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.NoiseE(at("e"), s, at("a"), 20e-9)
		n.R(at("r"), at("a"), o, 15e3)
	},
	"noise-current": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.NoiseI(at("i"), s, at("a"), 2e-12, 700)
		n.R(at("r"), at("a"), "0", 22e3)
		n.R(at("o"), at("a"), o, 15e3)
	},
	"capacitor": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, o, 30e3)
		n.C(at("c"), o, "0", 5e-9)
	},
	"inductor": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 10e3)
		n.L(at("l"), at("a"), o, 1.5)
	},
	"vcvs": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 5e3)
		n.R(at("g"), at("a"), "0", 5e3)
		n.E(at("e"), at("b"), "0", at("a"), "0", 3)
		n.R(at("o"), at("b"), o, 10e3)
	},
	"vccs": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 5e3)
		n.R(at("g"), at("a"), "0", 1e3)
		n.G(at("s"), o, "0", at("a"), "0", 1e-4)
	},
	"cccs": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 40e3)
		n.V(at("m"), at("a"), "0", 0)
		n.F(at("f"), o, "0", at("m"), 0.5)
	},
	"transistor": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("b"), s, at("base"), 10e3) // so low that base and collector current count alike
		n.R(at("e"), at("base"), "0", 750)
		n.R(at("c"), s, at("col"), 2.2e3)
		q := circuittest.SiliconNPN
		q.Name, q.Flicker = "flickering", 300
		n.Q(at("q"), at("col"), at("base"), "0", q)
		n.R(at("o"), at("col"), o, 22e3)
	},
	"pnp": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("b"), at("base"), "0", 470e3)
		n.R(at("c"), at("col"), "0", 1e3)
		n.Q(at("q"), at("col"), at("base"), s, circuittest.GermaniumPNP)
		n.R(at("o"), at("col"), o, 22e3)
	},
	"triode": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("g"), at("grid"), "0", 68e3)
		n.R(at("k"), at("cat"), "0", 1.5e3)
		n.V(at("ht"), at("high"), s, 200)
		n.R(at("p"), at("high"), at("plate"), 100e3)
		n.T(at("t"), at("plate"), at("grid"), at("cat"), circuittest.Triode)
		n.R(at("o"), at("plate"), o, 470e3)
	},
	"diode": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 47e3)
		n.D(at("d"), at("a"), "0", circuittest.Resisting)
		n.R(at("o"), at("a"), o, 10e3)
	},
	"pair": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("a"), 100e3)
		n.Antiparallel(at("d"), at("a"), "0", circuittest.Switching, circuit.Diode{Name: "other", Is: 1e-7, N: 1.3})
		n.R(at("o"), at("a"), o, 10e3)
	},
	// An op-amp has a limiter, a clamp, an amplifier's noise, and resistors that make none.
	"op-amp": func(n *circuit.Netlist, at func(string) string, s, o string) {
		n.R(at("r"), s, at("p"), 22e3)
		n.R(at("g"), at("p"), "0", 10e3)
		n.OpAmp(at("u"), at("p"), at("m"), at("out"), circuit.OpAmp{
			Gain: 1e5, GBW: 3e6, Slew: 1e6, Rin: 5e6, Rout: 50, Lo: 1, Hi: 8, Noise: 10e-9, Current: 1e-12,
		})
		n.R(at("f"), at("out"), at("m"), 4.7e3)
		n.R(at("o"), at("out"), o, 15e3)
	},
}

// pairs is every kind beside every other and beside itself: two into one node. name is "" for all
// of them in one circuit, which share nothing.
func pairs(name string) (*circuit.Netlist, []string) {
	kinds := slices.Sorted(maps.Keys(noisy))
	n := circuit.New()
	n.Input("probe", "probe", "0")
	n.R("rprobe", "probe", "0", 1e3)
	var names []string
	for i, a := range kinds {
		for _, b := range kinds[i:] {
			pair := a + "+" + b
			if names = append(names, pair); name != "" && name != pair {
				continue
			}
			at := func(prefix string) func(string) string {
				return func(x string) string { return strings.ReplaceAll(pair, "+", "-") + "." + prefix + x }
			}
			s, o := at("")("supply"), at("")("out")
			n.V(s, s, "0", 9)
			noisy[a](n, at("1"), s, o)
			noisy[b](n, at("2"), s, o)
			n.R(at("")("load"), o, "0", 33e3)
		}
	}
	return n, names
}

// TestNoiseOfPairs: beside every kind of element every other makes the noise that it makes in the
// reference, each for itself. The deck has all pairs at once; here each is a circuit of its own.
func TestNoiseOfPairs(t *testing.T) {
	const file, frequency = "noise-pairs", 1000
	all, names := pairs("")
	if missing := all.Missing(); len(missing) > 0 {
		t.Errorf("no pair has a %v", missing)
	}
	d := circuit.Deck{Title: file, Noise: true}
	out := func(pair string) string { return strings.ReplaceAll(pair, "+", "-") + ".out" }
	for _, pair := range slices.Backward(names) { // the simulator begins with the last
		d.Lines = append(d.Lines, fmt.Sprintf(".noise v(%s) Vprobe lin 1 %d %[2]d 1", circuit.SPICEName(out(pair)), frequency))
	}
	holdDeck(t, file, all.Deck(d))
	rest := map[string]float64{}    // by vector
	var sums []float64              // V/√Hz, of every pair
	var powers []map[string]float64 // V²/Hz of its elements, by their names
	for _, p := range readReference(t, file) {
		switch value := real(p.value); {
		case p.analysis == "op":
			rest[p.vector] = value
		case p.vector == "onoise":
			sums, powers = append(sums, value), append(powers, map[string]float64{})
		default:
			name := strings.TrimPrefix(p.vector, "onoise_")[1:]
			name = strings.TrimSuffix(strings.TrimSuffix(name, "_1"), "_2") // two diodes are a pair
			powers[len(powers)-1][name] += value * value
		}
	}
	if len(sums) != len(names) {
		t.Fatalf("%d points of %d pairs", len(sums), len(names))
	}
	seen := 0
	hold := func(pair, what string, power, want float64) {
		seen++
		if off := dsp.ToDB(math.Sqrt(power / want)); !(math.Abs(off) <= tolNoise) {
			t.Errorf("%s: noise of %s is %.4g V/√Hz, want %.4g (%+.3f dB)", pair, what, math.Sqrt(power), math.Sqrt(want), off)
		}
	}
	for k, pair := range names {
		n, _ := pairs(pair)
		ac := mustAC(t, n)
		for _, node := range n.Nodes() {
			if v, want := ac.Point.V(node), rest["v("+strings.ToLower(circuit.SPICEName(node))+")"]; math.Abs(v-want) > tolPoint {
				t.Errorf("%s: %s rests at %v V, want %v V", pair, node, v, want)
			}
		}
		sum, elements := 0.0, map[string]float64{}
		for _, s := range ac.Noise(out(pair), frequency) {
			sum += s.Density
			elements[strings.ToLower(circuit.SPICEName(s.Element))] += s.Density
		}
		hold(pair, "all", sum, sums[k]*sums[k])
		for name, want := range powers[k] {
			if strings.Contains(name, "_clamp_") && want < 1e-10*sum {
				continue // which is a means of modelling and makes none
			}
			hold(pair, name, elements[name], want)
			delete(elements, name)
		}
		for name, power := range elements {
			if power > 1e-10*sum {
				t.Errorf("%s: %s makes noise, and in the reference none", pair, name)
			}
		}
	}
	t.Logf("%d pairs, %d noises compared", len(names), seen)
}
