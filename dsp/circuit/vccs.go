package circuit

type vccs struct{ gm float64 } // S

// G is a current source from a through itself to b of gm (S) times the voltage from p to m.
func (n *Netlist) G(name, a, b, p, m string, gm float64) { n.add(name, vccs{gm}, a, b, p, m) }

func (e vccs) values() []float64 { return []float64{e.gm} }

func (e vccs) stamp(s *system, at *placed) {
	stampTransfer(s.g, at.nodes[0], at.nodes[1], at.nodes[2], at.nodes[3], e.gm)
}

func (e vccs) card(d *deckWriter, name string, nodes []string) { d.card("G", name, nodes, num(e.gm)) }
