package chains

// Nearest is the word of words that word is most likely a slip of, or "" when none is near enough to be worth the offer. It is what
// the faults of a chain file offer; a command line offers by the same measure.
func Nearest(word string, words []string) string { return nearest(word, words) }
