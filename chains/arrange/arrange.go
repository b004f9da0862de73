// Package arrange says what else could stand where: every two things of a take that can change
// places, every place that one could go to, and the places of a take for putting its blocks into
// other orders. It keeps to what can be wired: nothing comes across the power of an amplifier.
//
// Start reading at Move, then Swaps. What an arrangement is, package board says.
package arrange

import (
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
)

// Move is one change of what stands where: two things that change places, or one that goes to
// another place.
type Move struct {
	// a block, a switcher, or a loop for all that is in it; of two, what came first
	First  string
	Second string     // what First changes places with; "" where First goes somewhere else alone
	From   board.Line // where it was
	To     board.Line // where it goes then
	Behind string     // and what it stands behind there; "guitar" or "" at the beginning of a line
	// blocks from one place to the other, with the one that is reached; of loops, loops
	Apart  int
	Result board.Arrangement
}

// String says it in words.
func (m Move) String() string {
	if m.Second != "" {
		return m.First + " and " + m.Second + " change places"
	}
	if m.From > 0 && m.To != m.From {
		return m.First + " out of " + m.From.String() + " and " + m.Where()
	}
	return m.First + " " + m.Where()
}

// SamePaths reports whether what moves alone stays on the paths of a split that it was on.
func (m Move) SamePaths() bool { return m.From == m.To || m.From >= 0 && m.To >= 0 }

// Where is where a block goes that changes places with none.
func (m Move) Where() string {
	switch {
	case m.Behind == "" && m.To != board.OrderLine:
		return "first in " + m.To.String()
	case m.Behind == "guitar":
		return "behind the guitar"
	case m.To == board.OrderLine || m.To == board.LeftLine || m.To == board.RightLine:
		return "behind " + m.Behind
	}
	return "behind " + m.Behind + " in " + m.To.String()
}

// LeftOut is a move that is not made, and why.
type LeftOut struct {
	First  string `json:"first"`
	Second string `json:"second"` // or where First would go
	Why    string `json:"why"`    // AtPower or OffItsPath
}

// Why a move is left out.
const (
	// it would bring something across the power or the loudspeaker of an amplifier
	AtPower    = "at the power of an amplifier"
	OffItsPath = "off the path of the amplifier it is part of" // of two paths
)

// Swaps is every two things of a chain that can change places: blocks of the order, of one path or
// of both, of loops, a switcher as a whole, and all that one loop holds with all that another does;
// and every block of a loop out of it, in front of its switcher or behind it. Moves that come to
// the same order of blocks are there once.
func Swaps(c *board.Chain) (all []Move, out []LeftOut) {
	now := c.Arrangement()
	f := newFinder(c)
	type place struct {
		line  board.Line
		at    int
		name  string
		count int // of the place along the signal
	}
	var places []place
	now.Walk(func(line board.Line, at int, name string) {
		places = append(places, place{line, at, name, len(places)})
	})
	for i, a := range places {
		for _, b := range places[i+1:] {
			m := Move{First: a.name, Second: b.name, Apart: b.count - a.count, Result: now.Clone()}
			if a.name == now.Switcher && b.line > 0 {
				continue // what is within goes out of it below
			}
			(*m.Result.At(a.line))[a.at], (*m.Result.At(b.line))[b.at] = b.name, a.name
			f.try(m)
		}
	}
	for i, a := range now.Loops {
		for _, b := range now.Loops[i+1:] {
			if a.Insert || b.Insert { // what is in between is no loop to exchange
				continue
			}
			m := Move{First: board.Line(a.Number).String(), Second: board.Line(b.Number).String(), Apart: b.Number - a.Number, Result: now.Clone()}
			x, y := m.Result.At(board.Line(a.Number)), m.Result.At(board.Line(b.Number))
			*x, *y = *y, *x
			f.try(m)
		}
	}
	for _, p := range places {
		if p.line <= 0 {
			continue
		}
		for _, behind := range []bool{false, true} {
			for _, m := range movesOf(c, p.line, p.at, func(to board.Line, k int) bool {
				at := slices.Index(now.Order, now.Switcher)
				return to == board.OrderLine && (k == at && !behind || k == at+1 && behind)
			}) {
				f.try(m)
			}
		}
	}
	return f.found, f.out
}

// Moves is every block that is on and the switcher as a whole at every other place: of the order,
// of the paths of a split, and in loops that are in. Parts of an amplifier stay where they are.
func Moves(c *board.Chain) []Move {
	now := c.Arrangement()
	f := newFinder(c)
	for _, line := range now.Lines() {
		for at, name := range *now.At(line) {
			p := f.blocks[name]
			if p.Off || p.Kind.Place != blocks.OnTheBoard {
				continue
			}
			for _, m := range movesOf(c, line, at, func(board.Line, int) bool { return true }) {
				f.try(m)
			}
		}
	}
	return f.found
}

