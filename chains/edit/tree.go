package edit

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/internal/yamltext"
)

// A document is the text of a chain file with the places, in bytes, of all that it says. The YAML
// parser says what there is, one after the other; where it is comes from the text itself, since the
// parser's columns are wrong behind blanks at the end of a line, for one. Each value is matched
// with the text, so that a splice cannot hit another place than the one that was meant.
type document struct {
	src   []byte
	lines []int // where each line begins
	root  *part
}

// part is a value: a map, a list or a scalar.
type part struct {
	form form
	// from its first byte to behind its last one; no comment and no blank behind it
	from, to int
	text     string  // of a scalar, without its quotes
	entries  []entry // of a map or a list
}

type form int

const (
	scalarPart form = iota
	flowMap         // {a: 1}
	flowList        // [a, b]
	blockMap        // a: 1, each key in a line of its own
	blockList       // - a, each entry in lines of its own
)

func (s form) flow() bool { return s == flowMap || s == flowList }

// entry is an entry of a list, or a key with its value.
type entry struct {
	from  int   // its key, its dash, or in a flow list its value
	key   *part // nil in a list
	value *part
}

func (e entry) to() int { return e.value.to }

var errLayout = errors.New("the file is laid out in a way that cannot be edited here; edit it by hand")

// newDocument needs a text that Parse takes.
func newDocument(src []byte) (d *document, err error) {
	defer func() {
		if recover() != nil { // the YAML parser's panics
			d, err = nil, errLayout
		}
	}()
	r := yamltext.NewReader("")
	body := r.Guard(src)
	if body == nil {
		return nil, r.Report()
	}
	d = &document{src: src, lines: lineStarts(src)}
	at := d.lines[0]
	at, _ = d.skip(at)
	if strings.HasPrefix(string(src[at:]), "---") {
		at += len("---")
	}
	d.root, err = d.part(body, at, -1)
	return d, err
}

// lineStarts is where lines begin, as Parse counts them: behind every \n, \r\n or \r, and the first
// one behind a byte order mark.
func lineStarts(src []byte) []int {
	at := 0
	if strings.HasPrefix(string(src), "\ufeff") {
		at = len("\ufeff")
	}
	lines := []int{at}
	for ; at < len(src); at++ {
		if src[at] == '\n' || src[at] == '\r' && (at+1 == len(src) || src[at+1] != '\n') {
			lines = append(lines, at+1)
		}
	}
	return lines
}

func isBreak(c byte) bool { return c == '\n' || c == '\r' }

// lineOf is the number, from 0, of the line that holds a byte.
func (d *document) TakeText(at int) int {
	n, found := slices.BinarySearch(d.lines, at)
	if !found {
		n--
	}
	return max(n, 0)
}

// lineStart is where the line of a byte begins.
func (d *document) lineStart(at int) int { return d.lines[d.TakeText(at)] }

// lineEnd is where the line of a byte ends, before what breaks it.
func (d *document) lineEnd(at int) int {
	for at < len(d.src) && !isBreak(d.src[at]) {
		at++
	}
	return at
}

// next is where the line after that of a byte begins, or the end of the text.
func (d *document) next(at int) int {
	if n := d.TakeText(at) + 1; n < len(d.lines) {
		return d.lines[n]
	}
	return len(d.src)
}

// indent is the number of characters before a byte in its line.
func (d *document) indent(at int) int {
	return utf8.RuneCount(d.src[d.lineStart(at):at])
}

// leads reports whether nothing but blanks is before a byte in its line.
func (d *document) leads(at int) bool {
	return strings.Trim(string(d.src[d.lineStart(at):at]), " \t") == ""
}

// eol is how the text breaks lines.
func (d *document) eol() string {
	for at, c := range d.src {
		switch {
		case c == '\n':
			return "\n"
		case c == '\r' && at+1 < len(d.src) && d.src[at+1] == '\n':
			return "\r\n"
		case c == '\r':
			return "\r"
		}
	}
	return "\n"
}

// part finds the places of a value that comes next after a byte. parent is the column, from 0, of
// the key or dash that it is behind: what a literal text is indented by more than.
func (d *document) part(n ast.Node, after, parent int) (*part, error) {
	at, _ := d.skip(after)
	switch n := n.(type) {
	case *ast.MappingNode:
		if n.IsFlowStyle {
			return d.flow(flowMap, at, n.Values, nil)
		}
		return d.blockMap(n.Values, at)
	case *ast.MappingValueNode:
		return d.blockMap([]*ast.MappingValueNode{n}, at)
	case *ast.SequenceNode:
		if n.IsFlowStyle {
			return d.flow(flowList, at, nil, n.Values)
		}
		return d.blockList(n.Values, at)
	case *ast.LiteralNode:
		return d.literal(n, at, parent)
	case ast.ScalarNode:
		return d.scalar(n, at)
	}
	return nil, errLayout
}

func (d *document) flow(f form, from int, pairs []*ast.MappingValueNode, values []ast.Node) (*part, error) {
	open, end := byte('['), byte(']')
	if f == flowMap {
		open, end = '{', '}'
	}
	p := &part{form: f, from: from}
	if !d.has(from, open) {
		return nil, errLayout
	}
	at := from + 1
	next := func() (int, error) {
		to, comma := d.skip(at)
		if comma != (len(p.entries) > 0) {
			return 0, errLayout
		}
		return to, nil
	}
	for _, pair := range pairs {
		from, err := next()
		if err != nil {
			return nil, err
		}
		e, err := d.pair(pair, from)
		if err != nil {
			return nil, err
		}
		p.entries = append(p.entries, e)
		at = e.to()
	}
	for _, v := range values {
		from, err := next()
		if err != nil {
			return nil, err
		}
		value, err := d.part(v, from, -1)
		if err != nil {
			return nil, err
		}
		p.entries = append(p.entries, entry{from: value.from, value: value})
		at = value.to
	}
	at, _ = d.skip(at)
	if !d.has(at, end) {
		return nil, errLayout
	}
	p.to = at + 1
	return p, nil
}

