package yamltext

import (
	"strings"
)

// Nearest is the word of words that word is most likely a slip of, or "" when none is near enough
// to be worth the offer: at most one edit in words of up to four letters, two in longer ones, three
// from ten on.
func Nearest(word string, words []string) string {
	best, least := "", 1<<30
	given := []rune(strings.ToLower(word))
	if len(given) > 64 {
		return ""
	}
	allowed := 1
	switch {
	case len(given) >= 10:
		allowed = 3
	case len(given) > 4:
		allowed = 2
	}
	for _, w := range words {
		if d := edits(given, []rune(strings.ToLower(w))); d < least {
			best, least = w, d
		}
	}
	if least > allowed || least >= len(given) {
		return ""
	}
	return best
}

// edits is how many letters must be inserted, removed, replaced or swapped with their neighbour to
// make b of a (optimal string alignment distance).
func edits(a, b []rune) int {
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		before, last, row := rows[(i+1)%3], rows[(i+2)%3], rows[i%3]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
	}
	return rows[len(a)%3][len(b)]
}
