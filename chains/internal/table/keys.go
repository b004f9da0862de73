// Package table reads a map of a chain file by a table of keys, each of which reads its own value
// and describes it in JSON Schema, so that what is read and what editors are told cannot part. It
// is there, apart from package file, because it knows no guitar and no block: only maps,
// quantities, words, lines, and values over time.
//
// Start reading at Key, then at Read.
package table

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// Reader is what the keys of one kind of file read by: the text with its faults, and whatever else
// that file's own keys have to know of each other.
type Reader interface {
	Text() *yamltext.Reader

	// Astray faults a key that belongs elsewhere in the file, and reports whether it did. path is
	// that of the map in which the key stands.
	Astray(path string, key ast.Node) bool
}

// Key is one key of a map in the file: it reads its value into a T and describes it to editors. The
// tables of keys are the one truth behind the parser, its hints, the targets of a take's set and
// the schema.
type Key[R Reader, T any] struct {
	Name   string
	Brief  string
	Must   bool
	Schema Object // JSON Schema of the value

	// Read checks a value and returns what it changes, or nil after a fault. path names the value
	// in messages.
	Read func(r R, path string, n ast.Node) func(*T)
}

// Read reads a map by its table of keys into v, in the order of the table. It returns the places
// of the keys that are there, or that a misspelt one seems to mean; nil when n is no map.
func Read[R Reader, T any](r R, path string, n ast.Node, like string, keys []Key[R, T], v *T) map[string]ast.Node {
	pairs, ok := r.Text().Pairs(path, n, like)
	if !ok {
		return nil
	}
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = k.Name
	}
	given := map[string]*ast.MappingValueNode{}
	seen := map[string]ast.Node{}
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		switch {
		case slices.Contains(names, name):
			given[name] = p
		case name != "" && name[0] >= '0' && name[0] <= '9' && p.Value != nil && p.Value.Type() == ast.NullType:
			r.Text().At(p.Key, "a comma ends a value here; a number takes a decimal point: 4.7")
		case r.Text().Ran(p, names, func(key string) { seen[key] = p.Key }):
		case r.Astray(path, p.Key):
		default:
			near := yamltext.Meant(name, names)
			seen[near] = p.Key
			r.Text().Unknown(p.Key, inPath("no key %q", path), name, near, "keys", names)
		}
	}
	for _, k := range keys {
		p := given[k.Name]
		if p == nil {
			if k.Must && seen[k.Name] == nil {
				r.Text().At(n, "%s is missing: %s", yamltext.Join(path, k.Name), k.Brief)
			}
			continue
		}
		if set := k.Read(r, yamltext.Join(path, k.Name), p.Value); set != nil {
			set(v)
		}
		seen[k.Name] = p.Key
	}
	return seen
}

// inPath adds where to a message, unless that is the file itself.
func inPath(format, path string) string {
	if path == "" {
		return format
	}
	return format + " in " + strings.ReplaceAll(path, "%", "%%")
}

// Quantity is a key whose value is a quantity. initial is the value where the key is missing, as
// text.
func Quantity[R Reader, T any](name, brief string, unit dsp.Unit, low, high float64, initial string, set func(*T, float64)) Key[R, T] {
	return Key[R, T]{
		Name: name, Brief: brief, Schema: QuantitySchema(brief, unit, low, high, initial),
		Read: func(r R, path string, n ast.Node) func(*T) {
			if r.Text().Held(path, n, "it is no knob that one turns while playing") {
				return nil
			}
			v, ok := r.Text().Quantity(path, n, unit, low, high)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, v) }
		},
	}
}

// Choice is a key whose value is one of some words.
func Choice[R Reader, T any](name, brief string, words []string, initial string, set func(*T, string)) Key[R, T] {
	return Key[R, T]{
		Name: name, Brief: brief, Schema: ChoiceSchema(brief, words, initial),
		Read: func(r R, path string, n ast.Node) func(*T) {
			if r.Text().Held(path, n, "it has positions, and nothing between them") {
				return nil
			}
			w, ok := r.Text().Choice(path, n, words)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, w) }
		},
	}
}

// Line is a key whose value is a line of text.
func Line[R Reader, T any](name, brief, want string, must bool, set func(*T, string)) Key[R, T] {
	return Key[R, T]{
		Name: name, Brief: brief, Must: must, Schema: LineSchema(brief),
		Read: func(r R, path string, n ast.Node) func(*T) {
			s, ok := r.Text().Line(path, n, want)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, s) }
		},
	}
}

// Within turns the keys of a part into keys of the whole; of is where the whole has the part.
func Within[R Reader, T, U any](keys []Key[R, T], of func(*U) *T) []Key[R, U] {
	var all []Key[R, U]
	for _, k := range keys {
		all = append(all, Key[R, U]{
			Name: k.Name, Brief: k.Brief, Must: k.Must, Schema: k.Schema,
			Read: func(r R, path string, n ast.Node) func(*U) {
				set := k.Read(r, path, n)
				if set == nil {
					return nil
				}
				return func(u *U) { set(of(u)) }
			},
		})
	}
	return all
}
