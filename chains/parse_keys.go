package chains

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"

	"drywire/dsp"
)

// reader walks one file and gathers its faults.
type reader struct {
	yamlReader

	declared   []string            // names of blocks, as far as they could be read
	undeclared bool                // blocks could not be read at all: no name can be called unknown
	places     map[string]ast.Node // where each block is declared
	read       map[string]bool     // names of blocks whose kind is known
	used       map[string]bool     // names that some order holds, or seems to mean
	targets    []key[Chain]        // what a take may set

	cabinets []*Cabinet          // impulse responses that are named
	guitars  map[string]ast.Node // where each named guitar is declared
	supplies []Supply
	switcher string   // the name of the block that is one; "" for none
	loops    []Loop   // its loops
	presets  []string // names of presets
	takes    []readTake
	setAt    map[*Setting]ast.Node // where each setting of a take or a preset is
}

// readTake is where the file has a take.
type readTake struct {
	node ast.Node
	keys map[string]ast.Node
}

// key is one key of a map in the file: it reads its value and describes it to editors. The tables of keys
// are the one truth behind the parser, its hints, the targets of a take's set and the schema.
type key[T any] struct {
	name   string
	brief  string
	must   bool
	schema object // JSON Schema of the value

	// read checks a value and returns what it changes, or nil after a fault. path names the value in messages.
	read func(r *reader, path string, n ast.Node) func(*T)
}

// readMap reads a map by its table of keys into v, in the order of the table. It returns the places of the keys
// that are there, or that a misspelt one seems to mean; nil when n is no map.
func readMap[T any](r *reader, path string, n ast.Node, like string, keys []key[T], v *T) map[string]ast.Node {
	pairs, ok := r.pairs(path, n, like)
	if !ok {
		return nil
	}
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = k.name
	}
	given := map[string]*ast.MappingValueNode{}
	seen := map[string]ast.Node{}
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		switch {
		case slices.Contains(names, name):
			given[name] = p
		case name != "" && name[0] >= '0' && name[0] <= '9' && p.Value != nil && p.Value.Type() == ast.NullType:
			r.at(p.Key, "a comma ends a value here; a number takes a decimal point: 4.7")
		default:
			near := nearest(name, names)
			seen[near] = p.Key
			r.unknown(p.Key, in("no key %q", path), name, near, "keys", names)
		}
	}
	for _, k := range keys {
		p := given[k.name]
		if p == nil {
			if k.must && seen[k.name] == nil {
				r.at(n, "%s is missing: %s", join(path, k.name), k.brief)
			}
			continue
		}
		if set := k.read(r, join(path, k.name), p.Value); set != nil {
			set(v)
		}
		seen[k.name] = p.Key
	}
	return seen
}

// pairs are the entries of a map, without those whose key was there before.
func (r *yamlReader) pairs(path string, n ast.Node, like string) ([]*ast.MappingValueNode, bool) {
	var all []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		all = n.Values
	case *ast.MappingValueNode:
		all = []*ast.MappingValueNode{n}
	default:
		r.wrong(path, n, "keys with values, like "+like)
		return nil, false
	}
	first := map[string]int{}
	var pairs []*ast.MappingValueNode
	for _, p := range all {
		if _, ok := p.Key.(ast.ScalarNode); !ok || p.Key.Type() == ast.NullType {
			r.at(p.Key, "a key must be a word")
			continue
		}
		t := p.Key.GetToken()
		if line, ok := first[t.Value]; ok {
			r.at(p.Key, "%s is here twice; it was in line %d before", join(path, t.Value), line)
			continue
		}
		first[t.Value] = t.Position.Line
		pairs = append(pairs, p)
	}
	return pairs, true
}

// list is the entries of a list.
func (r *yamlReader) list(path string, n ast.Node, like string) ([]ast.Node, bool) {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		r.wrong(path, n, "a list "+like)
		return nil, false
	}
	return s.Values, true
}

// scalar is the text of a value as written, without its quotes.
func (r *yamlReader) scalar(path string, n ast.Node, want string) (string, bool) {
	switch n := n.(type) {
	case *ast.LiteralNode:
		return n.Value.Value, true
	case *ast.NullNode, nil:
	case ast.ScalarNode:
		return n.GetToken().Value, true
	}
	r.wrong(path, n, want)
	return "", false
}

// line is a text of one line, and not empty.
func (r *yamlReader) line(path string, n ast.Node, want string) (string, bool) {
	s, ok := r.scalar(path, n, want)
	if !ok {
		return "", false
	}
	s = strings.TrimSpace(s)
	switch {
	case s == "":
		r.at(n, "%s is empty; want %s", path, want)
	case utf8.RuneCountInString(s) > 200:
		r.at(n, "%s is longer than 200 characters", path)
	case strings.ContainsFunc(s, func(c rune) bool { return c < ' ' || c >= '\u007f' && c <= '\u009f' }):
		r.at(n, "%s has a line break or a control character in it", path)
	default:
		return s, true
	}
	return "", false
}

