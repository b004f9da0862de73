// Package circuit holds a netlist and what can be known from it: the operating point, the small-signal
// response and impedances, the noise of every element, the voltages over time, and a deck that a general
// circuit simulator can run to check all of them. One description, five uses.
//
// The method is modified nodal analysis: with node voltages and branch currents x, sources u and the
// currents i of the non-linear devices at their port voltages v,
//
//	C·dx/dt + G·x = b + B·u + N·i(v),   v = Nᵀ·x   (N here holds -1 and +1 at a port's two nodes).
//
// The transient reduces this to the non-linear ports alone (the nodal K-method family: IEEE TASLP 18(4)
// 728-737, 2010; EUSIPCO 2015, generalised non-linear state space).
//
// The package is no general circuit simulator: matrices are dense, the step is fixed, and it is meant for
// circuits of up to some hundred nodes. It knows nothing of guitars or effects.
//
// Start reading at Netlist, then system.go (the matrices), op.go (operating point) and transient.go.
package circuit

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// Ground is the name of the reference node.
const Ground = "0"

// Netlist is a circuit: named elements between named nodes. Its methods panic on a programmer's mistake
// (a name used twice, a value that is not finite and positive), so that building a circuit reads like its
// drawing.
type Netlist struct {
	nodes []string
	index map[string]int
	names map[string]bool

	resistors  []resistor
	capacitors []capacitor
	inductors  []inductor
	sources    []source // fixed and driven voltage sources
	vcvs       []vcvs
	vccs       []vccs
	cccs       []cccs
	diodes     []diode
	bjts       []bjt
	clamps     []clamp
	limiters   []limiter
	pairs      []pair
	triodes    []triode
	noises     []noiseVoltage
}

type resistor struct {
	name string
	a, b int
	r    float64 // Ω
	hot  bool    // makes thermal noise
}

type capacitor struct {
	name    string
	a, b    int
	c       float64 // F
	inModel bool    // a junction capacitance, printed in its device's model
}

type inductor struct {
	name string
	a, b int
	l    float64 // H
}

type source struct {
	name   string
	a, b   int
	dc     float64 // V
	driven bool
}

type vcvs struct {
	name       string
	a, b, p, m int
	gain       float64
}

type vccs struct {
	name       string
	a, b, p, m int
	gm         float64 // S; the current flows from a through the element to b
}

type cccs struct {
	name  string
	a, b  int
	sense int // index into sources
	gain  float64
}

// New is an empty circuit.
func New() *Netlist {
	return &Netlist{index: map[string]int{}, names: map[string]bool{}}
}

// ground is the index of the reference node.
const ground = -1

func (n *Netlist) node(name string) int {
	if name == Ground {
		return ground
	}
	if name == "" {
		panic("circuit: a node needs a name")
	}
	i, ok := n.index[name]
	if !ok {
		i = len(n.nodes)
		n.index[name] = i
		n.nodes = append(n.nodes, name)
	}
	return i
}

// HasNode says whether an element touches the node.
func (n *Netlist) HasNode(name string) bool {
	_, ok := n.index[name]
	return ok || name == Ground
}

// Nodes is the names of all nodes but ground, in the order in which they came up.
func (n *Netlist) Nodes() []string { return append([]string(nil), n.nodes...) }

func (n *Netlist) nodeName(i int) string {
	if i == ground {
		return Ground
	}
	return n.nodes[i]
}

func (n *Netlist) claim(name string) {
	if name == "" || n.names[name] {
		panic(fmt.Sprintf("circuit: element name %q is empty or used twice", name))
	}
	n.names[name] = true
}

func positive(name string, v float64) {
	if !(v > 0) || math.IsInf(v, 0) {
		panic(fmt.Sprintf("circuit: %s has the value %v; want a positive number", name, v))
	}
}

// R is a resistor. It makes thermal noise.
func (n *Netlist) R(name, a, b string, r dsp.Ohm) { n.resistor(name, a, b, r, true) }

// ColdR is a resistor without noise: a means of modelling, not a part.
func (n *Netlist) ColdR(name, a, b string, r dsp.Ohm) { n.resistor(name, a, b, r, false) }

func (n *Netlist) resistor(name, a, b string, r dsp.Ohm, hot bool) {
	n.claim(name)
	positive(name, float64(r))
	n.resistors = append(n.resistors, resistor{name, n.node(a), n.node(b), float64(r), hot})
}

// Taper is how a potentiometer's track follows its dial.
type Taper int

// The tapers of potentiometers.
const (
	Linear  Taper = iota
	Audio         // 15 % of the track at half the dial: common practice, no source
	Reverse       // the audio taper turned round
)

