package circuit_test

import (
	"bufio"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/circuittest"
	"drywire/dsp/circuit/transient"
)

// The decks in testdata are printed by TestDeck (UPDATE=1 rewrites them), run by
//
//	go run ./cmd/reference -decks dsp/circuit/testdata
//
// and what the simulator said lies beside them; the first line of each has its version and command.

// deckCase is a circuit with the analyses that its deck asks for.
type deckCase struct {
	name    string
	netlist *circuit.Netlist
	deck    circuit.Deck
}

const acSweep = ".ac dec 5 20 20480"

func deckCases() []deckCase {
	sine := func(peak, freq float64) map[string]string {
		return map[string]string{"Vdry": fmt.Sprintf("SIN(0 %v %v)", peak, freq)}
	}
	noise := ".noise v(out) Vdry dec 5 20 20480"
	into := []string{"Iin 0 in DC 0 AC 1", acSweep}
	tran := func(peak, freq float64, probes ...string) circuit.Deck {
		return circuit.Deck{Drive: sine(peak, freq), Step: 0.1e-6, Stop: 4e-3, Probes: probes}
	}
	cases := []deckCase{
		{"fuzz-silicon", circuittest.FuzzWithGuitar(circuittest.SiliconNPN), circuit.Deck{Lines: []string{acSweep, noise}}},
		{"fuzz-germanium", circuittest.FuzzWithGuitar(circuittest.GermaniumPNP), circuit.Deck{Lines: []string{acSweep, noise}}},
		{"fuzz-silicon-input", circuittest.FuzzAlone(circuittest.SiliconNPN), circuit.Deck{Lines: into}},
		{"fuzz-germanium-input", circuittest.FuzzAlone(circuittest.GermaniumPNP), circuit.Deck{Lines: into}},
		{"clipper", circuittest.Clipper(), tran(2, 1000, "out")},
		{"stage", circuittest.Stage(), tran(0.2, 1000, "out", "c", "e")},
		{"amplifier", circuittest.Amplifier(0), tran(0.6, 1000, "out", "o", "a.pole")},
		{"amplifier-slew", circuittest.Amplifier(0.05e6), tran(0.3, 5000, "out", "o", "a.pole")},
		{"everything", circuittest.Everything(), tran(1, 1000, "a", "c", "x", "z", "k", "q", "pe", "out")},
		{"amplifier-ac", circuittest.Amplifier(0), circuit.Deck{Lines: []string{acSweep}}},
		{"everything-ac", circuittest.Everything(), circuit.Deck{Lines: []string{acSweep}}},
	}
	// Only one source may have AC 1 where the response to one is asked for.
	for k := range cases {
		if cases[k].name == "everything-ac" {
			cases[k].deck.Drive = map[string]string{"second-input": "AC 0"}
		}
		cases[k].deck.Title = cases[k].name
	}
	return cases
}

// TestDeck holds the decks to the text in testdata, every kind of element included.
func TestDeck(t *testing.T) {
	for _, c := range deckCases() {
		holdDeck(t, c.name, c.netlist.Deck(c.deck))
	}
}

func holdDeck(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+".cir")
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: the deck is not the one that the reference ran; UPDATE=1 writes it, then run the reference again:\n%s", name, got)
	}
}

// referencePoint is one value that the simulator computed: of a vector, at a frequency or a time.
type referencePoint struct {
	analysis, vector string
	x                float64
	value            complex128
}