// quantity is a number with its unit, inside its range.
func (r *reader) quantity(path string, n ast.Node, unit dsp.Unit, low, high float64) (float64, bool) {
	text, ok := r.scalar(path, n, unit.Means()+" like "+unit.Examples()[0])
	if !ok {
		return 0, false
	}
	v, err := dsp.ParseQuantity(text, unit)
	if err != nil {
		r.at(n, "%s: %v", path, err)
		return 0, false
	}
	return v, r.within(path, n, text, v, unit, low, high)
}

func (r *reader) within(path string, n ast.Node, text string, v float64, unit dsp.Unit, low, high float64) bool {
	if v >= low && v <= high {
		return true
	}
	r.at(n, "%s: %s is out of range; it goes from %s to %s", path, strings.TrimSpace(text), dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit))
	return false
}

// choice is one of some words.
func (r *yamlReader) choice(path string, n ast.Node, words []string) (string, bool) {
	s, ok := r.scalar(path, n, "one of: "+strings.Join(words, ", "))
	if !ok {
		return "", false
	}
	if !slices.Contains(words, s) {
		r.unknown(n, path+": no %q", s, nearest(s, words), "words", words)
		return "", false
	}
	return s, true
}

// unknown is the fault of a word that is none of those allowed. format has one verb, for the word.
func (r *yamlReader) unknown(n ast.Node, format, word, near, plural string, allowed []string) {
	text := fmt.Sprintf(format, clipped(word, 60))
	if near != "" {
		text += fmt.Sprintf("; did you mean %q?", near)
	}
	if len(allowed) > 0 && len(allowed) <= 40 {
		text += fmt.Sprintf(" (%s: %s)", plural, strings.Join(allowed, ", "))
	}
	r.at(n, "%s", text)
}

// wrong is the fault of a value of the wrong sort.
func (r *yamlReader) wrong(path string, n ast.Node, want string) {
	found := "a value of another sort"
	switch n := n.(type) {
	case nil, *ast.NullNode:
		found = "empty"
	case *ast.MappingNode, *ast.MappingValueNode:
		found = "keys with values"
	case *ast.SequenceNode:
		found = "a list"
	case *ast.LiteralNode:
		found = "text"
	case ast.ScalarNode:
		found = fmt.Sprintf("%q", clipped(n.GetToken().Value, 60))
	}
	if path == "" {
		path = "the file"
	}
	r.at(n, "%s is %s; want %s", path, found, want)
}

// at notes a fault at a node.
func (r *yamlReader) at(n ast.Node, format string, args ...any) {
	line, column := start(n)
	r.fault(line, column, format, args...)
}

// start is the place of a node's first character.
func start(n ast.Node) (line, column int) {
	switch m := n.(type) {
	case nil:
		return 1, 1
	case *ast.MappingNode:
		if !m.IsFlowStyle && len(m.Values) > 0 {
			return start(m.Values[0])
		}
	case *ast.MappingValueNode:
		return start(m.Key)
	}
	t := n.GetToken()
	if t == nil || t.Position == nil {
		return 1, 1
	}
	return t.Position.Line, t.Position.Column
}

// join is the path of a key in messages.
func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// in adds where to a message, unless that is the file itself.
func in(format, path string) string {
	if path == "" {
		return format
	}
	return format + " in " + strings.ReplaceAll(path, "%", "%%")
}

// quantityKey is a key whose value is a quantity. initial is the value where the key is missing, as text.
func quantityKey[T any](name, brief string, unit dsp.Unit, low, high float64, initial string, set func(*T, float64)) key[T] {
	return key[T]{
		name: name, brief: brief, schema: quantitySchema(brief, unit, low, high, initial),
		read: func(r *reader, path string, n ast.Node) func(*T) {
			if r.held(path, n, "it is no knob that one turns while playing") {
				return nil
			}
			v, ok := r.quantity(path, n, unit, low, high)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, v) }
		},
	}
}

// choiceKey is a key whose value is one of some words.
func choiceKey[T any](name, brief string, words []string, initial string, set func(*T, string)) key[T] {
	return key[T]{
		name: name, brief: brief, schema: choiceSchema(brief, words, initial),
		read: func(r *reader, path string, n ast.Node) func(*T) {
			if r.held(path, n, "it has positions, and nothing between them") {
				return nil
			}
			w, ok := r.choice(path, n, words)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, w) }
		},
	}
}

// lineKey is a key whose value is a line of text.
func lineKey[T any](name, brief, want string, must bool, set func(*T, string)) key[T] {
	return key[T]{
		name: name, brief: brief, must: must, schema: lineSchema(brief),
		read: func(r *reader, path string, n ast.Node) func(*T) {
			s, ok := r.line(path, n, want)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, s) }
		},
	}
}
