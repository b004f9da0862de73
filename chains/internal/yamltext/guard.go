// Package yamltext reads one untrusted YAML text: it accepts only the subset that a chain file may
// use, hands out its values with their places, gathers faults with an excerpt and the nearest word,
// and quotes what is written back. It is there, apart from package file, because editing a text
// needs it too.
//
// Start reading at Reader.
package yamltext

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Bounds on what the YAML parser is given: its memory grows with the square of depth and of the
// number of keys (40 kB of opened maps took it 882 MB). A real chain file stays far below all of
// them.
const (
	MaxSize   = 64 << 10 // bytes
	maxDepth  = 12       // brackets within brackets
	maxIndent = 40       // columns that a line may be indented by
	maxKeys   = 2000
	maxTokens = 20000
)

// Reader reads the values of one text and gathers its faults.
type Reader struct {
	name   string // of the text, in faults
	lines  []string
	Faults Faults
}

// NewReader reads a text that messages call by that name.
func NewReader(name string) *Reader { return &Reader{name: name} }

// Guard turns a file into the body of its one document, or into a fault. It refuses what the chain
// file has no use for (anchors, aliases, tags, directives, a second document) and what would cost
// the parser too much.
func (r *Reader) Guard(src []byte) (body ast.Node) {
	if len(src) > MaxSize {
		r.Fault(1, 1, "the file has %d kB; a chain file has at most %d kB", (len(src)+1023)>>10, MaxSize>>10)
		return nil
	}
	src = bytes.TrimPrefix(src, []byte("\ufeff"))
	if !r.text(src) {
		return nil
	}
	tokens := lexer.Tokenize(strings.Join(r.lines, "\n"))
	if !r.tokens(tokens) {
		return nil
	}
	// twice the same key is ours to tell
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		r.syntax(err)
		return nil
	}
	for i, doc := range file.Docs {
		if i > 0 {
			line, column := 1, 1
			if doc.Start != nil {
				line, column = doc.Start.Position.Line, doc.Start.Position.Column
			}
			r.Fault(line, column, "a second document begins here; a chain file is one")
			return nil
		}
		body = doc.Body
	}
	if body == nil {
		r.Fault(1, 1, "there is nothing in the file; it begins with drywire: 1")
	}
	return body
}

// text cuts the file into lines that hold nothing but text, and faults where it does not.
func (r *Reader) text(src []byte) bool {
	all := strings.ReplaceAll(strings.ReplaceAll(string(src), "\r\n", "\n"), "\r", "\n")
	r.lines = strings.Split(all, "\n")
	for i, line := range r.lines {
		column, leading := 0, true
		for at, c := range line {
			column++
			if c == utf8.RuneError {
				if _, size := utf8.DecodeRuneInString(line[at:]); size == 1 {
					r.Fault(i+1, column, "a byte that is not UTF-8 text (0x%02x); save the file as UTF-8", line[at])
					return false
				}
			}
			switch {
			case c == '\t' && leading:
				r.Fault(i+1, column, "a tab; indent with spaces")
				return false
			case c < ' ' && c != '\t', c == '\u007f', c >= '\u0080' && c <= '\u009f', c == '\ufeff':
				r.Fault(i+1, column, "a control character (U+%04X)", c)
				return false
			case c != ' ':
				leading = false
			}
			if leading && column > maxIndent && strings.TrimSpace(line) != "" {
				r.Fault(i+1, column, "indented by more than %d columns", maxIndent)
				return false
			}
		}
		r.lines[i] = strings.ReplaceAll(line, "\t", " ")
	}
	return true
}

// tokens faults what the parser must not see.
func (r *Reader) tokens(tokens token.Tokens) bool {
	refuse := func(t *token.Token, format string, args ...any) bool {
		r.Fault(t.Position.Line, t.Position.Column, format, args...)
		return false
	}
	depth, keys, dashes, line := 0, 0, 0, 0
	for i, t := range tokens {
		if i >= maxTokens {
			return refuse(t, "the file goes on for too long; it has more than %d words and signs", maxTokens)
		}
		if t.Position.Line != line {
			line, dashes = t.Position.Line, 0
		}
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			if depth++; depth > maxDepth {
				return refuse(t, "more than %d brackets within brackets", maxDepth)
			}
		case token.SequenceEndType, token.MappingEndType:
			depth--
		case token.SequenceEntryType:
			if dashes++; dashes > 4 {
				return refuse(t, "too many lists within lists")
			}
		case token.MappingValueType:
			if keys++; keys > maxKeys {
				return refuse(t, "the file has more than %d keys", maxKeys)
			}
		case token.MappingKeyType:
			return refuse(t, `a key that begins with "?"; write key: value`)
		case token.MergeKeyType:
			return refuse(t, `"<<" (merging maps) is not used in chain files; write the keys out`)
		case token.AnchorType:
			return refuse(t, `"&" (an anchor) is not used in chain files; put text that begins with & in quotes`)
		case token.AliasType:
			return refuse(t, `"*" (an alias) is not used in chain files; put text that begins with * in quotes`)
		case token.TagType:
			return refuse(t, `"!" (a tag) is not used in chain files; put text that begins with ! in quotes`)
		case token.DirectiveType:
			return refuse(t, `"%%" (a directive) is not used in chain files; put text that begins with %% in quotes`)
		}
	}
	return true
}

