package circuit

import (
	"fmt"
	"reflect"
)

// kinds is every kind of element, in the order in which their rows and ports stand in the matrices.
// A kind is a file and a line here. Those with two ports come before those with one.
var kinds = []element{
	source{}, resistor{}, capacitor{}, vcvs{}, inductor{}, vccs{}, cccs{}, noiseCurrent{},
	bjt{}, triode{},
	diode{}, clamp{}, limiter{}, pair{},
}

// kindOf is an element's place in kinds.
func kindOf(e element) int {
	for k, x := range kinds {
		if reflect.TypeOf(x) == reflect.TypeOf(e) {
			return k
		}
	}
	panic(fmt.Sprintf("circuit: %T is not in the list of kinds", e))
}

// element is what an element is, wherever it stands: an immutable value. What else it does is in
// the interfaces below, those that fit it.
type element interface {
	// values is what tells it from others of its kind, beside its terminals: see Key.
	values() []float64
	// card writes it on a deck.
	card(d *deckWriter, name string, nodes []string)
}

// conductor is an element with a share in the matrix G or the fixed sources b.
type conductor interface {
	stamp(s *system, at *placed)
}

// brancher is an element with a current that is unknown: from its first node through it to its
// second. The system gives it a row, in which the voltage between the two stands already.
type brancher interface{ branch() }

// reactor is an element that keeps a state.
type reactor interface {
	reactance(at *placed) reactance
}

// device is a non-linear element.
type device interface {
	// ports is where it touches the circuit: one port, or two which depend on each other.
	ports(nodes []int) []port
	// laws is the law of a run of elements of this kind, whose ports begin there.
	laws(run []*part, from int) law
}

// port is where a non-linear element touches the circuit: the voltage from p to m controls it, its
// current flows from a through the element to b. For junctions both pairs are the same.
type port struct {
	a, b, p, m int
	weight     float64 // how much an error in its voltage counts
	// 1/V: the inverse of the Newton step below which limiting is inactive, wherever it starts.
	limitInverse float64
}

// Ports is what all ports of a circuit carry at one moment, a number for each.
type Ports struct {
	V, I []float64 // voltages and currents
	Own  []float64 // derivatives of the currents by the port's own voltage, S
	Oth  []float64 // of two ports, k and k+1, of one element: dI[k]/dV[k+1] and dI[k+1]/dV[k]
}

// NewPorts is room for so many.
func NewPorts(count int) Ports {
	row := func() []float64 { return make([]float64, count) }
	return Ports{row(), row(), row(), row()}
}

// junction is the port between two nodes that limit leaves alone for steps under twice nvt.
func junction(a, b int, weight, nvt float64) port { return port{a, b, a, b, weight, 1 / (2 * nvt)} }

// law is the laws of all elements of one kind in a circuit, port after port: it is what a step
// spends its time in.
type law interface {
	// eval writes what its ports carry at their voltages.
	eval(at *Ports)
}

// limited is a law whose Newton steps need limiting.
type limited interface {
	// limit shortens the Newton step from old to v in place where it leaves the range in which the
	// law is nearly linear, and reports whether it did.
	limit(v, old []float64) bool
}

// collect is what the elements of a run are told by.
func collect[E element, L any](run []*part, of func(E) L) (list []L) {
	for _, p := range run {
		list = append(list, of(p.element.(E)))
	}
	return list
}

// noiser is an element that makes noise: currents of a density in A²/Hz from one node through it to
// another, or a voltage in V²/Hz in its branch, from its row to ground, at a frequency f in Hz.
// Point is where its ports are at rest.
type noiser interface {
	noise(at *placed, point *OperatingPoint, f float64, add addNoise)
}

type addNoise func(cause string, from, to int, density float64)

// flag is a yes or no among values.
func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
