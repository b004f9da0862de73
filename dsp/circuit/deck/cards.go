package deck

import (
	"regexp"
	"slices"
	"strings"
)

// library is the cards of a deck, read one by one.
type library struct {
	subckts []*subckt
	globals body
	notes   []string
}

// subckt is a circuit with its parts as they stand there.
type subckt struct {
	body
	name   string
	at     place
	pins   []string
	pinAt  []place
	params []namedExpr // behind the pins, with what they are where nobody says otherwise
}

// body is what stands between .subckt and .ends, or outside of all of them.
type body struct {
	elements []element
	params   []namedExpr
	models   []*model
}

// namedExpr is NAME=VALUE.
type namedExpr struct {
	name string
	e    *expr
	at   place
}

// model is a .model card.
type model struct {
	name, kind string
	at         place
	params     []namedExpr
}

// element is a card of a part.
type element struct {
	letter byte
	name   string
	at     place
	nodes  []string
	value  *expr
	cold   bool   // a resistor without noise
	of     string // its model, circuit or ammeter
	ofAt   place
	args   []namedExpr // of a circuit
	law    *law        // of a B card
}

// nodeForm is the form of names of nodes and parts.
var nodeForm = regexp.MustCompile(`^[a-z0-9_+#-]{1,64}$`)

