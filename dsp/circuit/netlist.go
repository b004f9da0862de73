// Package circuit holds a netlist and what can be known from it at one moment: the operating point,
// the small-signal response and impedances, the noise of every element, one step of its capacitors
// and inductors, and a deck that a general circuit simulator can run to check all of them. What it
// does over time is in the rooms below: transient for circuits with non-linear elements, linear for
// those without.
//
// The method is modified nodal analysis: with node voltages and branch currents x, sources u and
// the currents i of the non-linear elements at their port voltages v,
//
//	C·dx/dt + G·x = b + B·u + N·i(v),   v = Nᵀ·x   (N here holds -1 and +1 at a port's two nodes).
//
// The transient reduces this to the non-linear ports alone (the nodal K-method family: IEEE TASLP
// 18(4) 728-737, 2010; EUSIPCO 2015, generalised non-linear state space).
//
// The package is no general circuit simulator: matrices are dense, the step is fixed, and it is
// meant for circuits of up to some hundred nodes. Guitars and effects are in blocks.
//
// Start reading at Netlist, then element.go (what an element is; each has a file), system.go (the
// matrices), op.go (operating point) and discrete.go (a step).
package circuit

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Ground is the name of the reference node.
const Ground = "0"

// Netlist is a circuit: named elements between named nodes. Its methods panic on a programmer's
// mistake (a name used twice, a value that is not finite and positive), so that building a circuit
// reads like its drawing.
type Netlist struct {
	// Owner is whom the elements that are added from now on belong to.
	Owner string

	nodes []string
	index map[string]int
	names map[string]bool
	parts []*part // by kind, in the order of kinds; each kind in the order in which they were added
}

// part is an element with its terminals.
type part struct {
	name, owner string
	nodes       []int // its terminals
	kind        int   // index into kinds
	order       int   // how many were there before it was added
	element
}

// Part says which element is meant.
type Part struct{ Name, Owner string }

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

// HasNode reports whether an element touches the node.
func (n *Netlist) HasNode(name string) bool {
	_, ok := n.index[name]
	return ok || name == Ground
}

// Nodes is the names of all nodes but ground, in the order in which they came up.
func (n *Netlist) Nodes() []string { return slices.Clone(n.nodes) }

func (n *Netlist) nodeName(i int) string {
	if i == ground {
		return Ground
	}
	return n.nodes[i]
}

// add puts an element between nodes.
func (n *Netlist) add(name string, e element, nodes ...string) {
	if name == "" || n.names[name] {
		panic(fmt.Sprintf("circuit: element name %q is empty or used twice", name))
	}
	n.names[name] = true
	p := &part{name: name, owner: n.Owner, kind: kindOf(e), order: len(n.parts), element: e}
	for _, node := range nodes {
		p.nodes = append(p.nodes, n.node(node))
	}
	n.put(p)
}

// put keeps parts in the order of kinds.
func (n *Netlist) put(p *part) {
	at := sort.Search(len(n.parts), func(k int) bool { return n.parts[k].kind > p.kind })
	n.parts = slices.Insert(n.parts, at, p)
}

func positive[V ~float64](name string, v V) float64 {
	if !(v > 0) || math.IsInf(float64(v), 0) {
		panic(fmt.Sprintf("circuit: %s has the value %v; want a positive number", name, v))
	}
	return float64(v)
}

// Linear reports whether no element of the circuit is non-linear.
func (n *Netlist) Linear() bool {
	return !slices.ContainsFunc(n.parts, func(p *part) bool { _, ok := p.element.(device); return ok })
}
