package circuit

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Subckt prints the circuit as a .subckt, for others to build in. Pins are its pins by the nodes
// that they are; every other node is inner. Cards stand in the order in which the elements were
// added, so that who adds them again in that order has the same matrices. Supplies are left to a
// pin. Drive is as in Deck, of driven sources, which all need an entry. Noise of amplifiers and
// valves is in comments alone.
func (n *Netlist) Subckt(name string, pins [][2]string, comments []string, drive map[string]string) string {
	b := &deckWriter{Deck: Deck{Drive: drive}, models: map[string]string{}, flicker: true}
	for _, c := range comments {
		fmt.Fprintf(b, "* %s\n", c)
	}
	fmt.Fprintf(b, ".subckt %s", name)
	pin := map[string]string{}
	for _, p := range pins {
		pin[p[0]] = p[1]
		fmt.Fprintf(b, " %s", p[1])
	}
	fmt.Fprintln(b)
	parts := slices.Clone(n.parts)
	slices.SortStableFunc(parts, func(p, q *part) int { return cmp.Compare(p.order, q.order) })
	for _, p := range parts {
		s, isSource := p.element.(source)
		if isSource && s.supply {
			continue
		}
		var nodes []string
		for _, k := range p.nodes {
			node := n.nodeName(k)
			nodes = append(nodes, cmp.Or(pin[node], SPICEName(node)))
		}
		if isSource && s.driven {
			b.card("B", p.name, nodes, drive[p.name])
			continue
		}
		p.card(b, p.name, nodes)
	}
	for _, m := range slices.Sorted(maps.Keys(b.models)) {
		fmt.Fprintf(b, ".model %s %s\n", m, b.models[m])
	}
	fmt.Fprintf(b, ".ends %s\n", name)
	return strings.ReplaceAll(b.String(), " \n", "\n")
}
