package deck

import (
	"fmt"
	"slices"
	"strings"
)

// Fault is one mistake in a deck: where it is and what it is.
type Fault struct {
	File         string
	Line, Column int    // from 1; the column counts characters
	Text         string // one line
}

func (f Fault) Error() string { return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Text) }

// Faults are the mistakes of a deck in the order of their places, the first MaxFaults of them.
type Faults []Fault

// MaxFaults is how many faults Read returns at the most.
const MaxFaults = 20

func (f Faults) Error() string {
	text := make([]string, len(f))
	for k, fault := range f {
		text[k] = fault.Error()
	}
	return strings.Join(text, "\n")
}

// place is a line and a column, both from 1.
type place struct{ line, column int }

// faulty gathers faults.
type faulty struct {
	file  string
	list  Faults
	known map[string]bool
}

func (f *faulty) at(p place, format string, args ...any) {
	fault := Fault{f.file, max(p.line, 1), max(p.column, 1), fmt.Sprintf(format, args...)}
	if f.known == nil {
		f.known = map[string]bool{}
	}
	if text := fault.Error(); !f.known[text] && len(f.list) < 10*MaxFaults {
		f.known[text] = true
		f.list = append(f.list, fault)
	}
}

// err is the faults in the order of their places, nil where there are none.
func (f *faulty) err() error {
	if len(f.list) == 0 {
		return nil
	}
	slices.SortStableFunc(f.list, func(a, b Fault) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return f.list[:min(len(f.list), MaxFaults)]
}

// clip shortens what a deck has before it is quoted.
func clip(text string) string {
	if r := []rune(text); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return text
}
