package board

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

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
func (c *Chain) Arrangement() Arrangement { return c.arrangement.Clone() }

// Clone is a copy that shares nothing with the arrangement.
func (a Arrangement) Clone() Arrangement {
	b := Arrangement{Order: slices.Clone(a.Order), Switcher: a.Switcher, Loops: slices.Clone(a.Loops)}
	if a.Split != nil {
		b.Split = &SplitOrder{slices.Clone(a.Split.Left), slices.Clone(a.Split.Right), a.Split.Mix}
	}
	for k := range b.Loops {
		b.Loops[k].Blocks = slices.Clone(b.Loops[k].Blocks)
	}
	return b
}

// Arranged is the chain with its blocks at other places, in the loops that the arrangement names
// and in no others of those that were in. Every name must be of a block of the file, and once.
func (c *Chain) Arranged(a Arrangement) *Chain {
	t := c.take
	t.Order, t.Split, t.Loops = a.Order, a.Split, Overlaid(c.file.LoopsOf(t), a.Loops)
	d := c.file.resolve(t)
	d.Recording, d.Guitar, d.Load = c.Recording, c.Guitar, c.Load
	if c.Turns == nil && c.Changes == nil {
		d = d.At(0)
	}
	return d
}

// Same reports whether two chains are the same in all but the file that they are of.
func (c *Chain) Same(other *Chain) bool {
	a, b := *c, *other
	a.file, b.file, a.take, b.take = nil, nil, Take{}, Take{}
	return reflect.DeepEqual(a, b)
}

// Keys is another arrangement of the chain as keys of a take, a line each: the order, and loops
// where they hold something else than the switcher has in them.
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

// OrderText is an order as a chain file has it in one line, with names in quotes where they need
// them.
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

// At is the blocks of a line. It panics where there is no loop of that number.
func (a *Arrangement) At(l Line) *[]string {
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
	a.Walk(func(_ Line, _ int, name string) { all = append(all, name) })
	return all
}

// Walk goes along the signal, with the line and the place in it of every block.
func (a Arrangement) Walk(visit func(line Line, at int, name string)) {
	var along func(Line)
	along = func(line Line) {
		for at, name := range *a.At(line) {
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

// Lines is all of them: order, loops, left, right.
func (a *Arrangement) Lines() []Line {
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
