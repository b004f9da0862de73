package circuit

import "drywire/dsp"

type inductor struct{ l float64 } // H

// L is an inductor.
func (n *Netlist) L(name, a, b string, l dsp.Henry) {
	n.add(name, inductor{positive(name, l)}, a, b)
}

func (e inductor) values() []float64 { return []float64{e.l} }

func (e inductor) branch() {}

func (e inductor) reactance(at *placed) reactance {
	return reactance{a: ground, b: ground, row: at.row, value: e.l}
}

func (e inductor) card(d *deckWriter, name string, nodes []string) {
	d.card("L", name, nodes, num(e.l))
}
