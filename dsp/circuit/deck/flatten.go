package deck

import (
	"strings"

	"drywire/dsp/circuit"
)

// scope is where names of parameters and models are looked up: a circuit's own, then those of the
// whole deck.
type scope struct {
	up     *scope
	values map[string]*binding
	models []*model
}

// binding is what a name stands for: an expression with the scope of its own names, or a knob.
type binding struct {
	e    *expr
	in   *scope
	knob string
}

func (s *scope) find(name string) *binding {
	for ; s != nil; s = s.up {
		if b := s.values[name]; b != nil {
			return b
		}
	}
	return nil
}

func (s *scope) model(name string) (*model, *scope) {
	for ; s != nil; s = s.up {
		for _, m := range s.models {
			if m.name == name {
				return m, s
			}
		}
	}
	return nil, nil
}

// placedElement is an element of the circuit once all circuits within it are written out.
type placedElement struct {
	element
	whole string // its name with those of the circuits that it is in
	scope *scope
	model *model
	from  *scope // of the model's parameters
}

// flattener writes circuits within circuits out.
type flattener struct {
	lib   *library
	f     *faulty
	all   []placedElement
	count int // of elements and circuits
	over  bool
}

// flatten is the parts of the circuit.
func flatten(lib *library, root *subckt, f *faulty) []part {
	global := &scope{values: map[string]*binding{}, models: lib.globals.models}
	global.bind(lib.globals.params, f)
	w := &flattener{lib: lib, f: f}
	nodes := map[string]string{}
	for _, pin := range root.pins {
		nodes[pin] = aliases[pin]
	}
	own := &scope{up: global, values: map[string]*binding{}, models: root.models}
	for _, p := range root.params {
		own.values[p.name] = &binding{knob: p.name}
	}
	w.write(root, own, nodes, "", 0)
	if len(f.list) > 0 {
		return nil
	}
	return combine(w.all, f)
}

// bind adds parameters to a scope that are not in it from outside.
func (s *scope) bind(params []namedExpr, f *faulty) {
	for _, p := range params {
		if s.values[p.name] == nil {
			s.values[p.name] = &binding{e: p.e, in: s}
		}
	}
}

// bindOwn adds the .param cards of a circuit, which may not say again what a knob or an argument is.
func (s *scope) bindOwn(params []namedExpr, f *faulty) {
	for _, p := range params {
		if s.values[p.name] != nil {
			f.at(p.at, "%s a second time", p.name)
			continue
		}
		s.values[p.name] = &binding{e: p.e, in: s}
	}
}

// node is the name of a node of a circuit in the whole.
func node(name, path string, pins map[string]string) string {
	if to, ok := pins[name]; ok {
		return to
	}
	if name == "0" || name == "gnd" {
		return circuit.Ground
	}
	if path == "" && (name == In || name == Out || name == SupplyNode) {
		return name + "/" // what is called so and is no pin
	}
	return path + name
}

func (w *flattener) write(s *subckt, in *scope, pins map[string]string, path string, depth int) {
	in.bindOwn(s.body.params, w.f)
	for _, e := range s.elements {
		if w.over {
			return
		}
		if w.count++; w.count > maxElements {
			w.f.at(e.at, "more than %d parts, with those of circuits within circuits", maxElements)
			w.over = true
			return
		}
		if e.letter == 'x' {
			w.instance(e, in, pins, path, depth)
			continue
		}
		p := placedElement{element: e, whole: strings.ToUpper(path + e.name), scope: in}
		p.nodes = nil
		for _, n := range e.nodes {
			p.nodes = append(p.nodes, node(n, path, pins))
		}
		if e.law != nil {
			l := *e.law
			l.nodes = nil
			for _, n := range e.law.nodes {
				if !nodeForm.MatchString(n) {
					w.f.at(e.at, "%q is no name of a node (letters, digits, _ + # -)", clip(n))
				}
				l.nodes = append(l.nodes, node(n, path, pins))
			}
			if p.law = &l; l.form == "follow" && (p.nodes[1] != circuit.Ground || l.nodes[1] != circuit.Ground) {
				w.f.at(e.at, "an amplifier between its rails is from ground and senses a voltage to ground")
			}
		}
		if e.letter == 'd' || e.letter == 'q' {
			if p.model, p.from = in.model(e.of); p.model == nil {
				w.f.at(e.ofAt, "no .model %s", clip(e.of))
				continue
			}
			if p.model.kind == "d" != (e.letter == 'd') {
				w.f.at(e.ofAt, "the .model %s is of a %s", e.of, p.model.kind)
				continue
			}
		}
		if e.letter == 'f' {
			p.of = strings.ToUpper(path + e.of)
		}
		for _, other := range w.all {
			if other.whole == p.whole {
				w.f.at(e.at, "a second part %s", e.name)
			}
		}
		w.all = append(w.all, p)
	}
}

func (w *flattener) instance(e element, in *scope, pins map[string]string, path string, depth int) {
	var s *subckt
	for _, o := range w.lib.subckts {
		if o.name == e.of {
			s = o
		}
	}
	switch {
	case s == nil:
		w.f.at(e.ofAt, "no .subckt %s", clip(e.of))
		return
	case len(s.pins) != len(e.nodes):
		w.f.at(e.at, "%s has %d pins, and %d nodes are here", s.name, len(s.pins), len(e.nodes))
		return
	case depth == maxNesting:
		w.f.at(e.at, "more than %d circuits within each other", maxNesting)
		w.over = true
		return
	}
	inner := map[string]string{}
	for k, n := range e.nodes {
		inner[s.pins[k]] = node(n, path, pins)
	}
	own := &scope{up: nil, values: map[string]*binding{}, models: s.models}
	for own.up = in; own.up.up != nil; own.up = own.up.up {
	}
	for _, a := range e.args {
		known := false
		for _, p := range s.params {
			known = known || p.name == a.name
		}
		if !known {
			w.f.at(a.at, "%s has no parameter %s", s.name, a.name)
		}
		own.values[a.name] = &binding{e: a.e, in: in}
	}
	own.bind(s.params, w.f)
	w.write(s, own, inner, path+e.name+"/", depth+1)
}
