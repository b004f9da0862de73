package lesson

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

type reader struct {
	yamltext.Reader
	name   string
	source []string // lines of the text

	facts map[string]ast.Node // names of facts, where they stand
}

// object is a JSON object. Its keys are printed in the order of the alphabet.
type object = map[string]any

// key is one key of a map in the file: it reads its value and describes it to editors.
type key[T any] struct {
	name   string
	brief  string
	must   bool
	schema object
	read   func(r *reader, path string, n ast.Node, v *T)
}

// readMap reads a map by its table of keys into v, in the order of the table, and returns where the
// keys are; nil when n is no map.
func readMap[T any](r *reader, path string, n ast.Node, like string, keys []key[T], v *T) map[string]ast.Node {
	pairs, ok := r.Pairs(path, n, like)
	if !ok {
		return nil
	}
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = k.name
	}
	given, seen := map[string]ast.Node{}, map[string]ast.Node{}
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		if !slices.Contains(names, name) {
			near := yamltext.Nearest(name, names)
			seen[near] = p.Key
			where := "no key %q"
			if path != "" {
				where += " in " + strings.ReplaceAll(path, "%", "%%")
			}
			r.Unknown(p.Key, where, name, near, "keys", names)
			continue
		}
		given[name], seen[name] = p.Value, p.Key
	}
	for _, k := range keys {
		n, ok := given[k.name]
		switch {
		case ok:
			k.read(r, yamltext.Join(path, k.name), n, v)
		case k.must && seen[k.name] == nil:
			r.At(anchor(pairs, n), "%s is missing: %s", yamltext.Join(path, k.name), k.brief)
		}
	}
	return seen
}

// anchor is where a map begins, which has no node of its own here.
func anchor(pairs []*ast.MappingValueNode, n ast.Node) ast.Node {
	if n == nil && len(pairs) > 0 {
		return pairs[0].Key
	}
	return n
}

// lineKey is a key whose value is a line of text.
func lineKey[T any](name, brief, want string, must bool, set func(*T, string)) key[T] {
	return key[T]{name: name, brief: brief, must: must,
		schema: object{"description": brief, "type": []string{"string", "number", "boolean"}, "minLength": 1, "maxLength": 200},
		read: func(r *reader, path string, n ast.Node, v *T) {
			if s, ok := r.Line(path, n, want); ok {
				set(v, s)
			}
		}}
}

// textKey is a key whose value is text, of several paragraphs perhaps.
func textKey[T any](name, brief string, must bool, set func(*T, string)) key[T] {
	return key[T]{name: name, brief: brief, must: must, schema: object{"description": brief, "type": "string", "minLength": 1},
		read: func(r *reader, path string, n ast.Node, v *T) {
			if s, ok := r.text(path, n); ok {
				set(v, s)
			}
		}}
}

func (r *reader) text(path string, n ast.Node) (string, bool) {
	s, ok := r.Scalar(path, n, "text")
	s = strings.TrimSpace(s)
	if ok && s == "" {
		r.At(n, "%s is empty; want text", path)
		return "", false
	}
	return s, ok
}

// linesKey is a key whose value is a list of lines.
func linesKey[T any](name, brief, like string, must bool, set func(*T, []string)) key[T] {
	return key[T]{name: name, brief: brief, must: must,
		schema: object{"description": brief, "type": "array", "items": object{"type": "string", "minLength": 1, "maxLength": 200}},
		read: func(r *reader, path string, n ast.Node, v *T) {
			nodes, ok := r.List(path, n, like)
			if !ok {
				return
			}
			var list []string
			for _, node := range nodes {
				if s, ok := r.Line(path, node, "a line of text"); ok {
					list = append(list, s)
				}
			}
			set(v, list)
		}}
}

func yesKey[T any](name, brief string, must bool, set func(*T, bool)) key[T] {
	words := []string{"yes", "no"}
	return key[T]{name: name, brief: brief, must: must, schema: object{"description": brief, "enum": []any{"yes", "no"}},
		read: func(r *reader, path string, n ast.Node, v *T) {
			if w, ok := r.Choice(path, n, words); ok {
				set(v, w == "yes")
			}
		}}
}

func numberKey[T any](name, brief string, low, high float64, must bool, set func(*T, float64)) key[T] {
	return key[T]{name: name, brief: brief, must: must, schema: object{"description": brief, "type": "number", "minimum": low, "maximum": high},
		read: func(r *reader, path string, n ast.Node, v *T) {
			s, ok := r.Scalar(path, n, "a number")
			if !ok {
				return
			}
			f, err := strconv.ParseFloat(s, 64)
			if err != nil || !(f >= low && f <= high) {
				r.At(n, "%s is %q; want a number from %g to %g", path, yamltext.Clipped(s, 40), low, high)
				return
			}
			set(v, f)
		}}
}

func quantityKey[T any](name, brief string, unit dsp.Unit, low, high float64, must bool, set func(*T, float64)) key[T] {
	return key[T]{name: name, brief: brief, must: must, schema: object{"description": brief, "type": "string", "pattern": unit.Pattern()},
		read: func(r *reader, path string, n ast.Node, v *T) {
			s, ok := r.Scalar(path, n, unit.Means())
			if !ok {
				return
			}
			q, err := dsp.ParseQuantity(s, unit)
			switch {
			case err != nil:
				r.At(n, "%s: %v", path, err)
			case q < low || q > high:
				r.At(n, "%s: %s is out of range; it goes from %s to %s", path, s, dsp.FormatQuantity(low, unit), dsp.FormatQuantity(high, unit))
			default:
				set(v, q)
			}
		}}
}

// listKey is a key whose value is a list of maps, each by one table.
func listKey[T, E any](name, brief, like string, must bool, keys []key[E], set func(*T, []E)) key[T] {
	return key[T]{name: name, brief: brief, must: must,
		schema: object{"description": brief, "type": "array", "minItems": 1, "items": mapSchema(brief, keys)},
		read: func(r *reader, path string, n ast.Node, v *T) {
			nodes, ok := r.List(path, n, "like - "+like)
			if !ok {
				return
			}
			var list []E
			for k, node := range nodes {
				var e E
				readMap(r, fmt.Sprintf("%s[%d]", path, k+1), node, like, keys, &e)
				list = append(list, e)
			}
			set(v, list)
		}}
}

// mapKey is a key whose value is a map by a table.
func mapKey[T, E any](name, brief, like string, must bool, keys []key[E], set func(*T, E)) key[T] {
	return key[T]{name: name, brief: brief, must: must, schema: mapSchema(brief, keys),
		read: func(r *reader, path string, n ast.Node, v *T) {
			var e E
			if readMap(r, path, n, like, keys, &e) != nil {
				set(v, e)
			}
		}}
}

// namedKey is a key whose value is a map of names to lines, in their order.
func namedKey[T any](name, brief, like string, set func(*T, [][2]string)) key[T] {
	return key[T]{name: name, brief: brief, schema: object{"description": brief, "type": "object", "minProperties": 1, "additionalProperties": object{"type": "string", "minLength": 1}},
		read: func(r *reader, path string, n ast.Node, v *T) {
			pairs, ok := r.Pairs(path, n, like)
			if !ok {
				return
			}
			var list [][2]string
			for _, p := range pairs {
				if s, ok := r.text(path, p.Value); ok {
					list = append(list, [2]string{p.Key.GetToken().Value, s})
				}
			}
			set(v, list)
		}}
}

// nameForm is what a lesson, and a fact, may be called.
var nameForm = regexp.MustCompile(`^[a-z][a-z0-9-]*$`)
