package file

import (
	"bytes"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"drywire/chains/internal/yamltext"
)

// At is a fault at the value that a path such as "$.recording.file" leads to, in a chain file that
// Parse has taken. It is for what only the caller can find out: that a recording is missing, say.
// It panics on a path that is none.
func At(name string, src []byte, path, text string) yamltext.Fault {
	p, err := yaml.PathString(path)
	if err != nil {
		panic("file: " + err.Error()) // the path is the programmer's
	}
	return placed(name, src, text, func(parsed *ast.File) (line, column int) {
		n, err := p.FilterFile(parsed)
		if err != nil {
			return 0, 0
		}
		at := n.GetToken().Position
		return at.Line, at.Column
	})
}

// placed is a fault at the place that find has in a text, from 1; at its beginning where that has
// none, or where the text cannot be parsed.
func placed(name string, src []byte, text string, find func(*ast.File) (line, column int)) yamltext.Fault {
	f := yamltext.Fault{File: name, Line: 1, Column: 1, Text: yamltext.OneLine(text)}
	plain := bytes.ReplaceAll(bytes.TrimPrefix(src, []byte("\ufeff")), []byte("\r\n"), []byte("\n"))
	parsed, err := parser.ParseBytes(plain, 0)
	if err != nil {
		return f
	}
	if line, column := find(parsed); line > 0 {
		f.Line, f.Column = line, column
		f.Excerpt = yamltext.Excerpt(strings.Split(string(plain), "\n"), line, column)
	}
	return f
}

// Nearest is the word of words that word is most likely a slip of, or "" when none is near enough
// to be worth the offer. It is what the faults of a chain file offer; a command line offers by the
// same measure.
func Nearest(word string, words []string) string { return yamltext.Nearest(word, words) }

// Fault and Faults are the mistakes in a chain file, with their places.
type (
	Fault  = yamltext.Fault
	Faults = yamltext.Faults
)
