package yamltext

import (
	"fmt"
	"strings"
	"unicode"
)

// Fault is one mistake in a chain file: where it is, what it is and what is allowed there.
type Fault struct {
	File         string
	Line, Column int    // from 1; the column counts characters, not bytes
	Text         string // one line
	Excerpt      string // the line at fault and a caret below it; "" when there is no such line
}

func (f Fault) Error() string {
	s := fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Text)
	if f.Excerpt != "" {
		s += "\n" + f.Excerpt
	}
	return s
}

// Faults are the mistakes of a file in the order of their places. Parse returns at most maxFaults
// of them.
type Faults []Fault

func (f Faults) Error() string {
	s := make([]string, len(f))
	for i, fault := range f {
		s[i] = fault.Error()
	}
	return strings.Join(s, "\n")
}

// OneLine makes a message of what a file may have put into it: one line, no signs that steer a
// terminal.
func OneLine(text string) string {
	text = strings.Map(func(c rune) rune {
		if Steers(c) {
			return ' '
		}
		return c
	}, strings.ToValidUTF8(text, "\ufffd"))
	return Clipped(text, 800)
}

// Steers reports whether c ends a line, commands a terminal, or turns the direction in which what
// is around it is read (the bidirectional controls of Unicode Standard Annex #9, which can make a
// text look like another).
func Steers(c rune) bool {
	return unicode.IsControl(c) || c == '\u2028' || c == '\u2029' || unicode.Is(unicode.Bidi_Control, c)
}

// Clipped is text, or its first characters and a sign that there are more.
func Clipped(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return text
}

// MaxFaults is how many faults a report has at the most.
const MaxFaults = 20

// wide is how many characters of a line an excerpt shows.
const wide = 100

// Excerpt shows a line with a caret under a column, both counted from 1.
func Excerpt(lines []string, line, column int) string {
	if line < 1 || line > len(lines) {
		return ""
	}
	text := []rune(lines[line-1])
	at := min(max(column-1, 0), len(text))
	if len(text) > wide {
		from := max(0, min(at-wide/2, len(text)-wide))
		to := from + wide
		before, after := "", ""
		if from > 0 {
			before = "… "
		}
		if to < len(text) {
			after = " …"
		}
		at += len([]rune(before)) - from
		text = []rune(before + string(text[from:to]) + after)
	}
	for i, r := range text {
		if r == '\t' {
			text[i] = ' '
		} else if Steers(r) {
			text[i] = '\ufffd' // nothing in a file may steer the reader's terminal
		}
	}
	number := fmt.Sprint(line)
	return fmt.Sprintf("  %s | %s\n  %s | %s^", number, string(text), strings.Repeat(" ", len(number)), strings.Repeat(" ", at))
}
