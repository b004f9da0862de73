package board

import (
	"fmt"
	"slices"
	"strings"
)

// Cable is a cable from an output jack to an input jack, by the names that the chain file gives
// them.
type Cable struct {
	Out string `json:"out"`
	In  string `json:"in"`
}

// String is the cable as one word for a table.
func (c Cable) String() string {
	if c == (Cable{}) {
		return "-"
	}
	return c.Out + " → " + c.In
}

// CableMove is one thing to do on the floor to get from one order to another: to move a cable, to
// add or to take away one, or to put a block on the board or take it off.
type CableMove struct {
	// a block that comes onto the board or leaves it; there is no cable then
	Block string `json:"block,omitempty"`
	From  Cable  `json:"from,omitzero"` // where the cable is; none for one that is added
	To    Cable  `json:"to,omitzero"`   // where it goes; none for one that is left over
	// plugs that are pulled out of a jack or put into one: a plug that changes its jack counts once
	Ends int    `json:"ends"`
	Text string `json:"text"` // one plain sentence
}

// Cables is what to do on the floor to get from one wired order to another, with as few cables
// moved as there can be and, among those ways, as few plugs. A cable that is wanted where it is
// stays, so what stands next to each other in both orders is not touched. Blocks that come onto the
// board are first; then the moves, those of one plug before those of two, and each after the one
// that frees its jack where that can be; blocks that leave are last.
//
// Every loop of a switcher keeps its cables, in or out: what a switch does needs no hand. So does a
// block that is bypassed.
func Cables(from, to *Chain) []CableMove {
	was, want := from.Cabling(), to.Cabling()
	before, after := from.onBoard(), to.onBoard()
	var moves, last []CableMove
	for _, b := range after {
		if !slices.Contains(before, b) {
			moves = append(moves, CableMove{Block: b, Text: fmt.Sprintf("Put %s on the board.", b)})
		}
	}
	for _, b := range before {
		if !slices.Contains(after, b) {
			last = append(last, CableMove{Block: b, Text: fmt.Sprintf("Take %s off the board.", b)})
		}
	}
	return append(append(moves, MoveCables(was, want)...), last...)
}

// Cabling is every cable of the chain, in the order of the signal: from the guitar, between blocks,
// through all loops of a switcher, to the load.
func (c *Chain) Cabling() []Cable {
	guitar := "guitar"
	if c.GuitarName != "" {
		guitar = "guitar " + c.GuitarName
	}
	var all []Cable
	run := func(line []Placed, from string) string {
		for _, b := range line {
			all = append(all, Cable{from, b.In()})
			from = b.Out()
		}
		return from
	}
	from := run(c.Blocks, guitar)
	if c.Split == nil {
		all = append(all, Cable{from, "out"})
	} else {
		all = append(all, Cable{run(c.Split.Left, from), OutLeft})
		all = append(all, Cable{run(c.Split.Right, c.plugged(from)), OutRight})
	}
	for _, s := range c.switchers {
		for _, l := range s.Loops {
			if from := sendJack(s.Name, l.Number); !slices.ContainsFunc(all, func(k Cable) bool { return k.Out == from }) {
				for _, name := range l.Blocks {
					all = append(all, Cable{from, name + ".in"})
					from = name + ".out"
				}
				all = append(all, Cable{from, returnJack(s.Name, l.Number)})
			}
		}
	}
	return all
}

// plugged is the jack that the right path of a split is plugged into; from is the output of the
// block in front of it. Where that block is bypassed, the plug stays in its second output: a bypass
// sounds as if it were in the first, and a switch needs no hand.
func (c *Chain) plugged(from string) string {
	if len(c.Blocks) > 0 {
		last := c.Blocks[len(c.Blocks)-1]
		if last.Off = false; last.stereo() {
			return last.right()
		}
	}
	return from
}

// onBoard is the names of the blocks on the board, a switcher once and with all that is in its
// loops.
func (c *Chain) onBoard() []string {
	var all []string
	add := func(name string) {
		if !slices.Contains(all, name) {
			all = append(all, name)
		}
	}
	for _, b := range c.Every() {
		if b.Piece != nil {
			add(b.Switcher)
		} else {
			add(b.Name)
		}
	}
	for _, s := range c.switchers {
		for _, l := range s.Loops {
			for _, b := range l.Blocks {
				add(b)
			}
		}
	}
	return all
}

