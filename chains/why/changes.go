package why

import (
	"fmt"
	"math"
	"slices"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/dsp"
)

// change is one thing that a player could do to a take.
type change struct {
	text  string // as an order: "move the buffer behind the fuzz"
	block string // that it is about; "" for cables and the guitar
	sort  string // "move", "insert", "remove", "bypass", "set"
	do    func(t board.Take) board.Take
	knob  *knob // that it turns, or nil
	// of a move: the blocks that it passes
	passes []string
}

// NewBuffer is the name of a buffer that is put in.
const NewBuffer = "new-buffer"

// changer lists changes of one take.
type changer struct {
	file *board.File
	take board.Take
	at   *board.Chain // the take as it is
	keep board.Keep
	list []change
}

// withBuffer is the file with one block more, which no order has yet.
func withBuffer(f *board.File) *board.File {
	g := *f
	kind := blocks.Find("buffer")
	g.Blocks = append(slices.Clone(f.Blocks), board.Block{Name: NewBuffer, Kind: kind, Settings: kind.Defaults()})
	return &g
}

// line is a list of names in a take that blocks can be moved in: its order, a path of its split or
// a loop that is in.
type line struct {
	names []string
	set   func(t board.Take, names []string) board.Take
	said  string // where it is, for messages; "" for the order itself
}

func (c *changer) lines() []line {
	order, split := c.take.Order, c.take.Split
	if order == nil {
		order, split = c.file.Order, c.file.Split
	}
	owned := func(t board.Take) board.Take {
		if t.Order == nil {
			t.Order, t.Split = slices.Clone(order), split
		}
		return t
	}
	list := []line{{order, func(t board.Take, names []string) board.Take {
		t = owned(t)
		t.Order = names
		return t
	}, ""}}
	if split != nil {
		list = append(list, line{split.Left, func(t board.Take, names []string) board.Take {
			t = owned(t)
			s := *t.Split
			s.Left = names
			t.Split = &s
			return t
		}, " on the left path"}, line{split.Right, func(t board.Take, names []string) board.Take {
			t = owned(t)
			s := *t.Split
			s.Right = names
			t.Split = &s
			return t
		}, " on the right path"})
	}
	on := c.file.LoopsOn(c.take)
	for _, l := range c.file.LoopsOf(c.take) {
		if !slices.Contains(on, l.Number) {
			continue
		}
		list = append(list, line{l.Blocks, func(t board.Take, names []string) board.Take {
			t.Loops = slices.DeleteFunc(slices.Clone(t.Loops), func(o board.Loop) bool { return o.Number == l.Number })
			t.Loops = append(t.Loops, board.Loop{Number: l.Number, Blocks: names})
			return t
		}, fmt.Sprintf(" in loop %d", l.Number)})
	}
	return list
}

// kindOf is the kind of a block of the file.
func (c *changer) kindOf(name string) *blocks.Kind {
	for _, b := range c.file.Blocks {
		if b.Name == name {
			return b.Kind
		}
	}
	return nil
}

// onBoard reports whether a block is one that a player may move, rather than a part of an amplifier
// or the switcher.
func (c *changer) onBoard(name string) bool {
	k := c.kindOf(name)
	return k != nil && k.Place == blocks.OnTheBoard && k.Name != "switcher"
}

// wired reports whether a player could make one list of names of another, as keep has it.
func (c *changer) wired(was, is []string) bool {
	return board.Reordered(c.placed(was), c.placed(is)) == "" && c.keep.Allows(is)
}

// placed is blocks of the file as they are without a take.
func (c *changer) placed(names []string) (line []board.Placed) {
	for _, n := range names {
		line = append(line, board.Placed{Name: n, Kind: c.kindOf(n)})
	}
	return line
}

func (c *changer) add(sort, block, text string, do func(board.Take) board.Take) {
	c.list = append(c.list, change{text: text, block: block, sort: sort, do: do})
}

