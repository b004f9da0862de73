package circuit

import "slices"

// Split returns the parts of the circuit that share no node but ground, in the order of their first
// node. What a stage cuts falls apart here: every part is a section that is solved on its own.
func (n *Netlist) Split() []*Netlist {
	group := make([]int, len(n.nodes))
	for k := range group {
		group[k] = k
	}
	var find func(int) int
	find = func(k int) int {
		if group[k] != k {
			group[k] = find(group[k])
		}
		return group[k]
	}
	// home is the first of an element's nodes that is not ground.
	home := func(p *part) (int, bool) {
		k := slices.IndexFunc(p.nodes, func(k int) bool { return k != ground })
		if k < 0 {
			return 0, false
		}
		return p.nodes[k], true
	}
	for _, p := range n.parts {
		first, _ := home(p)
		for _, k := range p.nodes {
			if k != ground {
				a, b := find(first), find(k)
				group[max(a, b)] = min(a, b)
			}
		}
	}
	parts := map[int]*Netlist{}
	var order []*Netlist
	for k, name := range n.nodes {
		root := find(k)
		if parts[root] == nil {
			parts[root] = New()
			parts[root].names = n.names
			order = append(order, parts[root])
		}
		parts[root].node(name)
	}
	for _, p := range n.parts {
		first, ok := home(p)
		if !ok {
			continue // between ground and ground
		}
		to, moved := parts[find(first)], *p
		moved.nodes = nil
		for _, k := range p.nodes {
			moved.nodes = append(moved.nodes, to.node(n.nodeName(k)))
		}
		to.parts = append(to.parts, &moved)
	}
	return order
}
