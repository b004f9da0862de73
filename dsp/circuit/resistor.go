package circuit

import "drywire/dsp"

type resistor struct {
	r   float64 // Ω
	hot bool    // makes thermal noise
}

// R is a resistor. It makes thermal noise.
func (n *Netlist) R(name, a, b string, r dsp.Ohm) {
	n.add(name, resistor{positive(name, r), true}, a, b)
}

// ColdR is a resistor without noise: a means of modelling, not a part.
func (n *Netlist) ColdR(name, a, b string, r dsp.Ohm) {
	n.add(name, resistor{positive(name, r), false}, a, b)
}

func (e resistor) values() []float64 { return []float64{e.r, flag(e.hot)} }

func (e resistor) stamp(s *system, at *placed) {
	stampConductance(s.g, at.nodes[0], at.nodes[1], 1/e.r)
}

func (e resistor) noise(at *placed, _ *OperatingPoint, _ float64, add addNoise) {
	if e.hot {
		add("thermal", at.nodes[0], at.nodes[1], 4*Boltzmann*Temperature/e.r)
	}
}

func (e resistor) card(d *deckWriter, name string, nodes []string) {
	value := num(e.r)
	if !e.hot {
		value += " noisy=0"
	}
	d.card("R", name, nodes, value)
}
