package circuit

// Size is how large a circuit is, which decides what it costs to work with.
type Size struct {
	Unknowns int // node voltages and branch currents
	States   int // capacitors and inductors
	Ports    int // of non-linear elements
	Inputs   int // driven sources
}

// Size counts the circuit; it solves nothing.
func (n *Netlist) Size() Size {
	s := Size{Unknowns: len(n.nodes), Inputs: len(n.Inputs())}
	for _, p := range n.parts {
		if _, ok := p.element.(brancher); ok {
			s.Unknowns++
		}
		if _, ok := p.element.(reactor); ok {
			s.States++
		}
		if d, ok := p.element.(device); ok {
			s.Ports += len(d.ports(p.nodes))
		}
	}
	return s
}
