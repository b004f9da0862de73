package file

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
)

// CabinetFault is a mistake that was found in what is at the path of a cabinet, with the place
// where the chain file, which Parse has taken, names it first.
func CabinetFault(name string, src []byte, path, text string) yamltext.Fault {
	return placed(name, src, text, func(parsed *ast.File) (line, column int) {
		find := finder{path: path}
		if len(parsed.Docs) > 0 {
			ast.Walk(&find, parsed.Docs[0].Body)
		}
		if find.found == nil {
			return 0, 0
		}
		return yamltext.Start(find.found)
	})
}

// finder looks for the key file, or BLOCK.file, of that value.
type finder struct {
	path  string
	found ast.Node
}

// Visit implements ast.Visitor.
func (f *finder) Visit(n ast.Node) ast.Visitor {
	if p, ok := n.(*ast.MappingValueNode); ok {
		key := p.Key.GetToken().Value
		if key == "recording" {
			return nil
		}
		if f.found == nil && (key == "file" || strings.HasSuffix(key, ".file")) && yamltext.Written(p.Value) == f.path {
			f.found = p.Value
		}
	}
	return f
}

// cabinetKey names a speaker's impulse response.
func cabinetKey[T any](set func(*T, *board.Cabinet)) key[T] {
	const brief = "a WAV file with the impulse response of a cabinet, in the place of the cone; relative to this file"
	return key[T]{
		Name: "file", Brief: brief, Schema: table.LineSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*T) {
			name, ok := r.Line(path, n, "the path of a WAV file")
			if !ok {
				return nil
			}
			for _, c := range r.cabinets {
				if c.Path == name {
					return func(t *T) { set(t, c) }
				}
			}
			c := &board.Cabinet{Path: name}
			r.cabinets = append(r.cabinets, c)
			return func(t *T) { set(t, c) }
		},
	}
}

// idle faults a knob of a speaker's cone where an impulse response has taken the cone's place.
func (r *reader) idle(n ast.Node, name, knob, file string) {
	if n != nil && slices.Contains(blocks.ConeKnobs, knob) {
		r.At(n, "%s.%s changes nothing: %s has the impulse response %s in the place of its cone, which %s are for", name, knob, name, yamltext.Clipped(file, 60), strings.Join(blocks.ConeKnobs, ", "))
	}
}
