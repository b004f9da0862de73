package circuit

import (
	"fmt"

	"drywire/dsp/circuit/internal/dense"
)

// system is the netlist as matrices: C·dx/dt + G·x = b + B·u - Σ ports. x holds the node voltages,
// then the currents through voltage sources, controlled voltage sources and inductors.
type system struct {
	net        *Netlist
	parts      []placed
	rows       map[string]int // of branches, by their element's name
	size       int
	g          dense.Matrix[float64]
	b          []float64 // fixed sources
	inputs     []int     // rows of the driven sources
	reactances []reactance
	states     int // of the reactances
	ports      []port
	devices    Devices
}

// placed is a part with where it stands in the matrices.
type placed struct {
	*part
	row  int // of its branch current, or ground
	port int // the first of its ports, or -1
}

// reactance is a capacitor between two nodes, or an inductor in a branch.
type reactance struct {
	a, b  int
	row   int     // of the branch; ground for a capacitor
	value float64 // F or H
	state int     // one for capacitors between the same two nodes; -1: both ends at one
}

func (n *Netlist) system() *system {
	s := &system{net: n, size: len(n.nodes), rows: map[string]int{}}
	for _, p := range n.parts {
		at := placed{p, ground, -1}
		if _, ok := p.element.(brancher); ok {
			at.row = s.size
			s.rows[p.name] = at.row
			s.size++
		}
		s.parts = append(s.parts, at)
	}
	s.g = dense.New[float64](s.size, s.size)
	s.b = make([]float64, s.size)
	type ends struct{ low, high int }
	between := map[ends]int{} // state of capacitors
	for k := range s.parts {
		at := &s.parts[k]
		if at.row != ground {
			stampBranch(s.g, at.row, at.nodes[0], at.nodes[1])
		}
		if e, ok := at.element.(conductor); ok {
			e.stamp(s, at)
		}
		if e, ok := at.element.(reactor); ok {
			r := e.reactance(at)
			key := ends{min(r.a, r.b), max(r.a, r.b)}
			if old, ok := between[key]; ok && r.row == ground {
				r.state = old
			} else if r.row == ground && r.a == r.b {
				r.state = -1
			} else {
				r.state = s.states
				s.states++
				if r.row == ground {
					between[key] = r.state
				}
			}
			s.reactances = append(s.reactances, r)
		}
	}
	for from, to := 0, 0; from < len(s.parts); from = to {
		for to = from; to < len(s.parts) && s.parts[to].kind == s.parts[from].kind; to++ {
			if e, ok := s.parts[to].element.(device); ok {
				s.parts[to].port = len(s.ports)
				s.ports = append(s.ports, e.ports(s.parts[to].nodes)...)
			}
		}
		if e, ok := s.parts[from].element.(device); ok {
			s.devices.add(e.laws(n.parts[from:to], s.parts[from].port), s.ports[s.parts[from].port:], to-from)
		}
	}
	return s
}

func addAt[T dense.Scalar](m dense.Matrix[T], r, c int, x T) {
	if r != ground && c != ground {
		m.Add(r, c, x)
	}
}

func stampConductance[T dense.Scalar](m dense.Matrix[T], a, b int, g T) {
	addAt(m, a, a, g)
	addAt(m, b, b, g)
	addAt(m, a, b, -g)
	addAt(m, b, a, -g)
}

// stampTransfer adds a current from a to b of g times the voltage from p to m.
func stampTransfer[T dense.Scalar](x dense.Matrix[T], a, b, p, m int, g T) {
	addAt(x, a, p, g)
	addAt(x, a, m, -g)
	addAt(x, b, p, -g)
	addAt(x, b, m, g)
}

// stampBranch adds a branch current that leaves a and enters b, and the row v(a)-v(b) = ….
func stampBranch[T dense.Scalar](m dense.Matrix[T], row, a, b int) {
	addAt(m, a, row, T(1))
	addAt(m, b, row, T(-1))
	addAt(m, row, a, T(1))
	addAt(m, row, b, T(-1))
}

// across is the voltage of x from a to b.
func across[T dense.Scalar](x []T, a, b int) T {
	var v T
	if a != ground {
		v += x[a]
	}
	if b != ground {
		v -= x[b]
	}
	return v
}

// inject adds a current that leaves a and enters b to a right-hand side.
func inject[T dense.Scalar](rhs []T, a, b int, i T) {
	if a != ground {
		rhs[a] -= i
	}
	if b != ground {
		rhs[b] += i
	}
}

func (s *system) nodeIndex(name string) (int, error) {
	if name == Ground {
		return ground, nil
	}
	i, ok := s.net.index[name]
	if !ok {
		return 0, fmt.Errorf("circuit: no node %q", name)
	}
	return i, nil
}

// Devices is the non-linear part of a circuit: port voltages in, port currents and their
// derivatives out. Derivatives form blocks of two for elements of two ports and of one for the
// others.
type Devices struct {
	Count  int       // of ports
	Paired int       // ports of elements of two, an even number: they come first
	Weight []float64 // how much an error in a port's voltage counts
	// LimitInverse is, of every port, the inverse of the Newton step below which limiting is
	// inactive, in 1/V.
	LimitInverse []float64
	laws         []law
	limits       []limited // those of them that have limits
}

// add appends the law of that many elements of one kind, with their ports.
func (d *Devices) add(l law, ports []port, elements int) {
	from := d.Count
	d.Count += len(ports)
	d.laws = append(d.laws, l)
	if x, ok := l.(limited); ok {
		d.limits = append(d.limits, x)
	}
	if len(ports) == 2*elements {
		if d.Paired != from {
			panic("circuit: elements of two ports come first")
		}
		d.Paired = d.Count
	}
	for _, p := range ports {
		d.Weight, d.LimitInverse = append(d.Weight, p.weight), append(d.LimitInverse, p.limitInverse)
	}
}

// Eval writes the currents and derivatives at the voltages.
func (d *Devices) Eval(at *Ports) {
	for _, l := range d.laws {
		l.eval(at)
	}
}

// Limit shortens the Newton step from the voltages old to v in place and says whether it did. It
// leaves alone what is shorter than the inverse of LimitInverse.
func (d *Devices) Limit(v, old []float64) (limited bool) {
	for _, l := range d.limits {
		if l.limit(v, old) {
			limited = true
		}
	}
	return limited
}

// partner is the other port of an element of two, or -1.
func (d *Devices) partner(k int) int {
	if k >= d.Paired {
		return -1
	}
	return k ^ 1
}

// stampDevices adds the devices' small-signal conductances.
func (s *system) stampDevices(a dense.Matrix[float64], at *Ports) {
	for k, pt := range s.ports {
		stampTransfer(a, pt.a, pt.b, pt.p, pt.m, at.Own[k])
		if j := s.devices.partner(k); j >= 0 {
			stampTransfer(a, pt.a, pt.b, s.ports[j].p, s.ports[j].m, at.Oth[k])
		}
	}
}
