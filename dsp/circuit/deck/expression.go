package deck

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// expr is an expression as a tree. Its op is "num", "name", "v" (a voltage, of one or two nodes),
// an operator or the name of a function.
type expr struct {
	op   string
	num  float64
	name string   // of a parameter
	node []string // of a voltage
	args []*expr
	at   place
}

// functions are those that an expression may have, with how many arguments they take.
var functions = map[string]struct {
	args int
	f    func(x []float64) float64
}{
	"sqrt": {1, func(x []float64) float64 { return math.Sqrt(x[0]) }},
	"exp":  {1, func(x []float64) float64 { return math.Exp(x[0]) }},
	"ln":   {1, func(x []float64) float64 { return math.Log(x[0]) }},
	"log":  {1, func(x []float64) float64 { return math.Log(x[0]) }},
	"abs":  {1, func(x []float64) float64 { return math.Abs(x[0]) }},
	"tanh": {1, func(x []float64) float64 { return math.Tanh(x[0]) }},
	"min":  {2, func(x []float64) float64 { return math.Min(x[0], x[1]) }},
	"max":  {2, func(x []float64) float64 { return math.Max(x[0], x[1]) }},
	"pow":  {2, func(x []float64) float64 { return math.Pow(x[0], x[1]) }},
	"+":    {2, func(x []float64) float64 { return x[0] + x[1] }},
	"-":    {2, func(x []float64) float64 { return x[0] - x[1] }},
	"*":    {2, func(x []float64) float64 { return x[0] * x[1] }},
	"/":    {2, func(x []float64) float64 { return x[0] / x[1] }},
	"neg":  {1, func(x []float64) float64 { return -x[0] }},
}

// constant reports whether no voltage is in the expression.
func (e *expr) constant() bool {
	if e.op == "v" {
		return false
	}
	for _, a := range e.args {
		if !a.constant() {
			return false
		}
	}
	return true
}

// value works a constant expression out; of gives the values of parameters.
func (e *expr) value(of func(name string, at place) (float64, error)) (float64, error) {
	switch e.op {
	case "num":
		return e.num, nil
	case "name":
		return of(e.name, e.at)
	}
	var x [2]float64
	for k, a := range e.args {
		var err error
		if x[k], err = a.value(of); err != nil {
			return 0, err
		}
	}
	y := functions[e.op].f(x[:len(e.args)])
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return 0, placed{e.at, fmt.Sprintf("%s gives no number here", e.called())}
	}
	return y, nil
}

func (e *expr) called() string {
	if e.op == "neg" {
		return "-"
	}
	return e.op
}

// placed is an error with its place.
type placed struct {
	at   place
	text string
}

func (p placed) Error() string { return p.text }

const maxDepth = 40 // brackets and functions within each other

// parser reads an expression that ends at an offset of a card.
type parser struct {
	card  card
	off   int
	end   int
	depth int
}

// parseExpr reads what lies between two offsets of a card as one expression.
func parseExpr(c card, from, to int) (*expr, error) {
	p := &parser{card: c, off: from, end: to}
	e, err := p.sum()
	if err != nil {
		return nil, err
	}
	if p.skip(); p.off < p.end {
		return nil, p.fault("%q does not belong here", clip(p.card.text[p.off:p.end]))
	}
	return e, nil
}

func (p *parser) fault(format string, args ...any) error {
	return placed{p.card.place(p.off), fmt.Sprintf(format, args...)}
}

func (p *parser) skip() {
	for p.off < p.end && p.card.text[p.off] == ' ' {
		p.off++
	}
}

// peek is the next sign, 0 at the end.
func (p *parser) peek() byte {
	if p.skip(); p.off < p.end {
		return p.card.text[p.off]
	}
	return 0
}

func (p *parser) sum() (*expr, error) { return p.row("+-", p.product) }

func (p *parser) product() (*expr, error) { return p.row("*/", p.unary) }

// row is operands with operators of one rank between them, from left to right.
func (p *parser) row(signs string, operand func() (*expr, error)) (*expr, error) {
	e, err := operand()
	for err == nil && p.peek() != 0 && strings.IndexByte(signs, p.peek()) >= 0 {
		if strings.HasPrefix(p.card.text[p.off:p.end], "**") {
			return nil, p.fault("write pow(a, b) for a power")
		}
		sign := &expr{op: string(p.peek()), at: p.card.place(p.off)}
		p.off++
		var right *expr
		if right, err = operand(); err == nil {
			sign.args = []*expr{e, right}
			e = sign
		}
	}
	return e, err
}

func (p *parser) unary() (*expr, error) {
	if p.depth++; p.depth > maxDepth {
		return nil, p.fault("more than %d brackets within each other", maxDepth)
	}
	defer func() { p.depth-- }()
	switch sign := p.peek(); sign {
	case '-', '+':
		at := p.card.place(p.off)
		p.off++
		e, err := p.unary()
		if err != nil || sign == '+' {
			return e, err
		}
		return &expr{op: "neg", args: []*expr{e}, at: at}, nil
	}
	return p.atom()
}

