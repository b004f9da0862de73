package board

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"drywire/blocks"
	"drywire/chains/internal/yamltext"
)

// Arrangement is what stands where in a take: its order, the paths of a split, and what the loops
// that are in hold. A block stands in one place.
type Arrangement struct {
	Order    []string    // names of blocks, of a switcher as a whole
	Split    *SplitOrder // nil where the order ends in one path
	Switcher string      // in the order or on a path; "" for none
	Loops    []Loop      // of it, those that the signal runs through, by their numbers
}

// Arrangement is how the chain's blocks stand.
func (c *Chain) Arrangement() Arrangement { return c.arrangement.clone() }

func (a Arrangement) clone() Arrangement {
	b := Arrangement{Order: slices.Clone(a.Order), Switcher: a.Switcher, Loops: slices.Clone(a.Loops)}
	if a.Split != nil {
		b.Split = &SplitOrder{slices.Clone(a.Split.Left), slices.Clone(a.Split.Right), a.Split.Mix}
	}
	for k := range b.Loops {
		b.Loops[k].Blocks = slices.Clone(b.Loops[k].Blocks)
	}
	return b
}

// Arranged is the chain with its blocks at other places, in the loops that the arrangement names and
// in no others of those that were in. Every name must be of a block of the file, and once.
func (c *Chain) Arranged(a Arrangement) *Chain {
	t := c.take
	t.Order, t.Split, t.Loops = a.Order, a.Split, Overlaid(c.file.LoopsOf(t), a.Loops)
	d := c.file.resolve(t)
	d.Recording, d.Guitar, d.Load = c.Recording, c.Guitar, c.Load
	if c.Turns == nil {
		d = d.At(0)
	}
	return d
}

// Same says whether two chains are the same in all but the file that they are of.
func (c *Chain) Same(other *Chain) bool {
	a, b := *c, *other
	a.file, b.file, a.take, b.take = nil, nil, Take{}, Take{}
	return reflect.DeepEqual(a, b)
}

// Keys is another arrangement of the chain as keys of a take, a line each: the order, and loops where
// they hold something else than the switcher has in them.
func (c *Chain) Keys(a Arrangement) []string {
	keys := []string{"order: " + OrderText(a.Order, a.Split)}
	var own []Loop
	usual := c.file.LoopsOf(Take{})
	for k, l := range Overlaid(c.file.LoopsOf(c.take), a.Loops) {
		if !slices.Equal(l.Blocks, usual[k].Blocks) {
			own = append(own, l)
		}
	}
	if own != nil {
		keys = append(keys, "loops: "+LoopsText(own))
	}
	return keys
}

// String is the arrangement in one line, with what stands in loops behind their switcher.
func (a Arrangement) String() string {
	text := OrderText(a.Order, a.Split)
	if len(a.Loops) > 0 {
		text += ", loops " + LoopsText(a.Loops)
	}
	return text
}

// OrderText is an order as a chain file has it in one line, with names in quotes where they need them.
func OrderText(order []string, split *SplitOrder) string {
	var all []string
	for _, n := range order {
		all = append(all, yamltext.Quote(n, true))
	}
	if split != nil {
		all = append(all, split.String())
	}
	return "[" + strings.Join(all, ", ") + "]"
}

// String is the split as an order of a chain file has it.
func (s *SplitOrder) String() string {
	text := "{split: {left: " + yamltext.FlowNames(s.Left) + ", right: " + yamltext.FlowNames(s.Right)
	if s.Mix != "" && s.Mix != MixStereo {
		text += ", mix: " + s.Mix
	}
	return text + "}}"
}

// LoopsText is loops as a chain file has them in one line.
func LoopsText(loops []Loop) string {
	var all []string
	for _, l := range loops {
		all = append(all, strconv.Itoa(l.Number)+": "+yamltext.FlowNames(l.Blocks))
	}
	return "{" + strings.Join(all, ", ") + "}"
}

// Line is a row of places of an arrangement.
type Line int

