package circuit

import "fmt"

type cccs struct {
	gain    float64
	ammeter string // name of a source
}

// F is a current source from a through itself to b of gain times the current through the voltage
// source of that name (positive from its a through it to its b). It panics where there is no such
// source.
func (n *Netlist) F(name, a, b, ammeter string, gain float64) {
	for _, p := range n.parts {
		if _, ok := p.element.(source); ok && p.name == ammeter {
			// The ammeter's nodes are terminals too, since it belongs to what it steers.
			n.add(name, cccs{gain, ammeter}, a, b, n.nodeName(p.nodes[0]), n.nodeName(p.nodes[1]))
			return
		}
	}
	panic(fmt.Sprintf("circuit: %s measures %q, which is no voltage source", name, ammeter))
}

func (e cccs) values() []float64 { return []float64{e.gain} }

func (e cccs) stamp(s *system, at *placed) {
	row := s.rows[e.ammeter]
	addAt(s.g, at.nodes[0], row, e.gain)
	addAt(s.g, at.nodes[1], row, -e.gain)
}

func (e cccs) card(d *deckWriter, name string, nodes []string) {
	d.card("F", name, nodes[:2], spiceElement("V", e.ammeter), num(e.gain))
}