// hints say in the reader's words what the YAML parser says in its own. What is not here passes as
// it is.
var hints = map[string]string{
	"mapping value is not allowed in this context":                 "there is a second colon; put text with a colon in it in quotes",
	"unexpected key name":                                          "want key: value, with a space after the colon",
	"value is not allowed in this context":                         "this does not belong here; is it indented like the lines above?",
	"sequence end token ']' not found":                             "the list that begins here has no ]",
	"',' or '}' must be specified":                                 "a comma or a } is missing before this",
	"',' or ']' must be specified":                                 "a comma or a ] is missing before this",
	"could not find flow mapping end token '}'":                    "what begins with { has no }",
	"could not find end character of double-quoted text":           "the quotes that begin here have no end",
	"could not find end character of single-quoted text":           "the quotes that begin here have no end; put text with a ' in it in double quotes",
	"found character '\t' that cannot start any token":             "a tab; use spaces",
	"found a tab character where an indentation space is expected": "a tab; indent with spaces",
}

// syntax turns the parser's complaint into a fault.
func (r *Reader) syntax(err error) {
	line, column, text := 1, 1, ""
	if e, ok := err.(interface {
		GetToken() *token.Token
		GetMessage() string
	}); ok {
		text = e.GetMessage()
		if t := e.GetToken(); t != nil && t.Position != nil {
			line, column = t.Position.Line, t.Position.Column
		}
	} else {
		text = err.Error() // never for the errors above: they print the whole file around the place
	}
	text, _, _ = strings.Cut(text, "\n")
	if hint, ok := hints[text]; ok {
		text = hint
	}
	if strings.Contains(text, "is missing before this") || strings.Contains(text, "has no") {
		if l, c, sign := r.open(line, column); l > 0 && l < line {
			r.Fault(l, c, "what begins here has no %s", map[byte]string{'[': "]", '{': "}"}[sign])
			return
		}
	} else if what := r.colonless(line); what != "" {
		r.Fault(line, 1+len(r.lines[line-1])-len(strings.TrimLeft(r.lines[line-1], " -")), "%s", what)
		return
	}
	r.Fault(line, column, "not readable as YAML: %s", text)
}

// open is the innermost bracket that is open in front of a place, by line and column; 0 for none.
func (r *Reader) open(line, column int) (l, c int, sign byte) {
	type bracket struct {
		line, column int
		sign         byte
	}
	var stack []bracket
	for i := 0; i < min(line, len(r.lines)); i++ {
		quote := rune(0)
		before := ' '
		for k, x := range []rune(r.lines[i]) {
			if i == line-1 && k >= column-1 {
				break
			}
			switch {
			case quote != 0:
				if x == quote {
					quote = 0
				}
			case (x == '"' || x == '\'') && strings.ContainsRune(" [{,:", before):
				quote = x
			case x == '#' && before == ' ':
				quote = '\n'
			case x == '[' || x == '{':
				stack = append(stack, bracket{i + 1, k + 1, byte(x)})
			case (x == ']' || x == '}') && len(stack) > 0:
				stack = stack[:len(stack)-1]
			}
			before = x
		}
	}
	if len(stack) == 0 {
		return 0, 0, 0
	}
	last := stack[len(stack)-1]
	return last.line, last.column, last.sign
}

// keyed is a line that a key begins; what follows it may lack its colon, or the space behind that.
var keyed = regexp.MustCompile(`^ *(?:- )?([A-Za-z0-9_.-]+)(:?)(?: +|\b|$)(.*)$`)

// colonless says what is missing in a line that the parser cannot read and that has a key without a
// colon; "" where it is something else.
func (r *Reader) colonless(line int) string {
	if line < 1 || line > len(r.lines) {
		return ""
	}
	text, _, _ := strings.Cut(r.lines[line-1], " #")
	m := keyed.FindStringSubmatch(strings.TrimRight(text, " "))
	if m == nil {
		return ""
	}
	key, colon, rest := m[1], m[2], strings.TrimSpace(m[3])
	head, _, _ := strings.Cut(rest, "[")
	head, _, _ = strings.Cut(head, "{")
	switch {
	case strings.Contains(head, ": ") || strings.HasSuffix(head, ":"):
		return ""
	case colon != "" && rest != "" && !strings.Contains(text, key+": "):
		return "a space is missing behind the colon: " + key + ": " + Clipped(rest, 60)
	case colon != "":
		return ""
	case rest == "":
		return "a colon is missing: " + key + ":"
	}
	return "a colon is missing: " + key + ": " + Clipped(rest, 60)
}

// Fault notes a mistake at a place.
func (r *Reader) Fault(line, column int, format string, args ...any) {
	line = min(max(line, 1), max(len(r.lines), 1))
	longest := 1
	if line <= len(r.lines) {
		longest = utf8.RuneCountInString(r.lines[line-1]) + 1
	}
	column = min(max(column, 1), longest)
	r.Faults = append(r.Faults, Fault{File: r.name, Line: line, Column: column, Text: OneLine(fmt.Sprintf(format, args...))})
}
