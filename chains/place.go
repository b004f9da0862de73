package chains

import (
	"bytes"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
)

// At is a fault at the value that a path such as "$.recording.file" leads to, in a chain file that Parse has taken. It is for what only the
// caller can find out: that a recording is missing, say.
func At(name string, src []byte, path, text string) Fault {
	f := Fault{File: name, Line: 1, Column: 1, Text: oneLine(text)}
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
	f.Excerpt = excerpt(strings.Split(string(plain), "\n"), at.Line, at.Column)
	return f
}
