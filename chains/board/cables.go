package board

import (
	"fmt"
	"slices"

	"drywire/chains/cables"
)

// Cables is what to do on the floor to get from one wired order to another, with as few cables
// moved as there can be and, among those ways, as few plugs. A cable that is wanted where it is
// stays, so what stands next to each other in both orders is not touched. Blocks that come onto the
// board are first; then the moves, those of one plug before those of two, and each after the one
// that frees its jack where that can be; blocks that leave are last.
//
// Every loop of a switcher keeps its cables, in or out: what a switch does needs no hand. So does a
// block that is bypassed.
func Cables(from, to *Chain) []cables.Move {
	was, want := from.Cabling(), to.Cabling()
	before, after := from.onBoard(), to.onBoard()
	var moves, last []cables.Move
	for _, b := range after {
		if !slices.Contains(before, b) {
			moves = append(moves, cables.Move{Block: b, Text: fmt.Sprintf("Put %s on the board.", b)})
		}
	}
	for _, b := range before {
		if !slices.Contains(after, b) {
			last = append(last, cables.Move{Block: b, Text: fmt.Sprintf("Take %s off the board.", b)})
		}
	}
	return append(append(moves, cables.Moves(was, want)...), last...)
}

// Cabling is every cable of the chain, in the order of the signal: from the guitar, between blocks,
// through all loops of a switcher, to the load.
func (c *Chain) Cabling() []cables.Cable {
	guitar := "guitar"
	if c.GuitarName != "" {
		guitar = "guitar " + c.GuitarName
	}
	var all []cables.Cable
	run := func(line []Placed, from string) string {
		for _, b := range line {
			all = append(all, cables.Cable{Out: from, In: b.In()})
			from = b.Out()
		}
		return from
	}
	from := run(c.Blocks, guitar)
	if c.Split == nil {
		all = append(all, cables.Cable{Out: from, In: "out"})
	} else {
		all = append(all, cables.Cable{Out: run(c.Split.Left, from), In: OutLeft})
		all = append(all, cables.Cable{Out: run(c.Split.Right, c.plugged(from)), In: OutRight})
	}
	for _, s := range c.switchers {
		for _, l := range s.Loops {
			if from := sendJack(s.Name, l.Number); !slices.ContainsFunc(all, func(k cables.Cable) bool { return k.Out == from }) {
				for _, name := range l.Blocks {
					all = append(all, cables.Cable{Out: from, In: name + ".in"})
					from = name + ".out"
				}
				all = append(all, cables.Cable{Out: from, In: returnJack(s.Name, l.Number)})
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
