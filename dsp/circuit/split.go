package circuit

// Split returns the parts of the circuit that share no node but ground, in the order of their first node. What a
// stage cuts falls apart here: every part is a section that is solved on its own.
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
	join := func(nodes []*int) {
		first := ground
		for _, k := range nodes {
			if *k == ground {
				continue
			}
			if first == ground {
				first = *k
			}
			a, b := find(first), find(*k)
			group[max(a, b)] = min(a, b)
		}
	}
	n.eachElement(join)
	for _, f := range n.cccs { // an ammeter belongs to what it steers
		s := n.sources[f.sense]
		join([]*int{&f.a, &f.b, &s.a, &s.b})
	}
	parts := map[int]*Netlist{}
	var order []*Netlist
	for k, name := range n.nodes {
		root := find(k)
		if parts[root] == nil {
			parts[root] = New()
			order = append(order, parts[root])
		}
		parts[root].node(name)
	}
	owner := func(nodes []*int) *Netlist {
		for _, k := range nodes {
			if *k != ground {
				return parts[find(*k)]
			}
		}
		return nil
	}
	for _, p := range order {
		place := func(nodes []*int) bool {
			if owner(nodes) != p {
				return false
			}
			for _, k := range nodes {
				*k = p.node(n.nodeName(*k))
			}
			return true
		}
		moved := make([]int, len(n.sources)) // index of a source in its part
		for k, s := range n.sources {
			if place(s.terminals()) {
				moved[k] = len(p.sources)
				p.sources = append(p.sources, s)
				for _, e := range n.noises {
					if e.source == k {
						p.noises = append(p.noises, noiseVoltage{moved[k], e.density})
					}
				}
			}
		}
		for _, f := range n.cccs {
			if place(f.terminals()) {
				f.sense = moved[f.sense]
				p.cccs = append(p.cccs, f)
			}
		}
		p.resistors = pick(n.resistors, place)
		p.capacitors = pick(n.capacitors, place)
		p.inductors = pick(n.inductors, place)
		p.vcvs = pick(n.vcvs, place)
		p.vccs = pick(n.vccs, place)
		p.diodes = pick(n.diodes, place)
		p.bjts = pick(n.bjts, place)
		p.clamps = pick(n.clamps, place)
		p.limiters = pick(n.limiters, place)
		p.pairs = pick(n.pairs, place)
		p.triodes = pick(n.triodes, place)
		p.names = n.names
	}
	return order
}

// element is a pointer to any kind of element.
type element[E any] interface {
	*E
	terminals() []*int
}

// pick copies the elements that place puts.
func pick[E any, P element[E]](from []E, place func([]*int) bool) []E {
	var out []E
	for _, e := range from {
		if place(P(&e).terminals()) {
			out = append(out, e)
		}
	}
	return out
}

func visit[E any, P element[E]](list []E, f func([]*int)) {
	for k := range list {
		f(P(&list[k]).terminals())
	}
}

func (n *Netlist) eachElement(f func(nodes []*int)) {
	visit(n.resistors, f)
	visit(n.capacitors, f)
	visit(n.inductors, f)
	visit(n.sources, f)
	visit(n.vcvs, f)
	visit(n.vccs, f)
	visit(n.cccs, f)
	visit(n.diodes, f)
	visit(n.bjts, f)
	visit(n.clamps, f)
	visit(n.limiters, f)
	visit(n.pairs, f)
	visit(n.triodes, f)
}

func (e *resistor) terminals() []*int  { return []*int{&e.a, &e.b} }
func (e *capacitor) terminals() []*int { return []*int{&e.a, &e.b} }
func (e *inductor) terminals() []*int  { return []*int{&e.a, &e.b} }
func (e *source) terminals() []*int    { return []*int{&e.a, &e.b} }
func (e *vcvs) terminals() []*int      { return []*int{&e.a, &e.b, &e.p, &e.m} }
func (e *vccs) terminals() []*int      { return []*int{&e.a, &e.b, &e.p, &e.m} }
func (e *cccs) terminals() []*int      { return []*int{&e.a, &e.b} }
func (e *diode) terminals() []*int     { return []*int{&e.a, &e.b} }
func (e *bjt) terminals() []*int       { return []*int{&e.c, &e.b, &e.e} }
func (e *clamp) terminals() []*int     { return []*int{&e.a, &e.b} }
func (e *limiter) terminals() []*int   { return []*int{&e.a, &e.b, &e.p, &e.m} }