// The lines. A loop's is its number, from 1.
const (
	OrderLine Line = -iota
	LeftLine
	RightLine
)

// at is the blocks of a line.
func (a *Arrangement) at(l Line) *[]string {
	switch l {
	case OrderLine:
		return &a.Order
	case LeftLine:
		return &a.Split.Left
	case RightLine:
		return &a.Split.Right
	}
	for k := range a.Loops {
		if a.Loops[k].Number == int(l) {
			return &a.Loops[k].Blocks
		}
	}
	panic(fmt.Sprintf("board: no loop %d", l))
}

// Names is every block along the signal, a switcher before what it holds.
func (a Arrangement) Names() (all []string) {
	a.walk(func(_ Line, _ int, name string) { all = append(all, name) })
	return all
}

// walk goes along the signal, with the line and the place in it of every block.
func (a Arrangement) walk(visit func(line Line, at int, name string)) {
	var along func(Line)
	along = func(line Line) {
		for at, name := range *a.at(line) {
			visit(line, at, name)
			if name == a.Switcher {
				for _, l := range a.Loops {
					along(Line(l.Number))
				}
			}
		}
	}
	along(OrderLine)
	if a.Split != nil {
		along(LeftLine)
		along(RightLine)
	}
}

// lines is all of them: order, loops, left, right.
func (a *Arrangement) lines() []Line {
	list := []Line{OrderLine}
	for _, l := range a.Loops {
		list = append(list, Line(l.Number))
	}
	if a.Split != nil {
		list = append(list, LeftLine, RightLine)
	}
	return list
}

// Key is the line as the chain file names it.
func (l Line) Key() string {
	return strings.TrimSuffix(strings.TrimPrefix(l.String(), "the "), " path")
}

func (l Line) String() string {
	switch l {
	case OrderLine:
		return "the order"
	case LeftLine:
		return "the left path"
	case RightLine:
		return "the right path"
	}
	return fmt.Sprintf("loop %d", l)
}

