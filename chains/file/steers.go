package file

import "drywire/chains/internal/yamltext"

// Steers reports whether a character of a chain file's text ends a line, commands a terminal, or
// turns the direction in which what is around it is read: none of these is to reach a terminal or
// the name of a file as it is.
func Steers(c rune) bool { return yamltext.Steers(c) }