func (d *document) has(at int, c byte) bool { return at < len(d.src) && d.src[at] == c }

// skip goes over blanks, line breaks, comments and at most one comma.
func (d *document) skip(at int) (end int, comma bool) {
	for ; at < len(d.src); at++ {
		switch c := d.src[at]; {
		case c == ' ' || c == '\t' || isBreak(c):
		case c == '#':
			at = d.lineEnd(at) - 1
		case c == ',' && !comma:
			comma = true
		default:
			return at, comma
		}
	}
	return at, comma
}

func (d *document) pair(n *ast.MappingValueNode, from int) (entry, error) {
	k, ok := n.Key.(ast.ScalarNode)
	if !ok {
		return entry{}, errLayout
	}
	key, err := d.scalar(k, from)
	if err != nil {
		return entry{}, err
	}
	colon, _ := d.skip(key.to)
	if !d.has(colon, ':') {
		return entry{}, errLayout
	}
	value, err := d.part(n.Value, colon+1, d.indent(from))
	return entry{from: from, key: key, value: value}, err
}

func (d *document) blockMap(pairs []*ast.MappingValueNode, from int) (*part, error) {
	p := &part{form: blockMap, from: from}
	for _, pair := range pairs {
		e, err := d.pair(pair, from)
		if err != nil {
			return nil, err
		}
		p.entries = append(p.entries, e)
		p.to = e.to()
		from, _ = d.skip(p.to)
	}
	if len(p.entries) == 0 {
		return nil, errLayout
	}
	return p, nil
}

func (d *document) blockList(values []ast.Node, from int) (*part, error) {
	p := &part{form: blockList, from: from}
	for _, v := range values {
		if !d.has(from, '-') {
			return nil, errLayout
		}
		value, err := d.part(v, from+1, d.indent(from))
		if err != nil {
			return nil, err
		}
		p.entries = append(p.entries, entry{from: from, value: value})
		p.to = value.to
		from, _ = d.skip(p.to)
	}
	if len(p.entries) == 0 {
		return nil, errLayout
	}
	return p, nil
}

// literal is a text behind | or >: all lines that are indented by more than its key.
func (d *document) literal(n *ast.LiteralNode, from, parent int) (*part, error) {
	if !d.has(from, '|') && !d.has(from, '>') {
		return nil, errLayout
	}
	p := &part{form: scalarPart, from: from, to: d.lineEnd(from), text: n.Value.Value}
	for k := d.TakeText(from) + 1; k < len(d.lines); k++ {
		line := string(d.src[d.lines[k]:d.lineEnd(d.lines[k])])
		text := strings.TrimLeft(line, " \t")
		if text == "" {
			continue
		}
		if len(line)-len(text) <= parent {
			break
		}
		p.to = d.lines[k] + len(line)
	}
	return p, nil
}

// scalar is a word, a number or a quoted text.
func (d *document) scalar(n ast.ScalarNode, from int) (*part, error) {
	t := n.GetToken()
	p := &part{from: from, text: t.Value}
	if d.has(from, '"') || d.has(from, '\'') {
		p.to = d.quoted(from)
	} else {
		p.to = d.plain(from, t.Value)
	}
	if p.to <= from {
		return nil, errLayout
	}
	return p, nil
}

// quoted is where the quotes that begin at a byte end; 0 where they do not.
func (d *document) quoted(from int) int {
	quote := d.src[from]
	for at := from + 1; at < len(d.src); at++ {
		switch {
		case quote == '"' && d.src[at] == '\\':
			at++
		case d.src[at] == quote && quote == '\'' && d.has(at+1, quote):
			at++
		case d.src[at] == quote:
			return at + 1
		}
	}
	return 0
}

// plain is where a text without quotes ends; 0 where the text is another one. It may go on in the
// next line, which makes a blank of the line break.
func (d *document) plain(from int, text string) int {
	at := from
	for _, c := range text {
		if unicode.IsSpace(c) {
			continue
		}
		for at < len(d.src) && (d.src[at] == ' ' || d.src[at] == '\t' || isBreak(d.src[at])) {
			at++
		}
		got, size := utf8.DecodeRune(d.src[at:])
		if got != c {
			return 0
		}
		at += size
	}
	return at
}

// find goes from the file down: by keys in maps, by numbers in lists. nil where there is no such
// thing.
func (d *document) find(path ...any) *part {
	p := d.root
	for _, step := range path {
		k := -1
		switch step := step.(type) {
		case string:
			k = p.index(step)
		case int:
			k = step
		}
		if k < 0 || k >= len(p.entries) {
			return nil
		}
		p = p.entries[k].value
	}
	return p
}

// index is the number of a key in a map, or -1.
func (p *part) index(key string) int {
	return slices.IndexFunc(p.entries, func(e entry) bool { return e.key != nil && e.key.text == key })
}

// splice puts text in the place of some bytes, and finds all places anew.
func (d *document) splice(from, to int, text string) error {
	src := slices.Concat(d.src[:from], []byte(text), d.src[to:])
	if len(src) > yamltext.MaxSize {
		return fmt.Errorf("the file would have %d kB; a chain file has at most %d kB", (len(src)+1023)>>10, yamltext.MaxSize>>10)
	}
	again, err := newDocument(src)
	if err != nil {
		return errLayout
	}
	*d = *again
	return nil
}