// nameForm is that of parameters: what expressions can name.
var nameForm = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,31}$`)

// forms are the cards of parts: how many nodes each has, and how it is written.
var forms = map[byte]struct {
	nodes int
	like  string
}{
	'r': {2, "R1 a b 4.7k"}, 'c': {2, "C1 a b 22n"}, 'l': {2, "L1 a b 500m"},
	'v': {2, "V1 plus minus 9"}, 'i': {2, "I1 from to 1m"},
	'e': {4, "E1 plus minus from to 10"}, 'g': {4, "G1 from to plus minus 1m"}, 'f': {2, "F1 from to V1 10"},
	'd': {2, "D1 anode cathode MODEL"}, 'q': {3, "Q1 collector base emitter MODEL"},
	'b': {2, "B1 a b V=… or I=…"}, 'x': {0, "X1 a b CIRCUIT"},
}

// readLibrary reads all cards.
func readLibrary(cards []card, f *faulty) *library {
	lib := &library{}
	var open *subckt
	ended := false
	for _, c := range cards {
		start := c.place(0)
		if ended {
			f.at(start, "a card behind .end")
			break
		}
		into := &lib.globals
		if open != nil {
			into = &open.body
		}
		if c.text[0] != '.' {
			if open == nil {
				f.at(start, "a part belongs between .subckt NAME in out gnd vcc and .ends; a title begins with *")
				continue
			}
			if e, ok := readElement(c, f); ok {
				into.elements = append(into.elements, e)
			}
			continue
		}
		list, ok := words(c, 0, f)
		if !ok {
			continue
		}
		switch list[0].text {
		case ".subckt":
			if open != nil {
				f.at(start, ".subckt within %s; put it before or behind", open.name)
				continue
			}
			if open = readSubckt(c, list[1:], f); open == nil {
				open = &subckt{at: start}
			}
			if slices.ContainsFunc(lib.subckts, func(s *subckt) bool { return s.name == open.name }) {
				f.at(open.at, "a second .subckt %s", open.name)
			}
			lib.subckts = append(lib.subckts, open)
		case ".ends":
			if open == nil {
				f.at(start, ".ends without .subckt")
			} else if len(list) > 1 && list[1].text != open.name {
				f.at(c.place(list[1].off), ".ends of %s within %s", clip(list[1].text), open.name)
			}
			open = nil
		case ".end":
			ended = true
		case ".param":
			into.params = append(into.params, readPairs(c, list[1:], f)...)
			if len(into.params) > maxParams {
				f.at(start, "more than %d parameters", maxParams)
			}
		case ".model":
			if m := readModel(c, list[1:], f); m != nil {
				if slices.ContainsFunc(into.models, func(o *model) bool { return o.name == m.name }) {
					f.at(m.at, "a second .model %s", m.name)
				}
				into.models = append(into.models, m)
				lib.note(m)
			}
		default:
			f.at(start, "the card %s is not read here; there are .subckt, .ends, .param, .model and .end", clip(list[0].text))
		}
	}
	if open != nil {
		f.at(open.at, ".subckt %s has no .ends", open.name)
	}
	return lib
}

// root is the circuit that is the pedal: the one that no other holds and that has both jacks.
func (l *library) root(f *faulty) *subckt {
	used := map[string]bool{}
	for _, s := range l.subckts {
		for _, e := range s.elements {
			if e.letter == 'x' {
				used[e.of] = true
			}
		}
	}
	var roots []*subckt
	for _, s := range l.subckts {
		jack := func(to string) bool {
			return slices.ContainsFunc(s.pins, func(p string) bool { return aliases[p] == to })
		}
		if !used[s.name] && (jack(In) || jack(Out)) {
			roots = append(roots, s)
		}
	}
	switch {
	case len(f.list) > 0:
	case len(l.subckts) == 0:
		f.at(place{1, 1}, "there is no .subckt; want .subckt NAME in out gnd vcc, the parts, and .ends")
	case len(roots) == 0:
		f.at(l.subckts[0].at, "no .subckt has the pins of a pedal and is no part of another; want .subckt NAME in out gnd vcc")
	case len(roots) > 1:
		f.at(roots[1].at, "%s is a second circuit with the pins of a pedal; a file has one", roots[1].name)
	default:
		return roots[0]
	}
	return nil
}

func readSubckt(c card, list []word, f *faulty) *subckt {
	if len(list) == 0 || list[0].brace || !nodeForm.MatchString(list[0].text) {
		f.at(c.place(0), "want .subckt NAME in out gnd vcc")
		return nil
	}
	s := &subckt{name: list[0].text, at: c.place(list[0].off)}
	k := 1
	for ; k < len(list) && list[k].text != "params:" && (k+1 == len(list) || list[k+1].text != "="); k++ {
		if list[k].brace || !nodeForm.MatchString(list[k].text) {
			f.at(c.place(list[k].off), "%q is no name of a pin (letters, digits, _ + # -)", clip(list[k].text))
			continue
		}
		s.pins, s.pinAt = append(s.pins, list[k].text), append(s.pinAt, c.place(list[k].off))
	}
	if k < len(list) && list[k].text == "params:" {
		k++
	}
	s.params = readPairs(c, list[k:], f)
	return s
}

// readPairs reads NAME=VALUE NAME=VALUE.
func readPairs(c card, list []word, f *faulty) (pairs []namedExpr) {
	for k := 0; k < len(list); k++ {
		if list[k].text == "," {
			continue
		}
		at := c.place(list[k].off)
		if list[k].brace || !nameForm.MatchString(list[k].text) {
			f.at(at, "%q where NAME=VALUE is wanted", clip(list[k].text))
			return pairs
		}
		if k+2 >= len(list) || list[k+1].text != "=" || list[k+1].brace {
			f.at(at, "%s has no value; want %[1]s=VALUE", clip(list[k].text))
			return pairs
		}
		e, ok := readValue(c, list[k+2], f)
		if ok {
			if slices.ContainsFunc(pairs, func(p namedExpr) bool { return p.name == list[k].text }) {
				f.at(at, "%s a second time", clip(list[k].text))
			}
			pairs = append(pairs, namedExpr{list[k].text, e, at})
		}
		k += 2
	}
	return pairs
}

// readValue reads a number, or an expression in braces.
func readValue(c card, w word, f *faulty) (*expr, bool) {
	at := c.place(w.off)
	if w.brace {
		e, err := parseExpr(c, w.off, w.off+len(w.text))
		if err != nil {
			f.at(err.(placed).at, "%v", err)
			return nil, false
		}
		if !e.constant() {
			f.at(at, "a voltage within a value; only B cards have one")
			return nil, false
		}
		return e, true
	}
	v, err := number(w.text)
	if err != nil {
		if nameForm.MatchString(w.text) {
			f.at(at, "%v; a parameter is written in braces: {%s}", err, clip(w.text))
		} else {
			f.at(at, "%v", err)
		}
		return nil, false
	}
	return &expr{op: "num", num: v, at: at}, true
}

func readElement(c card, f *faulty) (e element, ok bool) {
	e.letter, e.at = c.text[0], c.place(0)
	form, known := forms[e.letter]
	if !known {
		f.at(e.at, "no part begins with %s (there are R, C, L, V, I, E, G, F, D, Q, B and X)", strings.ToUpper(clip(c.text[:1])))
		return e, false
	}
	wrong := func(at place) (element, bool) {
		f.at(at, "want it like %s", form.like)
		return e, false
	}
	head := c
	if e.letter == 'b' { // what follows V= or I= is an expression
		if k := strings.IndexByte(c.text, '='); k >= 0 {
			head = card{c.text[:k], c.at[:k]}
		}
	}
	list, ok := words(head, 0, f)
	if !ok {
		return e, false
	}
	if e.name = list[0].text; !nodeForm.MatchString(e.name) || len(e.name) < 2 {
		f.at(e.at, "%q is no name of a part (letters, digits, _ + # -)", clip(e.name))
		return e, false
	}
	list = list[1:]
	if e.letter == 'x' {
		return readInstance(c, e, list, f)
	}
	for k := range form.nodes {
		if k == len(list) {
			return wrong(c.place(len(c.text)))
		}
		if list[k].brace || !nodeForm.MatchString(list[k].text) {
			f.at(c.place(list[k].off), "%q is no name of a node (letters, digits, _ + # -)", clip(list[k].text))
			return e, false
		}
		e.nodes = append(e.nodes, list[k].text)
	}
	if list = list[form.nodes:]; len(list) == 0 {
		return wrong(c.place(len(c.text)))
	}
	next := list[0]
	switch e.letter {
	case 'b':
		if len(list) > 1 || next.text != "v" && next.text != "i" || len(head.text) == len(c.text) {
			return wrong(c.place(next.off))
		}
		return e, readLaw(c, next.text, &e, f)
	case 'd', 'q':
		e.of, e.ofAt = next.text, c.place(next.off)
		list = list[1:]
	case 'v', 'i', 'f':
		if e.letter == 'f' {
			e.of, e.ofAt = next.text, c.place(next.off)
			list = list[1:]
		} else if next.text == "dc" {
			list = list[1:]
		}
		if len(list) == 0 {
			return wrong(c.place(len(c.text)))
		}
		fallthrough
	default:
		if e.value, ok = readValue(c, list[0], f); !ok {
			return e, false
		}
		list = list[1:]
	}
	if e.letter == 'r' && len(list) == 3 && list[0].text == "noisy" && list[1].text == "=" && list[2].text == "0" {
		e.cold, list = true, nil
	}
	if len(list) > 0 {
		f.at(c.place(list[0].off), "%q is not read here; want it like %s", clip(list[0].text), form.like)
		return e, false
	}
	return e, true
}

// readInstance reads the nodes, name and parameters of a circuit within a circuit.
func readInstance(c card, e element, list []word, f *faulty) (element, bool) {
	end := slices.IndexFunc(list, func(w word) bool { return w.text == "params:" || w.text == "=" })
	args := []word(nil)
	switch {
	case end < 0:
		end = len(list)
	case list[end].text == "=":
		end = max(end-1, 0)
		args = list[end:]
	default:
		args = list[end+1:]
	}
	if end < 1 {
		f.at(e.at, "want it like %s", forms['x'].like)
		return e, false
	}
	for _, w := range list[:end] {
		if w.brace || !nodeForm.MatchString(w.text) {
			f.at(c.place(w.off), "%q is no name of a node or circuit (letters, digits, _ + # -)", clip(w.text))
			return e, false
		}
		e.nodes = append(e.nodes, w.text)
	}
	e.of, e.ofAt = list[end-1].text, c.place(list[end-1].off)
	e.nodes = e.nodes[:end-1]
	e.args = readPairs(c, args, f)
	return e, true
}