// MoveCables pairs cables that are in the way with cables that are wanted, so that as many as can
// be keep one of their plugs.
func MoveCables(was, want []Cable) []CableMove {
	rest := slices.Clone(want)
	var loose []Cable
	for _, c := range was {
		if k := slices.Index(rest, c); k >= 0 {
			rest = slices.Delete(rest, k, k+1)
		} else {
			loose = append(loose, c)
		}
	}
	// The most pairs that share a jack: augmenting paths in a graph between loose cables and wanted
	// ones.
	takes := make([]int, len(rest)) // which loose cable becomes the wanted one, -1 for none
	for k := range takes {
		takes[k] = -1
	}
	var try func(k int, seen []bool) bool
	try = func(k int, seen []bool) bool {
		for j, w := range rest {
			if seen[j] || w.Out != loose[k].Out && w.In != loose[k].In {
				continue
			}
			seen[j] = true
			if takes[j] < 0 || try(takes[j], seen) {
				takes[j] = k
				return true
			}
		}
		return false
	}
	for k := range loose {
		try(k, make([]bool, len(rest)))
	}
	free := []int{}
	for k := range loose {
		if !slices.Contains(takes, k) {
			free = append(free, k)
		}
	}
	var moves []CableMove
	for j, w := range rest {
		m := CableMove{To: w, Ends: 2}
		switch {
		case takes[j] >= 0:
			m.From, m.Ends = loose[takes[j]], 1
		case len(free) > 0:
			m.From, free = loose[free[0]], free[1:]
		}
		moves = append(moves, m)
	}
	for _, k := range free {
		moves = append(moves, CableMove{From: loose[k], Ends: 2})
	}
	return inTurn(moves)
}

// inTurn puts moves of one plug first and, as far as can be, each after the one that frees the
// jacks it needs, and says what to do.
func inTurn(moves []CableMove) []CableMove {
	slices.SortStableFunc(moves, func(a, b CableMove) int { return a.Ends - b.Ends })
	var turn []CableMove
	for len(moves) > 0 {
		next := slices.IndexFunc(moves, func(m CableMove) bool { return len(m.blockedBy(moves)) == 0 })
		if next < 0 {
			next = 0 // the moves go in a circle: one plug waits in the hand
		}
		m := moves[next]
		taken := m.blockedBy(moves)
		moves = slices.Delete(moves, next, next+1)
		m.Text = m.say(taken)
		turn = append(turn, m)
	}
	return turn
}

// blockedBy is the jacks that a move needs and that others still have to free.
func (m CableMove) blockedBy(moves []CableMove) []string {
	var jacks []string
	for _, o := range moves {
		if o.From == m.From {
			continue
		}
		if m.To.In != "" && m.To.In != m.From.In && o.From.In == m.To.In {
			jacks = append(jacks, m.To.In)
		}
		if m.To.Out != "" && m.To.Out != m.From.Out && o.From.Out == m.To.Out && o.To.Out != o.From.Out {
			jacks = append(jacks, m.To.Out)
		}
	}
	return jacks
}

// say is the move as a sentence.
func (m CableMove) say(taken []string) string {
	wait := ""
	if len(taken) > 0 {
		wait = " once that is free"
		if m.Ends > 1 {
			wait = fmt.Sprintf(" once %s is free", strings.Join(taken, " and "))
		}
	}
	switch {
	case m.From == (Cable{}):
		return fmt.Sprintf("Take one more cable, and plug it into %s and %s%s.", m.To.Out, m.To.In, wait)
	case m.To == (Cable{}):
		return fmt.Sprintf("Take away the cable from %s to %s.", m.From.Out, m.From.In)
	case m.From.Out == m.To.Out:
		return fmt.Sprintf("Unplug %s from %s; plug it into %s%s.", m.From.Out, m.From.In, m.To.In, wait)
	case m.From.In == m.To.In:
		return fmt.Sprintf("Unplug %s from %s; plug it into %s%s.", m.From.In, m.From.Out, m.To.Out, wait)
	}
	return fmt.Sprintf("Unplug the cable from %s to %s at both ends; plug it into %s and %s%s.", m.From.Out, m.From.In, m.To.Out, m.To.In, wait)
}
