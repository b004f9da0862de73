package file

import (
	"bytes"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"

	"drywire/chains/internal/yamltext"
)

// At is a fault at the value that a path such as "$.recording.file" leads to, in a chain file that
// Parse has taken. It is for what only the caller can find out: that a recording is missing, say.
func At(name string, src []byte, path, text string) yamltext.Fault {
	f := yamltext.Fault{File: name, Line: 1, Column: 1, Text: yamltext.OneLine(text)}
	plain := bytes.ReplaceAll(bytes.TrimPrefix(src, []byte("\ufeff")), []byte("\r\n"), []byte("\n"))
	file, err := parser.ParseBytes(plain, 0)
	if err != nil {
		return f
	}
	p, err := yaml.PathString(path)
	if err != nil {
		panic("chains: " + err.Error()) // the path is the programmer's
	}
	n, err := p.FilterFile(file)
	if err != nil {
		return f
	}
	at := n.GetToken().Position
	f.Line, f.Column = at.Line, at.Column
	f.Excerpt = yamltext.Excerpt(strings.Split(string(plain), "\n"), at.Line, at.Column)
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
