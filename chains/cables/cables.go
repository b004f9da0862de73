// Package cables says which cables to move to get from one wired board to another: as few as can be,
// and among those ways with as few plugs. It knows jacks by their names alone.
//
// Start reading at Moves.
package cables

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

// Move is one thing to do on the floor to get from one order to another: to move a cable, to
// add or to take away one, or to put a block on the board or take it off.
type Move struct {
	// a block that comes onto the board or leaves it; there is no cable then
	Block string `json:"block,omitempty"`
	From  Cable  `json:"from,omitzero"` // where the cable is; none for one that is added
	To    Cable  `json:"to,omitzero"`   // where it goes; none for one that is left over
	// plugs that are pulled out of a jack or put into one: a plug that changes its jack counts once
	Ends int    `json:"ends"`
	Text string `json:"text"` // one plain sentence
}

// Moves pairs cables that are in the way with cables that are wanted, so that as many as can
// be keep one of their plugs.
func Moves(was, want []Cable) []Move {
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
	var moves []Move
	for j, w := range rest {
		m := Move{To: w, Ends: 2}
		switch {
		case takes[j] >= 0:
			m.From, m.Ends = loose[takes[j]], 1
		case len(free) > 0:
			m.From, free = loose[free[0]], free[1:]
		}
		moves = append(moves, m)
	}
	for _, k := range free {
		moves = append(moves, Move{From: loose[k], Ends: 2})
	}
	return inTurn(moves)
}

// inTurn puts moves of one plug first and, as far as can be, each after the one that frees the
// jacks it needs, and says what to do.
func inTurn(moves []Move) []Move {
	slices.SortStableFunc(moves, func(a, b Move) int { return a.Ends - b.Ends })
	var turn []Move
	for len(moves) > 0 {
		next := slices.IndexFunc(moves, func(m Move) bool { return len(m.blockedBy(moves)) == 0 })
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
func (m Move) blockedBy(moves []Move) []string {
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
func (m Move) say(taken []string) string {
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
