package arrange

import (
	"drywire/chains/board"
	"slices"
)

// Slots is the places of a chain along its signal, for putting its blocks into other orders: those
// of the order, with as many in each loop as it holds now, then of the left path and of the right.
// Any block may take any place of its line, in a loop or not; a switcher moves with its loops.
// What is on one path of a split stays on it, and what stands at the power of an amplifier stays.
type Slots struct {
	Names []string // of the blocks as they stand

	now    board.Arrangement
	inside int   // places in loops
	region []int // of every place: 0, 1, 2
	ends   []int // of every place: where its part of the line ends
	part   []int // of every place: before the power, at it (each its own), behind it
}

// SlotsOf is the places of the chain.
func SlotsOf(c *board.Chain) *Slots {
	s := &Slots{now: c.Arrangement()}
	f := newFinder(c)
	for _, l := range s.now.Loops {
		s.inside += len(l.Blocks)
	}
	var lines [3][]string
	region := 0
	s.now.Walk(func(line board.Line, _ int, name string) {
		if line <= 0 {
			region = -int(line)
		}
		lines[region] = append(lines[region], name)
	})
	for region, names := range lines {
		var line []board.Placed
		for _, n := range names {
			line = append(line, f.blocks[n])
		}
		from, to := board.Stays(line)
		first := len(s.Names)
		for at := range line {
			part, end := 3*region, first+from
			switch {
			case at >= to:
				part, end = part+1, first+len(line)
			case at >= from:
				part, end = -1-first-at, first+at+1
			}
			s.region, s.part, s.ends = append(s.region, region), append(s.part, part), append(s.ends, end)
		}
		s.Names = append(s.Names, names...)
	}
	return s
}

// May reports whether the block of one place may take another, as far as that alone can be said.
func (s *Slots) May(block, at int) bool {
	if s.part[block] != s.part[at] {
		return false
	}
	return s.Names[block] != s.now.Switcher || s.part[at] < 0 || at+s.inside < s.ends[at]
}

// Arrangement is that of blocks in the order of the places.
func (s *Slots) Arrangement(names []string) board.Arrangement {
	a := s.now.Clone()
	rest := slices.Clone(names)
	take := func(n int) (taken []string) {
		taken, rest = rest[:n:n], rest[n:]
		return taken
	}
	for k := range a.Loops { // out of the line, then
		n := len(a.Loops[k].Blocks)
		at := slices.Index(rest, a.Switcher) + 1
		a.Loops[k].Blocks = slices.Clone(rest[at : at+n])
		rest = slices.Delete(rest, at, at+n)
	}
	a.Order = take(len(a.Order))
	if a.Split != nil {
		a.Split.Left = take(len(a.Split.Left))
		a.Split.Right = rest
	}
	return a
}
