package circuit

type vcvs struct{ gain float64 }

// E is a voltage source from a to b of gain times the voltage from p to m.
func (n *Netlist) E(name, a, b, p, m string, gain float64) { n.add(name, vcvs{gain}, a, b, p, m) }

func (e vcvs) values() []float64 { return []float64{e.gain} }

func (e vcvs) branch() {}

func (e vcvs) stamp(s *system, at *placed) {
	addAt(s.g, at.row, at.nodes[2], -e.gain)
	addAt(s.g, at.row, at.nodes[3], e.gain)
}

func (e vcvs) card(d *deckWriter, name string, nodes []string) { d.card("E", name, nodes, num(e.gain)) }
