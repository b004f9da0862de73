// Package phrase is pieces of sentences that several rooms say alike.
//
// Start reading at And.
package phrase

import (
	"slices"
	"strings"
)

// And is the names in the order of the alphabet, in one phrase: "a, b and c"; "nothing" of none.
func And(names []string) string {
	switch len(names) {
	case 0:
		return "nothing"
	case 1:
		return names[0]
	}
	names = slices.Sorted(slices.Values(names))
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// Capital is a text with a capital as its first letter.
func Capital(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
