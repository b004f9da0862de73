package yamltext

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
)

// Pairs are the entries of a map, without those whose key was there before.
func (r *Reader) Pairs(path string, n ast.Node, like string) ([]*ast.MappingValueNode, bool) {
	var all []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		all = n.Values
	case *ast.MappingValueNode:
		all = []*ast.MappingValueNode{n}
	default:
		r.Wrong(path, n, "keys with values, like "+like)
		return nil, false
	}
	first := map[string]int{}
	var pairs []*ast.MappingValueNode
	for _, p := range all {
		if _, ok := p.Key.(ast.ScalarNode); !ok || p.Key.Type() == ast.NullType {
			r.At(p.Key, "a key must be a word")
			continue
		}
		t := p.Key.GetToken()
		if line, ok := first[t.Value]; ok {
			r.At(p.Key, "%s is here twice; it was in line %d before", Join(path, t.Value), line)
			continue
		}
		first[t.Value] = t.Position.Line
		pairs = append(pairs, p)
	}
	return pairs, true
}

// List is the entries of a list.
func (r *Reader) List(path string, n ast.Node, like string) ([]ast.Node, bool) {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		r.Wrong(path, n, "a list "+like)
		return nil, false
	}
	return s.Values, true
}

// Scalar is the text of a value as written, without its quotes.
func (r *Reader) Scalar(path string, n ast.Node, want string) (string, bool) {
	switch n := n.(type) {
	case *ast.LiteralNode:
		return n.Value.Value, true
	case *ast.NullNode, nil:
	case ast.ScalarNode:
		return n.GetToken().Value, true
	}
	r.Wrong(path, n, want)
	return "", false
}

// Line is a text of one line, and not empty.
func (r *Reader) Line(path string, n ast.Node, want string) (string, bool) {
	s, ok := r.Scalar(path, n, want)
	if !ok {
		return "", false
	}
	s = strings.TrimSpace(s)
	switch {
	case s == "":
		r.At(n, "%s is empty; want %s", path, want)
	case utf8.RuneCountInString(s) > 200:
		r.At(n, "%s is longer than 200 characters", path)
	case strings.ContainsFunc(s, func(c rune) bool { return c < ' ' || c >= '\u007f' && c <= '\u009f' }):
		r.At(n, "%s has a line break or a control character in it", path)
	default:
		return s, true
	}
	return "", false
}

// Choice is one of some words.
func (r *Reader) Choice(path string, n ast.Node, words []string) (string, bool) {
	s, ok := r.Scalar(path, n, "one of: "+strings.Join(words, ", "))
	if !ok {
		return "", false
	}
	if !slices.Contains(words, s) {
		r.Unknown(n, path+": no %q", s, Nearest(s, words), "words", words)
		return "", false
	}
	return s, true
}

// Unknown is the fault of a word that is none of those allowed. format has one verb, for the word.
func (r *Reader) Unknown(n ast.Node, format, word, near, plural string, allowed []string) {
	text := fmt.Sprintf(format, Clipped(word, 60))
	if near != "" {
		text += fmt.Sprintf("; did you mean %q?", near)
	}
	if len(allowed) > 0 && len(allowed) <= 40 {
		text += fmt.Sprintf(" (%s: %s)", plural, strings.Join(allowed, ", "))
	}
	r.At(n, "%s", text)
}

// Wrong is the fault of a value of the wrong sort.
func (r *Reader) Wrong(path string, n ast.Node, want string) {
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
		found = fmt.Sprintf("%q", Clipped(n.GetToken().Value, 60))
	}
	if path == "" {
		path = "the file"
	}
	r.At(n, "%s is %s; want %s", path, found, want)
}

// At notes a fault at a node.
func (r *Reader) At(n ast.Node, format string, args ...any) {
	line, column := Start(n)
	r.Fault(line, column, format, args...)
}

// Start is the place of a node's first character.
func Start(n ast.Node) (line, column int) {
	switch m := n.(type) {
	case nil:
		return 1, 1
	case *ast.MappingNode:
		if !m.IsFlowStyle && len(m.Values) > 0 {
			return Start(m.Values[0])
		}
	case *ast.MappingValueNode:
		return Start(m.Key)
	}
	t := n.GetToken()
	if t == nil || t.Position == nil {
		return 1, 1
	}
	return t.Position.Line, t.Position.Column
}

// Join is the path of a key in messages.
func Join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// QuietPairs is the entries of a map, without a word about what is wrong with it.
func (r *Reader) QuietPairs(n ast.Node) ([]*ast.MappingValueNode, bool) {
	faults := r.Faults
	pairs, ok := r.Pairs("", n, "")
	r.Faults = faults
	return pairs, ok
}

// IsMap reports whether a value is keys with values.
func IsMap(n ast.Node) bool {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return true
	}
	return false
}

// Written is a value as the file has it, in one line.
func Written(n ast.Node) string {
	if s, ok := n.(ast.ScalarNode); ok {
		return strings.TrimSpace(s.GetToken().Value)
	}
	return strings.Join(strings.Fields(n.String()), " ")
}

// ValueOf is the value of a key of a map, or the map where that has no such key.
func ValueOf(n ast.Node, key string) ast.Node {
	var pairs []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	}
	for _, p := range pairs {
		if p.Key.GetToken().Value == key {
			return p.Value
		}
	}
	return n
}

// Report is the first faults by their places, with the lines that they are in.
func (r *Reader) Report() Faults {
	slices.SortStableFunc(r.Faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	faults := r.Faults[:min(len(r.Faults), MaxFaults)]
	for i, f := range faults {
		faults[i].Excerpt = Excerpt(r.lines, f.Line, f.Column)
	}
	return faults
}

// Later is the one of two nodes that is further down.
func Later(a, b ast.Node) ast.Node {
	aLine, aColumn := Start(a)
	bLine, bColumn := Start(b)
	if aLine > bLine || aLine == bLine && aColumn > bColumn {
		return a
	}
	return b
}
