package yamltext

import (
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// Splices: each changes one value, key or entry, and leaves every byte elsewhere as it is.

// Quote is a text as a value: as it is where YAML reads it so, in quotes where not. In flow style,
// between brackets, a comma would end it.
func Quote(text string, flow bool) string {
	if readsPlain(text, flow) {
		return text
	}
	if strings.ContainsAny(text, `"\`) {
		return "'" + strings.ReplaceAll(text, "'", "''") + "'"
	}
	return `"` + text + `"`
}

// readsPlain asks the YAML parser, of texts that it is safe to ask about.
func readsPlain(text string, flow bool) (ok bool) {
	if text == "" || utf8.RuneCountInString(text) > 200 || strings.ContainsAny(text, "[]{}&*!|>%@`\"\n\r\t") || strings.ContainsAny(text[:1], "'?-,#: ") && !negative(text) {
		return false
	}
	defer func() {
		if recover() != nil {
			ok = false
		}
	}()
	line := "k: " + text
	if flow {
		line = "k: [" + text + "]"
	}
	parsed, err := parser.ParseBytes([]byte(line), parser.ParseComments)
	if err != nil || len(parsed.Docs) != 1 {
		return false
	}
	pairs, known := NewReader("").QuietPairs(parsed.Docs[0].Body)
	if !known || len(pairs) != 1 {
		return false
	}
	n := pairs[0].Value
	if list, is := n.(*ast.SequenceNode); is && flow && len(list.Values) == 1 {
		n = list.Values[0]
	} else if flow {
		return false
	}
	s, is := n.(ast.ScalarNode)
	return is && n.Type() != ast.NullType && n.GetComment() == nil && s.GetToken().Value == text
}

// negative is a number below zero, like -6 dB, whose sign is no dash of a list.
func negative(text string) bool {
	return len(text) > 1 && text[0] == '-' && text[1] >= '0' && text[1] <= '9'
}

// FlowNames is a list of names in flow style.
func FlowNames(names []string) string {
	q := make([]string, len(names))
	for k, n := range names {
		q[k] = Quote(n, true)
	}
	return "[" + strings.Join(q, ", ") + "]"
}
