package deck

// law is what a B card says, of the forms that package circuit prints: its numbers and the nodes
// whose voltages it has.
type law struct {
	form  string // "limit", "grid", "plate" or "follow"
	c     []*expr
	nodes []string
	again [][2]int // numbers of c that have to be the same
}

// lawForms is how the forms are written, for people.
const lawForms = "I=imax*tanh(gm*v(p,m)/imax), an amplifier's slew rate; V={min(hi, max(lo, gain*v(x)))}, an amplifier between its rails, from ground; and the two of a triode"

// readLaw reads the expression of a B card.
func readLaw(c card, what string, e *element, f *faulty) bool {
	from := 0
	for c.text[from] != '=' {
		from++
	}
	x, err := parseExpr(c, from+1, len(c.text))
	if err != nil {
		f.at(err.(placed).at, "%v", err)
		return false
	}
	p := &pattern{}
	switch {
	case what == "v" && p.follow(x):
		p.form = "follow"
	case what == "i" && p.clear().limit(x):
		p.form, p.again = "limit", [][2]int{{0, 2}}
	case what == "i" && p.clear().space(x, false) && p.between(e.nodes):
		p.form, p.again = "grid", [][2]int{{1, 2}}
	case what == "i" && x.op == "-" && p.clear().space(x.args[0], true) && p.space(x.args[1], false):
		p.form, p.again = "plate", [][2]int{{1, 3}, {6, 7}}
	default:
		f.at(c.place(from+1), "B cards are read in these forms only: %s", lawForms)
		return false
	}
	e.law = &p.law
	return true
}

// pattern holds an expression against a form and takes its numbers out.
type pattern struct{ law }

func (p *pattern) clear() *pattern {
	p.law = law{}
	return p
}

// number takes a constant.
func (p *pattern) number(e *expr) bool {
	p.c = append(p.c, e)
	return e.constant()
}

// voltage takes the nodes of a voltage; of one node, the other is ground.
func (p *pattern) voltage(e *expr) bool {
	if e.op != "v" {
		return false
	}
	p.nodes = append(p.nodes, e.node[0])
	if len(e.node) == 2 {
		p.nodes = append(p.nodes, e.node[1])
	} else {
		p.nodes = append(p.nodes, "0")
	}
	return true
}

// follow is min(hi, max(lo, gain*v(x))).
func (p *pattern) follow(e *expr) bool {
	if e.op != "min" || e.args[1].op != "max" || e.args[1].args[1].op != "*" {
		return false
	}
	inner := e.args[1]
	times := inner.args[1]
	return p.number(e.args[0]) && p.number(inner.args[0]) && p.number(times.args[0]) && p.voltage(times.args[1])
}

// limit is imax*tanh(gm*v(p,m)/imax).
func (p *pattern) limit(e *expr) bool {
	if e.op != "*" || e.args[1].op != "tanh" || e.args[1].args[0].op != "/" {
		return false
	}
	inner := e.args[1].args[0]
	return inner.args[0].op == "*" && p.number(e.args[0]) && p.number(inner.args[0].args[0]) && p.number(inner.args[1]) && p.voltage(inner.args[0].args[1])
}

// space is a·pow(ln(1+exp(c·u))/c, e): of the grid with u = v(g,k), of the whole cathode current
// with u = v(p,k)/Mu + v(g,k). It takes a, c, c again (of the cathode Mu before that) and e.
func (p *pattern) space(e *expr, plate bool) bool {
	if e.op != "*" || e.args[1].op != "pow" || e.args[1].args[0].op != "/" {
		return false
	}
	power := e.args[1]
	softly := power.args[0]
	ln := softly.args[0]
	if ln.op != "ln" || ln.args[0].op != "+" || ln.args[0].args[0].op != "num" || ln.args[0].args[0].num != 1 || ln.args[0].args[1].op != "exp" {
		return false
	}
	times := ln.args[0].args[1].args[0]
	if times.op != "*" || !p.number(e.args[0]) || !p.number(times.args[0]) {
		return false
	}
	u := times.args[1]
	if plate {
		if u.op != "+" || u.args[0].op != "/" || !p.voltage(u.args[0].args[0]) || !p.number(u.args[0].args[1]) || !p.voltage(u.args[1]) {
			return false
		}
	} else if !p.voltage(u) {
		return false
	}
	return p.number(softly.args[1]) && p.number(power.args[1])
}

// between reports whether the one voltage is that between the card's own nodes.
func (p *pattern) between(nodes []string) bool {
	return len(p.nodes) == 2 && p.nodes[0] == nodes[0] && p.nodes[1] == nodes[1]
}