// Move is one change of what stands where: two things that change places, or one that goes to
// another place.
type Move struct {
	First  string // a block, a switcher, or a loop for all that is in it; of two, what came first
	Second string // what First changes places with; "" where First goes somewhere else alone
	From   Line   // where it was
	To     Line   // where it goes then
	Behind string // and what it stands behind there; "guitar" or "" at the beginning of a line
	Apart  int    // blocks from one place to the other, with the one that is reached; of loops, loops
	Result Arrangement
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

// SamePaths says whether what moves alone stays on the paths of a split that it was on.
func (m Move) SamePaths() bool { return m.From == m.To || m.From >= 0 && m.To >= 0 }

// Where is where a block goes that changes places with none.
func (m Move) Where() string {
	switch {
	case m.Behind == "" && m.To != OrderLine:
		return "first in " + m.To.String()
	case m.Behind == "guitar":
		return "behind the guitar"
	case m.To == OrderLine || m.To == LeftLine || m.To == RightLine:
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
	AtPower    = "at the power of an amplifier"                // it would bring something across the power or the loudspeaker of an amplifier
	OffItsPath = "off the path of the amplifier it is part of" // of two paths
)

// Swaps is every two things of a chain that can change places: blocks of the order, of one path or
// of both, of loops, a switcher as a whole, and all that one loop holds with all that another does;
// and every block of a loop out of it, in front of its switcher or behind it. Moves that come to
// the same order of blocks are there once.
func (c *Chain) Swaps() (all []Move, out []LeftOut) {
	now := c.arrangement
	f := c.finder()
	type place struct {
		line  Line
		at    int
		name  string
		count int // of the place along the signal
	}
	var places []place
	now.walk(func(line Line, at int, name string) { places = append(places, place{line, at, name, len(places)}) })
	for i, a := range places {
		for _, b := range places[i+1:] {
			m := Move{First: a.name, Second: b.name, Apart: b.count - a.count, Result: now.clone()}
			if a.name == now.Switcher && b.line > 0 {
				continue // what is within goes out of it below
			}
			(*m.Result.at(a.line))[a.at], (*m.Result.at(b.line))[b.at] = b.name, a.name
			f.try(m)
		}
	}
	for i, a := range now.Loops {
		for _, b := range now.Loops[i+1:] {
			m := Move{First: Line(a.Number).String(), Second: Line(b.Number).String(), Apart: b.Number - a.Number, Result: now.clone()}
			x, y := m.Result.at(Line(a.Number)), m.Result.at(Line(b.Number))
			*x, *y = *y, *x
			f.try(m)
		}
	}
	for _, p := range places {
		if p.line <= 0 {
			continue
		}
		for _, behind := range []bool{false, true} {
			for _, m := range c.movesOf(p.line, p.at, func(to Line, k int) bool {
				at := slices.Index(now.Order, now.Switcher)
				return to == OrderLine && (k == at && !behind || k == at+1 && behind)
			}) {
				f.try(m)
			}
		}
	}
	return f.found, f.out
}

// Moves is every block that is on and the switcher as a whole at every other place: of the order, of
// the paths of a split, and in loops that are in. Parts of an amplifier stay where they are.
func (c *Chain) Moves() []Move {
	f := c.finder()
	for _, line := range c.arrangement.lines() {
		for at, name := range *c.arrangement.at(line) {
			p := f.blocks[name]
			if p.Off || p.Kind.Place != blocks.OnTheBoard {
				continue
			}
			for _, m := range c.movesOf(line, at, func(Line, int) bool { return true }) {
				f.try(m)
			}
		}
	}
	return f.found
}

// movesOf is one block at other places that are wanted; k is a place before the block is taken out.
func (c *Chain) movesOf(line Line, at int, wanted func(to Line, k int) bool) (list []Move) {
	now := c.arrangement
	name := (*now.at(line))[at]
	for _, to := range now.lines() {
		if to > 0 && name == now.Switcher {
			continue
		}
		for k := range len(*now.at(to)) + 1 {
			if to == line && (k == at || k == at+1) || !wanted(to, k) {
				continue
			}
			m := Move{First: name, From: line, To: to, Result: now.clone()}
			if k > 0 {
				m.Behind = (*now.at(to))[k-1]
			} else if to == OrderLine {
				m.Behind = "guitar"
			}
			from, into := m.Result.at(line), m.Result.at(to)
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
	chain  *Chain
	blocks map[string]Placed // by their names; the switcher by its own
	now    station
	seen   map[string]bool
	found  []Move
	out    []LeftOut
}

func (c *Chain) finder() *finder {
	f := &finder{chain: c, blocks: map[string]Placed{}, seen: map[string]bool{}, found: []Move{}, out: []LeftOut{}}
	for _, p := range c.Every() {
		f.blocks[p.Name] = p
	}
	f.now = f.stations(c.arrangement)
	f.seen[f.now.order] = true
	return f
}

// station is what counts of an arrangement.
type station struct {
	order string            // of what the signal meets, alike where it meets the same
	zone  map[string]string // of every block: by the amplifiers' power that it stands behind, on each path
	power string            // what stands after power, on each path
	path  map[string]Line   // what part of the chain it is in: before the split or on a path
}

// stations walks along the signal. Contacts of relays and cables count as nothing; a switcher's
// buffer and its trim do not.
func (f *finder) stations(a Arrangement) station {
	s := station{zone: map[string]string{}, path: map[string]Line{}}
	var order, power strings.Builder
	var walk func(names []string, part Line, behind string) string
	walk = func(names []string, part Line, behind string) string {
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
	behind := walk(a.Order, OrderLine, "")
	if a.Split != nil {
		order.WriteString("left: ")
		walk(a.Split.Left, LeftLine, behind)
		order.WriteString("right: ")
		walk(a.Split.Right, RightLine, behind)
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
func (f *finder) refused(a Arrangement, s station) string {
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