// without is a take with some blocks taken off the board.
func (c *changer) without(t board.Take, names ...string) board.Take {
	u := changer{file: c.file, take: t, at: c.at}
	for _, l := range u.lines() {
		rest := slices.DeleteFunc(slices.Clone(l.names), func(n string) bool { return slices.Contains(names, n) })
		if len(rest) != len(l.names) {
			t = l.set(t, rest)
		}
	}
	return c.file.Fitted(t)
}

// all is every single change that a player could make.
func (c *changer) all() []change {
	for _, l := range c.lines() {
		c.moves(l)
	}
	for _, p := range c.at.Every() {
		if p.Piece == nil || p.Name == p.Switcher { // of a switcher, its first piece
			c.block(p)
		}
	}
	c.cables()
	c.guitar()
	return slices.DeleteFunc(c.list, func(one change) bool { return c.file.Of(one.do(c.take)).Unwireable() != "" })
}

func (c *changer) moves(l line) {
	behind := func(names []string, k int) string {
		switch {
		case k > 0:
			return "behind " + names[k-1]
		case len(names) > 1:
			return "in front of " + names[1]
		}
		return "alone"
	}
	for from, name := range l.names {
		if !c.onBoard(name) {
			continue
		}
		for to := range l.names {
			// the neighbour's own move is the same
			if to == from || to == from-1 && c.onBoard(l.names[to]) {
				continue
			}
			names := slices.Insert(slices.Delete(slices.Clone(l.names), from, from+1), to, name)
			if c.wired(l.names, names) {
				c.add("move", name, fmt.Sprintf("move %s %s%s", name, behind(names, to), l.said), func(t board.Take) board.Take { return l.set(t, names) })
				c.list[len(c.list)-1].passes = l.names[min(from+1, to):max(from, to+1)]
			}
		}
		c.add("remove", name, "take "+name+" out", func(t board.Take) board.Take { return c.without(t, name) })
	}
	for k := 0; k <= len(l.names); k++ {
		names := slices.Insert(slices.Clone(l.names), k, NewBuffer)
		if c.wired(l.names, names) {
			c.add("insert", NewBuffer, fmt.Sprintf("put a buffer %s%s", behind(names, k), l.said), func(t board.Take) board.Take { return l.set(t, names) })
		}
	}
}

// set adds the change of one setting.
func (c *changer) set(block, target, value, text string) {
	if one := c.setting(block, target, value, text, nil); one != nil {
		c.list = append(c.list, *one)
	}
}

// setting is the change of one setting; nil where the file does not allow it.
func (c *changer) setting(block, target, value, text string, k *knob) *change {
	s, err := file.Setting(c.file, target, value)
	if err != nil {
		return nil
	}
	return &change{text: text, block: block, sort: "set", do: func(t board.Take) board.Take {
		t.Set = append(slices.DeleteFunc(slices.Clone(t.Set), func(o board.Setting) bool { return o.Target == target }), s)
		return t
	}, knob: k}
}

// block is what can be done to one block where it stands.
func (c *changer) block(p board.Placed) {
	if p.Off {
		if k, ok := p.Kind.Knob("bypass"); ok && p.Settings.Word("bypass") == "buffered" && slices.Contains(k.Words, "true") {
			c.set(p.Name, p.Name+".bypass", "true", "give "+p.Name+" a true bypass")
		}
		return
	}
	if _, ok := p.Kind.Knob("bypass"); ok && p.Piece == nil {
		c.add("bypass", p.Name, "switch "+p.Name+" off", func(t board.Take) board.Take {
			return c.file.Fitted(c.file.Switched(t, p.Name, true))
		})
	}
	for _, k := range p.Kind.Knobs {
		target := p.Name + "." + k.Name
		switch {
		case k.Name == "input_buffer":
			other, do := "on", "on"
			if p.Settings.Word(k.Name) == "on" {
				other, do = "off", "off"
			}
			c.set(p.Name, target, other, fmt.Sprintf("switch the input buffer of %s %s", p.Name, do))
		case k.Words != nil || k.Still != "" && k.Name != "supply":
		case k.Name == "supply":
			if p.Power != "" {
				continue // another output is another question: drywire power
			}
			now := p.Settings.Number("supply")
			for _, v := range []float64{9, 12, 18} {
				if v != now && v >= float64(p.Kind.Volts[0]) && v <= float64(p.Kind.Volts[1]) {
					c.set(p.Name, target, dsp.FormatQuantity(v, dsp.Volts), fmt.Sprintf("feed %s from %s", p.Name, dsp.FormatQuantity(v, dsp.Volts)))
				}
			}
		default:
			c.turn(p.Name, target, k.Name+" of "+p.Name, k.Unit, p.Settings.Number(k.Name), k.Min, k.Max)
		}
	}
}

