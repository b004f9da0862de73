package wiring

import (
	"slices"

	"drywire/blocks"
	"drywire/dsp/circuit"
)

// Row is sections and stages that a signal goes through one after the other, or where it forks in
// several lines, from one that is non-linear to others that are: with nothing but linear circuits
// of one driven source and stages without memory in between. They are run at a multiple of the
// recording's rate without coming down from it (section.Row).
type Row []Part

// Part is a section or a stage of a row.
type Part struct {
	From    int              // the part that drives it; -1: it is the first
	Section *circuit.Netlist // nil: a stage
	Stage   blocks.Stage
}

// Node is what the part's input is: a driven source of a section, or the node that a stage senses.
func (p Part) Node() string {
	if p.Section != nil {
		return p.Section.Inputs()[0]
	}
	return p.Stage.Sense[0]
}

// nonLinear reports whether the part is non-linear.
func (p Part) nonLinear() bool {
	if p.Section != nil {
		return !p.Section.Linear()
	}
	return p.Stage.Shape().(blocks.Raiser).NonLinear()
}

// Upto is the part and those before it: what its signal depends on, in a row of its own.
func (r Row) Upto(part int) Row {
	var line Row
	for k := part; k >= 0; k = r[k].From {
		line = append(line, r[k])
	}
	slices.Reverse(line)
	for k := range line {
		line[k].From = k - 1
	}
	return line
}

// Rows is the rows of a wiring, without the parts of which still says that they are not (a control
// of theirs moves): each as long as it can be, with two non-linear parts at least.
func (w *Wiring) Rows(still func(Part) bool) []Row {
	var all Row
	for _, n := range w.Sections {
		if p := (Part{From: -1, Section: n}); len(n.Inputs()) == 1 && still(p) {
			all = append(all, p)
		}
	}
	for _, s := range w.Stages {
		if p := (Part{From: -1, Stage: s}); s.Raises && len(s.Sense) == 1 && s.Sense[0] != circuit.Ground && len(s.Drive) == 1 && still(p) {
			all = append(all, p)
		}
	}
	// what gives a node to a stage, and a driven source to a section, which has its node too
	sections, stages := map[string]int{}, map[string]int{}
	for k, p := range all {
		if p.Section == nil {
			stages[p.Stage.Drive[0]] = k
			continue
		}
		for _, node := range p.Section.Nodes() {
			sections[node] = k
		}
	}
	next := make([][]int, len(all))
	for k, p := range all {
		given := sections
		if p.Section != nil {
			given = stages
		}
		if at, ok := given[p.Node()]; ok {
			all[k].From, next[at] = at, append(next[at], k)
		}
	}
	var rows []Row
	for k, p := range all {
		// where no non-linear part is before it
		if p.nonLinear() && !follows(all, p.From) {
			if row := all.grow(next, k); row.nonLinear() > 1 && row.always() {
				rows = append(rows, row)
			}
		}
	}
	return rows
}

// follows reports whether a part or one before it is non-linear.
func follows(all Row, k int) bool {
	for ; k >= 0; k = all[k].From {
		if all[k].nonLinear() {
			return true
		}
	}
	return false
}

// grow is the row from a part on, up to the last non-linear ones.
func (r Row) grow(next [][]int, first int) (row Row) {
	var add func(k, from int) bool
	add = func(k, from int) bool {
		at := len(row)
		row = append(row, Part{from, r[k].Section, r[k].Stage})
		kept := r[k].nonLinear()
		for _, n := range next[k] {
			kept = add(n, at) || kept
		}
		if !kept {
			row = row[:at]
		}
		return kept
	}
	add(first, -1)
	return row
}

// always reports whether a part is non-linear at any level: limits alone may as well be reached, or
// not, at the recording's rate.
func (r Row) always() bool {
	return slices.ContainsFunc(r, func(p Part) bool {
		if p.Section != nil {
			return !p.Section.Linear()
		}
		_, limits := p.Stage.Shape().(*blocks.Follower)
		return !limits
	})
}

// nonLinear is how many parts are non-linear.
func (r Row) nonLinear() (n int) {
	for _, p := range r {
		if p.nonLinear() {
			n++
		}
	}
	return n
}