// movesOf is one block at other places that are wanted; k is a place before the block is taken out.
func movesOf(c *board.Chain, line board.Line, at int, wanted func(to board.Line, k int) bool) (list []Move) {
	now := c.Arrangement()
	name := (*now.At(line))[at]
	for _, to := range now.Lines() {
		if to > 0 && name == now.Switcher {
			continue
		}
		for k := range len(*now.At(to)) + 1 {
			if to == line && (k == at || k == at+1) || !wanted(to, k) {
				continue
			}
			m := Move{First: name, From: line, To: to, Result: now.Clone()}
			if k > 0 {
				m.Behind = (*now.At(to))[k-1]
			} else if to == board.OrderLine {
				m.Behind = "guitar"
			}
			from, into := m.Result.At(line), m.Result.At(to)
			if to == line && k > at {
				k--
			}
			*from = slices.Delete(*from, at, at+1)
			*into = slices.Insert(*into, k, name)
			list = append(list, m)
		}
	}
	return list
}

// finder gathers moves that can be made and that change the order of what the signal meets.
type finder struct {
	chain  *board.Chain
	blocks map[string]board.Placed // by their names; the switcher by its own
	now    station
	seen   map[string]bool
	found  []Move
	out    []LeftOut
}

func newFinder(c *board.Chain) *finder {
	f := &finder{chain: c, blocks: map[string]board.Placed{}, seen: map[string]bool{}, found: []Move{}, out: []LeftOut{}}
	for _, p := range c.Every() {
		f.blocks[p.Name] = p
	}
	f.now = f.stations(c.Arrangement())
	f.seen[f.now.order] = true
	return f
}

// station is what counts of an arrangement.
type station struct {
	order string // of what the signal meets, alike where it meets the same
	// of every block: by the amplifiers' power that it stands behind, on each path
	zone  map[string]string
	power string                // what stands after power, on each path
	path  map[string]board.Line // what part of the chain it is in: before the split or on a path
}

// stations walks along the signal. Contacts of relays and cables are ignored; a switcher's
// buffer and its trim do not.
func (f *finder) stations(a board.Arrangement) station {
	s := station{zone: map[string]string{}, path: map[string]board.Line{}}
	var order, power strings.Builder
	var walk func(names []string, part board.Line, behind string) string
	walk = func(names []string, part board.Line, behind string) string {
		for _, name := range names {
			p := f.blocks[name]
			s.path[name] = part
			if p.Kind.Place == blocks.AfterPower {
				behind += name + " "
				fmt.Fprintf(&power, "%d %s\n", part, name)
			}
			s.zone[name] = behind
			if p.Piece == nil {
				fmt.Fprintf(&order, "%s, ", name)
				continue
			}
			if len(a.Loops) == 0 || p.Settings.Word("input_buffer") == "on" {
				fmt.Fprintf(&order, "%s, ", name)
			}
			for _, l := range a.Loops {
				behind = walk(l.Blocks, part, behind)
			}
			if len(a.Loops) > 0 && p.Settings.Number("trim") != 0 {
				fmt.Fprintf(&order, "trim of %s, ", name)
			}
		}
		return behind
	}
	behind := walk(a.Order, board.OrderLine, "")
	if a.Split != nil {
		order.WriteString("left: ")
		walk(a.Split.Left, board.LeftLine, behind)
		order.WriteString("right: ")
		walk(a.Split.Right, board.RightLine, behind)
	}
	s.order, s.power = order.String(), power.String()
	return s
}

// try takes a move where it can be made.
func (f *finder) try(m Move) {
	s := f.stations(m.Result)
	if f.seen[s.order] {
		return
	}
	f.seen[s.order] = true
	second := m.Second
	if second == "" {
		second = m.Where()
	}
	if why := f.refused(m.Result, s); why != "" {
		f.out = append(f.out, LeftOut{m.First, second, why})
		return
	}
	f.found = append(f.found, m)
}

// refused says why nobody could wire it so; "" where one can.
func (f *finder) refused(a board.Arrangement, s station) string {
	if s.power != f.now.power {
		return AtPower
	}
	for name, p := range f.blocks {
		switch {
		case s.zone[name] != f.now.zone[name]:
			return AtPower
		case p.Kind.Place == blocks.InAmplifier && s.path[name] != f.now.path[name]:
			return OffItsPath
		}
	}
	if f.chain.Unwireable() == "" && f.chain.Arranged(a).Unwireable() != "" {
		return AtPower
	}
	return ""
}
