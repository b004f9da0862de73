package circuit

import "drywire/dsp"

type capacitor struct {
	c       float64 // F
	inModel bool    // a junction capacitance, printed in its device's model
}

// C is a capacitor.
func (n *Netlist) C(name, a, b string, c dsp.Farad) {
	n.add(name, capacitor{positive(name, c), false}, a, b)
}

// junctionC is a device's own capacitance, where it has one.
func (n *Netlist) junctionC(name, a, b string, c dsp.Farad) {
	if c > 0 {
		n.add(name, capacitor{positive(name, c), true}, a, b)
	}
}

func (e capacitor) values() []float64 { return []float64{e.c} }

func (e capacitor) reactance(at *placed) reactance {
	return reactance{a: at.nodes[0], b: at.nodes[1], row: ground, value: e.c}
}

func (e capacitor) card(d *deckWriter, name string, nodes []string) {
	if !e.inModel {
		d.card("C", name, nodes, num(e.c))
	}
}
