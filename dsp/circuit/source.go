package circuit

import (
	"fmt"
	"strings"

	"drywire/dsp"
)

// source is a voltage source: fixed, driven, or at rest with a noise of its own.
type source struct {
	dc      float64 // V
	driven  bool
	supply  bool
	density float64 // of its white noise, V/√Hz
}

// V is a fixed voltage source, a above b; with 0 V it is also an ammeter for F.
func (n *Netlist) V(name, a, b string, v dsp.Volt) { n.add(name, source{dc: float64(v)}, a, b) }

// Supply is a fixed voltage source from ground to a node by which what is on a power supply comes
// in: see Supplies.
func (n *Netlist) Supply(name, node string, v dsp.Volt) {
	n.add(name, source{dc: float64(v), supply: true}, node, Ground)
}

// Input is a driven voltage source, a above b: 0 V at rest.
func (n *Netlist) Input(name, a, b string) { n.add(name, source{driven: true}, a, b) }

// NoiseE puts a white noise voltage of density e (V/√Hz) in series between a and b; without noise
// it is a wire.
func (n *Netlist) NoiseE(name, a, b string, e float64) { n.add(name, source{density: e}, a, b) }

// Inputs is the names of the driven sources, in order.
func (n *Netlist) Inputs() (names []string) {
	for _, p := range n.parts {
		if s, ok := p.element.(source); ok && s.driven {
			names = append(names, p.name)
		}
	}
	return names
}

// Supplies is the sources that Supply added, in order.
func (n *Netlist) Supplies() (list []Part) {
	for _, p := range n.parts {
		if s, ok := p.element.(source); ok && s.supply {
			list = append(list, Part{p.name, p.owner})
		}
	}
	return list
}

func (e source) values() []float64 { return []float64{e.dc, flag(e.driven), e.density} }

func (e source) branch() {}

func (e source) stamp(s *system, at *placed) {
	s.b[at.row] = e.dc
	if e.driven {
		s.inputs = append(s.inputs, at.row)
	}
}

func (e source) noise(at *placed, _ *OperatingPoint, _ float64, add addNoise) {
	add("input", at.row, ground, e.density*e.density)
}

func (e source) card(d *deckWriter, name string, nodes []string) {
	drive, driven := d.Drive[name]
	switch own := SPICEName(name); {
	case e.density > 0 && d.Noise: // that of a resistor
		d.card("V", name, []string{nodes[0], own + "_in"}, "DC 0")
		d.card("E", name, []string{own + "_in", nodes[1], own + "_noise", Ground}, "1")
		d.card("R", name, []string{own + "_noise", Ground}, num(e.density*e.density/(4*Boltzmann*Temperature)))
	case e.density > 0:
		d.card("V", name, nodes, "DC 0")
		fmt.Fprintf(d, "* %s: white noise of %s V/sqrt(Hz) in series\n", own, num(e.density))
	case !e.driven:
		d.card("V", name, nodes, "DC", num(e.dc))
	case !driven:
		d.card("V", name, nodes, "DC 0 AC 1")
	case strings.HasPrefix(drive, "V="):
		d.card("V", name, []string{nodes[0], own + "_wave"}, "DC 0 AC 1")
		d.card("B", name, []string{own + "_wave", nodes[1]}, drive)
	default:
		d.card("V", name, nodes, "DC 0 AC 1", drive)
	}
}