// audioRise makes the exponential taper (k^x-1)/(k-1) pass 15 % at x = 1/2: k = (1/0.15-1)².
const audioRise = (1/0.15 - 1) * (1/0.15 - 1)

// Wiper is the share of the track, 0 to 1, below the wiper for a dial position of 0 to 1.
func (t Taper) Wiper(dial float64) float64 {
	switch t {
	case Audio:
		return min(1, (math.Pow(audioRise, dial)-1)/(audioRise-1))
	case Reverse:
		return 1 - Audio.Wiper(1-dial)
	}
	return dial
}

// endResistance is what is left between a wiper and the end of its track, in ohms: common practice, no source.
const endResistance = 1

// Pot is a potentiometer: a track of r from top to bottom with a wiper at position (0 at the bottom, 1 at the
// top of the track, after its taper). An ohm is left at either end; top and bottom add up to r.
func (n *Netlist) Pot(name, top, wiper, bottom string, r dsp.Ohm, position float64) {
	if !(position >= 0 && position <= 1) {
		panic(fmt.Sprintf("circuit: %s at %v; want 0 to 1", name, position))
	}
	upper := min(max(endResistance, float64(r)*(1-position)), float64(r)-endResistance)
	n.R(name+".top", top, wiper, dsp.Ohm(upper))
	n.R(name+".bottom", wiper, bottom, r-dsp.Ohm(upper))
}

// Rheostat is a potentiometer used as a variable resistor of at most r between a and b.
func (n *Netlist) Rheostat(name, a, b string, r dsp.Ohm, position float64) {
	if !(position >= 0 && position <= 1) {
		panic(fmt.Sprintf("circuit: %s at %v; want 0 to 1", name, position))
	}
	n.R(name, a, b, dsp.Ohm(math.Max(endResistance, float64(r)*position)))
}

// C is a capacitor.
func (n *Netlist) C(name, a, b string, c dsp.Farad) { n.capacitor(name, a, b, float64(c), false) }

func (n *Netlist) capacitor(name, a, b string, c float64, inModel bool) {
	n.claim(name)
	positive(name, c)
	n.capacitors = append(n.capacitors, capacitor{name, n.node(a), n.node(b), c, inModel})
}

// L is an inductor.
func (n *Netlist) L(name, a, b string, l dsp.Henry) {
	n.claim(name)
	positive(name, float64(l))
	n.inductors = append(n.inductors, inductor{name, n.node(a), n.node(b), float64(l)})
}

// V is a fixed voltage source, a above b; with 0 V it is also an ammeter for F.
func (n *Netlist) V(name, a, b string, v dsp.Volt) {
	n.claim(name)
	n.sources = append(n.sources, source{name, n.node(a), n.node(b), float64(v), false})
}

// Input is a driven voltage source, a above b: 0 V at rest.
func (n *Netlist) Input(name, a, b string) {
	n.claim(name)
	n.sources = append(n.sources, source{name, n.node(a), n.node(b), 0, true})
}

// Inputs is the names of the driven sources, in order.
func (n *Netlist) Inputs() []string {
	var names []string
	for _, s := range n.sources {
		if s.driven {
			names = append(names, s.name)
		}
	}
	return names
}

// E is a voltage source from a to b of gain times the voltage from p to m.
func (n *Netlist) E(name, a, b, p, m string, gain float64) {
	n.claim(name)
	n.vcvs = append(n.vcvs, vcvs{name, n.node(a), n.node(b), n.node(p), n.node(m), gain})
}

// G is a current source from a through itself to b of gm times the voltage from p to m.
func (n *Netlist) G(name, a, b, p, m string, gm float64) {
	n.claim(name)
	n.vccs = append(n.vccs, vccs{name, n.node(a), n.node(b), n.node(p), n.node(m), gm})
}

// F is a current source from a through itself to b of gain times the current through the voltage source of
// that name (positive from its a through it to its b).
func (n *Netlist) F(name, a, b, ammeter string, gain float64) {
	n.claim(name)
	for i, s := range n.sources {
		if s.name == ammeter {
			n.cccs = append(n.cccs, cccs{name, n.node(a), n.node(b), i, gain})
			return
		}
	}
	panic(fmt.Sprintf("circuit: %s measures %q, which is no voltage source", name, ammeter))
}

// NoiseE puts a white noise voltage of density e (V/√Hz) in series between a and b; without noise it is a wire.
func (n *Netlist) NoiseE(name, a, b string, e float64) {
	n.V(name, a, b, 0)
	n.noises = append(n.noises, noiseVoltage{len(n.sources) - 1, e})
}

type noiseVoltage struct {
	source  int
	density float64
}
