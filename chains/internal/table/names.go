package table

import (
	"regexp"
	"slices"

	"github.com/goccy/go-yaml/ast"

	"drywire/chains/internal/yamltext"
)

// NamePattern is the form of the names that a file chooses, as a regular expression.
const NamePattern = `^[a-z][a-z0-9-]{0,31}$`

// NameForm is NamePattern.
var NameForm = regexp.MustCompile(NamePattern)

// Named is the entries of a map by names that the file chooses, each at most once and of the form
// NamePattern, most of them at most. what is one of them, in words; nil after a fault.
func Named(r *yamltext.Reader, path string, n ast.Node, like, what string, most int) []*ast.MappingValueNode {
	pairs, ok := r.Pairs(path, n, like)
	if !ok {
		return nil
	}
	if len(pairs) > most {
		r.At(pairs[most].Key, "more than %d %ss", most, what)
		return nil
	}
	if len(pairs) == 0 {
		r.At(n, "%s is empty; leave it out, or name one, like %s", path, like)
	}
	for _, p := range pairs {
		if name := p.Key.GetToken().Value; !NameForm.MatchString(name) {
			r.At(p.Key, "a %s may not be called %q; want a lower-case letter, then lower-case letters, digits and - (32 at most)", what, name)
		}
	}
	return pairs
}

// NamedSchema is a map by names of the file's own.
func NamedSchema(brief string, value Object) Object {
	return Object{"type": "object", "description": brief, "minProperties": 1, "propertyNames": Object{"pattern": NamePattern}, "additionalProperties": value}
}

// Name is a key whose value is one of the names that the file has declared; what is one of them, in
// words.
func Name[R Reader, T any](name, brief, what string, declared func(R) []string, set func(*T, string)) Key[R, T] {
	return Key[R, T]{
		Name: name, Brief: brief, Schema: Object{"type": "string", "pattern": NamePattern, "description": brief},
		Read: func(r R, path string, n ast.Node) func(*T) {
			text := r.Text()
			word, ok := text.Line(path, n, "the name of a "+what)
			if !ok {
				return nil
			}
			names := declared(r)
			if !slices.Contains(names, word) {
				if len(names) == 0 {
					text.At(n, "no %s %q; the file has no %ss", what, word, what)
				} else {
					text.Unknown(n, "no "+what+" %q", word, yamltext.Nearest(word, names), what+"s", names)
				}
				return nil
			}
			return func(t *T) { set(t, word) }
		},
	}
}
