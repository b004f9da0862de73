package file

import (
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/board"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// reader walks one file and gathers its faults.
type reader struct {
	yamltext.Reader

	declared   []string            // names of blocks, as far as they could be read
	undeclared bool                // blocks could not be read at all: no name can be called unknown
	places     map[string]ast.Node // where each block is declared
	read       map[string]bool     // names of blocks whose kind is known
	used       map[string]bool     // names that some order holds, or seems to mean
	targets    []key[board.Chain]  // what a take may set

	cabinets []*board.Cabinet    // impulse responses that are named
	guitars  map[string]ast.Node // where each named guitar is declared
	supplies []board.Supply
	switcher string                // the name of the block that is one; "" for none
	loops    []board.Loop          // its loops
	presets  []string              // names of presets
	presetAt []map[string]ast.Node // where each preset has its keys
	takes    []readTake
	powerAt  map[string]ast.Node         // where each block says what it is plugged into
	setAt    map[*board.Setting]ast.Node // where each setting of a take or a preset is
}

// readTake is where the file has a take.
type readTake struct {
	node ast.Node
	keys map[string]ast.Node
}

// key is one key of a map in the file: it reads its value and describes it to editors. The tables
// of keys are the one truth behind the parser, its hints, the targets of a take's set and the
// schema.
type key[T any] struct {
	name   string
	brief  string
	must   bool
	schema object // JSON Schema of the value

	// read checks a value and returns what it changes, or nil after a fault. path names the value
	// in messages.
	read func(r *reader, path string, n ast.Node) func(*T)
}

// readMap reads a map by its table of keys into v, in the order of the table. It returns the places
// of the keys that are there, or that a misspelt one seems to mean; nil when n is no map.
func readMap[T any](r *reader, path string, n ast.Node, like string, keys []key[T], v *T) map[string]ast.Node {
	pairs, ok := r.Pairs(path, n, like)
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
			r.At(p.Key, "a comma ends a value here; a number takes a decimal point: 4.7")
		case r.ran(p, names, func(key string) { seen[key] = p.Key }):
		case strings.HasPrefix(path, "presets.") && slices.Contains(r.declared, name):
			r.pedalInPreset(p.Key, name)
		default:
			near := meant(name, names)
			seen[near] = p.Key
			r.Unknown(p.Key, inPath("no key %q", path), name, near, "keys", names)
		}
	}
	for _, k := range keys {
		p := given[k.name]
		if p == nil {
			if k.must && seen[k.name] == nil {
				r.At(n, "%s is missing: %s", yamltext.Join(path, k.name), k.brief)
			}
			continue
		}
		if set := k.read(r, yamltext.Join(path, k.name), p.Value); set != nil {
			set(v)
		}
		seen[k.name] = p.Key
	}
	return seen
}

// ran faults a key that has no colon, or none of its own, and tells which it is.
func (r *reader) ran(p *ast.MappingValueNode, names []string, seen func(key string)) bool {
	if p.Value != nil && p.Value.Type() != ast.NullType {
		return false
	}
	key, sign, value, ok := run(p.Key.GetToken().Value, names)
	if !ok {
		return false
	}
	seen(key)
	value = yamltext.Clipped(value, 60)
	switch sign {
	case "=":
		r.At(p.Key, "want a colon, not =: %s: %s", key, value)
	case ":":
		r.At(p.Key, "a space is missing behind the colon: %s: %s", key, value)
	default:
		r.At(p.Key, "a colon is missing: %s: %s", key, value)
	}
	return true
}

// nextKey is a key that a value has swallowed, as in 5 tone: 6.
var nextKey = regexp.MustCompile(`\s([a-z_]+):(\s|$)`)

// quantity is a number with its unit, inside its range.
func (r *reader) quantity(path string, n ast.Node, unit dsp.Unit, low, high float64) (float64, bool) {
	text, ok := r.Scalar(path, n, unit.Means()+" like "+unit.Examples()[0])
	if !ok {
		return 0, false
	}
	v, err := dsp.ParseQuantity(text, unit)
	if next := nextKey.FindStringSubmatch(text); err != nil && next != nil {
		r.At(n, "%s: a comma is missing in front of %s", path, next[1])
		return 0, false
	}
	if err != nil {
		r.At(n, "%s: %v", path, err)
		return 0, false
	}
	return v, r.within(path, n, text, v, unit, low, high)
}

func (r *reader) within(path string, n ast.Node, text string, v float64, unit dsp.Unit, low, high float64) bool {
	if v >= low && v <= high {
		return true
	}
	r.At(n, "%s: %s is out of range; it goes from %s to %s", path, strings.TrimSpace(text), dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit))
	return false
}

// inPath adds where to a message, unless that is the file itself.
func inPath(format, path string) string {
	if path == "" {
		return format
	}
	return format + " in " + strings.ReplaceAll(path, "%", "%%")
}

// quantityKey is a key whose value is a quantity. initial is the value where the key is missing, as
// text.
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
			w, ok := r.Choice(path, n, words)
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
			s, ok := r.Line(path, n, want)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, s) }
		},
	}
}