// knob is a knob that can be turned.
type knob struct {
	block, target, name string
	unit                dsp.Unit
	now, low, high      float64
	up                  bool
}

// turn adds a knob by an hour either way.
func (c *changer) turn(block, target, name string, unit dsp.Unit, now, low, high float64) {
	for _, up := range []bool{false, true} {
		k := &knob{block, target, name, unit, now, low, high, up}
		if one := c.turned(k, 1); one != nil {
			c.list = append(c.list, *one)
		}
	}
}

// turned is a knob by so many hours: a tenth of a dial, 3 dB, a third of an octave or ten points of
// a percentage each. Ends stay ends; nil where it does not move.
func (c *changer) turned(k *knob, hours float64) *change {
	v := k.now
	switch k.unit {
	case dsp.Dial:
		v += hours * sign(k.up)
	case dsp.Decibels:
		v += 3 * hours * sign(k.up)
	case dsp.Percents:
		v += 0.1 * hours * sign(k.up)
	case dsp.Hertzes:
		v *= math.Exp2(hours * sign(k.up) / 3)
	}
	return c.position(k, math.Round(v*1e6)/1e6)
}

// position is a knob at a value, as finely as a hand sets it: a tenth of a dial's number, of a
// decibel or a per cent. Ends stay ends; nil where it does not move.
func (c *changer) position(k *knob, v float64) *change {
	switch k.unit {
	case dsp.Dial, dsp.Decibels:
		v = math.Round(v*10) / 10
	case dsp.Percents:
		v = math.Round(v*100) / 100
	}
	if v = min(max(v, k.low), k.high); v == k.now {
		return nil
	}
	way := "down"
	if v > k.now {
		way = "up"
	}
	value := dsp.FormatQuantity(v, k.unit)
	if k.unit == dsp.Hertzes {
		value = fmt.Sprintf("%.3g Hz", v)
	}
	return c.setting(k.block, k.target, value, fmt.Sprintf("turn %s %s to %s (from %s)", k.name, way, value, dsp.FormatQuantity(k.now, k.unit)), k)
}

func sign(up bool) float64 {
	if up {
		return 1
	}
	return -1
}

func (c *changer) cables() {
	half := func(target string, length dsp.Metre, what string) {
		if length > 0.2 {
			value := fmt.Sprintf("%.3g m", float64(length)/2)
			c.set("", target, value, fmt.Sprintf("make %s half as long (%s)", what, value))
		}
	}
	half("guitar.cable", c.at.Guitar.Cable, "the guitar's cable")
	half("patch", c.at.Patch, "the cables between the pedals")
	half("load.cable", c.at.Load.Cable, "the cable to the amplifier")
}

func (c *changer) guitar() {
	for _, k := range []struct {
		name string
		now  float64
	}{{"volume", c.at.Guitar.Volume}, {"tone", c.at.Guitar.Tone}} {
		c.turn("", "guitar."+k.name, "the guitar's "+k.name, dsp.Dial, k.now, 0, 10)
	}
}

// plugs is how many plugs have to be pulled or put in to get from one chain to another.
func plugs(from, to *board.Chain) (n int) {
	for _, m := range board.Cables(from, to) {
		n += m.Ends
	}
	return n
}

// suspects is the names of what may be taken out one at a time.
func (c *changer) suspects() (list []string) {
	for _, l := range c.lines() {
		for _, n := range l.names {
			if c.onBoard(n) {
				list = append(list, n)
			}
		}
	}
	return list
}

// among compares words for a list that reads well.