func readReference(t *testing.T, name string) []referencePoint {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var list []referencePoint
	for s := bufio.NewScanner(f); s.Scan(); {
		w := strings.Fields(s.Text())
		if len(w) < 3 || w[0] == "#" {
			continue
		}
		num := func(k int) float64 {
			v, err := strconv.ParseFloat(w[k], 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			return v
		}
		p := referencePoint{analysis: w[0], vector: w[1]}
		switch w[0] {
		case "op":
			p.value = complex(num(2), 0)
		case "ac":
			p.x, p.value = num(2), complex(num(3), num(4))
		case "noise", "tran":
			p.x, p.value = num(2), complex(num(3), 0)
		}
		list = append(list, p)
	}
	return list
}

// nodeOf is the node whose voltage a vector v(name) of the simulator is, or "".
func nodeOf(n *circuit.Netlist, vector string) string {
	for _, node := range n.Nodes() {
		if vector == "v("+strings.ToLower(circuit.SPICEName(node))+")" {
			return node
		}
	}
	return ""
}

// Tolerances against the simulator, which itself stops at a relative error of 1e-5.
const (
	tolPoint     = 0.1e-3 // V
	tolImpedance = 0.001  // of it
	tolResponse  = 0.001  // of the response: 0.009 dB
	tolNoise     = 0.02   // dB
	tolTransient = 1e-4   // of the largest voltage: -80 dB
)

func TestOperatingPointAgainstReference(t *testing.T) {
	for _, c := range deckCases() {
		seen := 0
		p, err := c.netlist.Operating()
		if err != nil {
			t.Fatal(c.name, err)
		}
		worst := 0.0
		for _, r := range readReference(t, c.name) {
			if node := nodeOf(c.netlist, r.vector); r.analysis == "op" && node != "" {
				seen++
				d := math.Abs(p.V(node) - real(r.value))
				worst = max(worst, d)
				if d > tolPoint {
					t.Errorf("%s: %s rests at %.6f V, want %.6f V", c.name, node, p.V(node), real(r.value))
				}
			}
		}
		if c.deck.Stop == 0 && seen != len(c.netlist.Nodes()) {
			t.Errorf("%s: %d nodes compared of %d", c.name, seen, len(c.netlist.Nodes()))
		}
		t.Logf("%s: %d nodes, %s in %d iterations, worst %.2g V", c.name, seen, p.Method, p.Iterations, worst)
	}
	// The silicon fuzz's voltages as another run of the same values had them, to the millivolt
	// (ngspice 39.3).
	p, err := circuittest.FuzzWithGuitar(circuittest.SiliconNPN).Operating()
	if err != nil {
		t.Fatal(err)
	}
	for node, want := range map[string]float64{"b1": 0.617, "c1": 1.376, "e2": 0.729} {
		if got := p.V(node); math.Abs(got-want) > 1e-3 {
			t.Errorf("silicon fuzz: %s rests at %.4f V, want %.3f V", node, got, want)
		}
	}
}

func TestResponseAgainstReference(t *testing.T) {
	for _, c := range deckCases() {
		if strings.HasSuffix(c.name, "-input") {
			continue
		}
		seen := 0
		ac, err := c.netlist.AC()
		if err != nil {
			t.Fatal(c.name, err)
		}
		largest := map[string]float64{}
		points := readReference(t, c.name)
		for _, r := range points {
			if r.analysis == "ac" {
				largest[r.vector] = max(largest[r.vector], cmplx.Abs(r.value))
			}
		}
		for _, r := range points {
			node := nodeOf(c.netlist, r.vector)
			if r.analysis != "ac" || node == "" {
				continue
			}
			seen++
			got := ac.Transfer("Vdry", dsp.Hertz(r.x), node)[0]
			if d := cmplx.Abs(got - r.value); d > tolResponse*cmplx.Abs(r.value) && d > 1e-9*largest[r.vector] {
				t.Errorf("%s: response of %s at %.4g Hz is %.6g, want %.6g", c.name, node, r.x, got, r.value)
			}
		}
		if has := len(c.deck.Lines) > 0; has && seen < 16*len(c.netlist.Nodes()) {
			t.Errorf("%s: %d points compared", c.name, seen)
		}
	}
}

func TestInputImpedanceAgainstReference(t *testing.T) {
	for _, c := range deckCases() {
		if !strings.HasSuffix(c.name, "-input") {
			continue
		}
		seen := 0
		ac, err := c.netlist.AC()
		if err != nil {
			t.Fatal(c.name, err)
		}
		for _, r := range readReference(t, c.name) {
			if r.analysis != "ac" || r.vector != "v(in)" { // one ampere flows in
				continue
			}
			seen++
			got := ac.Impedance("in", dsp.Hertz(r.x))
			if d := cmplx.Abs(got - r.value); d > tolImpedance*cmplx.Abs(r.value) {
				t.Errorf("%s at %.4g Hz: %.5g Ω, want %.5g", c.name, r.x, got, r.value)
			}
		}
		if seen < 16 {
			t.Errorf("%s: %d points compared", c.name, seen)
		}
	}
}

func TestNoiseAgainstReference(t *testing.T) {
	for _, c := range deckCases() {
		if !strings.HasPrefix(c.name, "fuzz") || strings.HasSuffix(c.name, "-input") {
			continue
		}
		seen := 0
		ac, err := c.netlist.AC()
		if err != nil {
			t.Fatal(c.name, err)
		}
		for _, r := range readReference(t, c.name) {
			if r.analysis != "noise" {
				continue
			}
			seen++
			sum := 0.0
			for _, s := range ac.Noise("out", dsp.Hertz(r.x)) {
				sum += s.Density
			}
			if d := dsp.ToDB(math.Sqrt(sum) / real(r.value)); math.Abs(d) > tolNoise {
				t.Errorf("%s: noise at %.4g Hz is %.4g V/√Hz, want %.4g (%.3f dB)", c.name, r.x, math.Sqrt(sum), real(r.value), d)
			}
		}
		if seen < 15 {
			t.Errorf("%s: %d points compared", c.name, seen)
		}
	}
}

// TestTransientAgainstReference runs the circuits at a fixed small step, so that only the method is
// compared. The sines begin with a corner, which the deck has too.
func TestTransientAgainstReference(t *testing.T) {
	for _, c := range deckCases() {
		if c.deck.Stop == 0 {
			continue
		}
		const step = 0.25e-6
		tr, err := transient.New(c.netlist, transient.Options{Step: step, Levels: 2, Tolerance: 1e-5}, c.deck.Probes...)
		if err != nil {
			t.Fatal(c.name, err)
		}
		var peak, freq float64
		if _, err := fmt.Sscanf(c.deck.Drive["Vdry"], "SIN(0 %g %g)", &peak, &freq); err != nil {
			t.Fatal(err)
		}
		count := int(math.Round(float64(c.deck.Stop) / step))
		rows := [][]float64{make([]float64, len(c.deck.Probes))}
		for k, name := range c.deck.Probes {
			rows[0][k] = tr.Point().V(name)
		}
		in := make([]float64, len(c.netlist.Inputs()))
		for k := 1; k <= count; k++ {
			in[0] = peak * math.Sin(2*math.Pi*freq*float64(k)*step)
			out := make([]float64, len(c.deck.Probes))
			tr.Step(out, in)
			rows = append(rows, out)
		}
		points := readReference(t, c.name)
		for k, name := range c.deck.Probes {
			seen, largest, worst, at := 0, 0.0, 0.0, 0.0
			for _, r := range points {
				if r.analysis != "tran" || nodeOf(c.netlist, r.vector) != name {
					continue
				}
				seen++
				largest = max(largest, math.Abs(real(r.value)))
				got := rows[int(math.Round(r.x/step))][k]
				if d := math.Abs(got - real(r.value)); d > worst {
					worst, at = d, r.x
				}
			}
			if seen < 100 {
				t.Errorf("%s: %d points of %s compared", c.name, seen, name)
			}
			if worst > tolTransient*largest {
				t.Errorf("%s: %s is off by %.3g V at %.4g s, of %.4g V", c.name, name, worst, at, largest)
			}
			t.Logf("%s: %s within %.1f dB", c.name, name, dsp.ToDB(worst/largest))
		}
		if f := tr.Report().Failures; f != 0 {
			t.Errorf("%s: %d steps failed", c.name, f)
		}
	}
}