func (p *parser) atom() (*expr, error) {
	var at place
	switch x := p.peek(); {
	case x == 0:
		return nil, p.fault("the expression ends where a number or a name is wanted")
	case x == '(' || x == '{':
		at = p.card.place(p.off)
		p.off++
		e, err := p.sum()
		if err != nil {
			return nil, err
		}
		if closing := map[byte]byte{'(': ')', '{': '}'}[x]; p.peek() != closing {
			return nil, placed{at, fmt.Sprintf("what begins with %c has no %c", x, closing)}
		}
		p.off++
		return e, nil
	case x >= '0' && x <= '9' || x == '.':
		at = p.card.place(p.off)
		from := p.off
		for p.off < p.end && (isName(p.card.text[p.off]) || p.card.text[p.off] == '.' || strings.IndexByte("+-", p.card.text[p.off]) >= 0 && exponentEnds(p.card.text[from:p.off])) {
			p.off++
		}
		v, err := number(p.card.text[from:p.off])
		if err != nil {
			return nil, placed{at, err.Error()}
		}
		return &expr{op: "num", num: v, at: at}, nil
	case isName(x):
		at = p.card.place(p.off)
		from := p.off
		for p.off < p.end && isName(p.card.text[p.off]) {
			p.off++
		}
		name := p.card.text[from:p.off]
		if p.peek() != '(' {
			return &expr{op: "name", name: name, at: at}, nil
		}
		return p.call(name, at)
	}
	if strings.HasPrefix(p.card.text[p.off:p.end], "**") || p.peek() == '^' {
		return nil, p.fault("write pow(a, b) for a power")
	}
	return nil, p.fault("%q where a number or a name is wanted", string(p.card.text[p.off]))
}

// call is a function's arguments, or the nodes of a voltage.
func (p *parser) call(name string, at place) (*expr, error) {
	p.off++ // the bracket
	if name == "v" {
		end := strings.IndexByte(p.card.text[p.off:p.end], ')')
		if end < 0 {
			return nil, placed{at, "v( has no )"}
		}
		e := &expr{op: "v", at: at}
		for _, n := range strings.Split(p.card.text[p.off:p.off+end], ",") {
			e.node = append(e.node, strings.TrimSpace(n))
		}
		if p.off += end + 1; len(e.node) > 2 {
			return nil, placed{at, "v() is of one node, or between two"}
		}
		return e, nil
	}
	f, ok := functions[name]
	if !ok || strings.Contains("+-*/", name) || name == "neg" {
		return nil, placed{at, fmt.Sprintf("no function %q (there are abs, exp, ln, log, max, min, pow, sqrt and tanh)", clip(name))}
	}
	e := &expr{op: name, at: at}
	for {
		a, err := p.sum()
		if err != nil {
			return nil, err
		}
		e.args = append(e.args, a)
		if p.peek() != ',' {
			break
		}
		p.off++
	}
	if p.peek() != ')' {
		return nil, placed{at, fmt.Sprintf("%s( has no )", name)}
	}
	if p.off++; len(e.args) != f.args {
		return nil, placed{at, fmt.Sprintf("%s takes %d, and has %d", name, f.args, len(e.args))}
	}
	return e, nil
}

func isName(x byte) bool { return x >= 'a' && x <= 'z' || x >= '0' && x <= '9' || x == '_' }

// exponentEnds reports whether what was read of a number ends in the e of its exponent.
func exponentEnds(text string) bool {
	mantissa, ok := strings.CutSuffix(text, "e")
	return ok && mantissa != "" && strings.Trim(mantissa, "0123456789.") == ""
}

// suffixes are the scale factors of decks; letters that follow are a unit and count nothing. Source:
// the input format of SPICE (UCB/ERL M520, 1975, appendix A).
var suffixes = []struct {
	text  string
	power int
}{{"meg", 6}, {"mil", 0}, {"t", 12}, {"g", 9}, {"k", 3}, {"m", -3}, {"u", -6}, {"n", -9}, {"p", -12}, {"f", -15}}

// number reads a number of a deck, such as 4.7k, 22nf, 1meg or 1e-9.
func number(text string) (float64, error) {
	end := 0
	for end < len(text) && (text[end] >= '0' && text[end] <= '9' || text[end] == '.' || end == 0 && (text[0] == '-' || text[0] == '+')) {
		end++
	}
	mantissa, power := text[:end], 0
	if rest := text[end:]; len(rest) > 1 && rest[0] == 'e' {
		k := 1
		if rest[1] == '-' || rest[1] == '+' {
			k++
		}
		digits := k
		for k < len(rest) && rest[k] >= '0' && rest[k] <= '9' {
			k++
		}
		if k > digits {
			power, _ = strconv.Atoi(rest[1:k])
			end += k
		}
	}
	unit := text[end:]
	if strings.Trim(unit, "abcdefghijklmnopqrstuvwxyz") != "" {
		return 0, fmt.Errorf("%q is no number", clip(text))
	}
	for _, s := range suffixes {
		if strings.HasPrefix(unit, s.text) {
			if s.text == "mil" {
				return 0, fmt.Errorf("%q: mil is a length of 25.4 µm; write m for milli, meg for a million", clip(text))
			}
			power += s.power
			break
		}
	}
	v, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(power), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number", clip(text))
	}
	return v, nil
}
