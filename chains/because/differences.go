package because

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/phrase"
	"drywire/dsp"
)

// Difference is one thing in which a take b is not as a take a, and b with that one thing undone.
type Difference struct {
	Text   string     // "buffer comes before fuzz (in A behind it)"
	Blocks []string   // that it is about; none for cables and the guitar
	Back   board.Take // b, but in this as a

	// of a block that stands elsewhere in the same line: b with it one place further back at a
	// time, and the blocks that it then no longer passes; nil where it passes one or none
	steps []step
}

type step struct {
	past string
	take board.Take
}

// Differences is all of them, each by itself; texts call a by that name. Takes of which one ends in
// two paths and the other does not differ in that as a whole. What cannot be undone by itself,
// without harm or with the take still one that can be wired, is left out.
func Differences(f *board.File, a, b board.Take, called string) []Difference {
	d := &differ{f: f, a: f.Owned(a), b: f.Owned(b), called: called}
	d.places()
	d.loops()
	d.bypassed()
	d.settings()
	d.rest()
	return d.list
}

// differ gathers differences.
type differ struct {
	f      *board.File
	a, b   board.Take // with an order of their own
	called string
	list   []Difference
}

func (d *differ) add(text string, blocks []string, back board.Take, steps ...step) {
	back = d.f.Fitted(back)
	if d.f.Of(back).Unwireable() != "" {
		return
	}
	d.list = append(d.list, Difference{text, blocks, back, steps})
}

// lines is what stands where in an owned take, by the name of the line, and the names in their
// order: of loops those that are in, in either take.
func (d *differ) lines(t board.Take) (names []string, at map[string][]string) {
	at = map[string][]string{}
	put := func(name string, blocks []string) {
		names = append(names, name)
		at[name] = blocks
	}
	put("", t.Order)
	if t.Split != nil {
		put("left", t.Split.Left)
		put("right", t.Split.Right)
	}
	on := append(d.f.LoopsOn(d.a), d.f.LoopsOn(d.b)...)
	for _, l := range t.Loops {
		if slices.Contains(on, l.Number) {
			put(strconv.Itoa(l.Number), l.Blocks)
		}
	}
	return names, at
}

// with is an owned take with other blocks in one of its lines.
func with(t board.Take, line string, blocks []string) board.Take {
	switch line {
	case "":
		t.Order = blocks
	case "left", "right":
		s := *t.Split
		if line == "left" {
			s.Left = blocks
		} else {
			s.Right = blocks
		}
		t.Split = &s
	default:
		t.Loops = slices.Clone(t.Loops)
		for k := range t.Loops {
			if strconv.Itoa(t.Loops[k].Number) == line {
				t.Loops[k].Blocks = blocks
			}
		}
	}
	return t
}

// where is a line in words.
func where(line string) string {
	switch line {
	case "":
		return "in the chain"
	case "left", "right":
		return "on the " + line + " path"
	}
	return "in loop " + line
}

// places finds the blocks that stand elsewhere.
func (d *differ) places() {
	if (d.a.Split == nil) != (d.b.Split == nil) || d.a.Split != nil && d.a.Split.Mix != d.b.Split.Mix {
		back := d.b
		back.Order, back.Split = d.a.Order, d.a.Split
		d.add("the chain ends in other paths than in "+d.called, nil, back)
		return
	}
	names, was := d.lines(d.a)
	_, is := d.lines(d.b)
	lineOf := func(of map[string][]string, block string) (string, bool) {
		for _, n := range names {
			if slices.Contains(of[n], block) {
				return n, true
			}
		}
		return "", false
	}
	for _, line := range names {
		common := common(was[line], is[line])
		stay := longest(was[line], common)
		for _, block := range is[line] {
			if from, there := lineOf(was, block); !there {
				d.add(fmt.Sprintf("%s is %s (in %s it is not)", block, where(line), d.called), []string{block}, with(d.b, line, gone(is[line], block)))
			} else if from != line {
				back := with(d.b, line, gone(is[line], block))
				_, now := d.lines(back)
				d.add(fmt.Sprintf("%s is %s (in %s %s)", block, where(line), d.called, where(from)), []string{block}, with(back, from, put(now[from], was[from], block)))
			} else if !slices.Contains(stay, block) {
				d.moved(line, was[line], is[line], block)
			}
		}
		for _, block := range was[line] {
			if _, there := lineOf(is, block); !there {
				back := d.b
				for _, s := range d.a.Set {
					if strings.HasPrefix(s.Target, block+".") {
						back = set(back, s)
					}
				}
				back = with(d.f.Switched(back, block, d.f.IsOff(d.a, block)), line, put(is[line], was[line], block))
				d.add(fmt.Sprintf("%s is not %s (in %s it is)", block, where(line), d.called), []string{block}, back)
			}
		}
	}
}

// moved adds a block that stands elsewhere in its line.
func (d *differ) moved(line string, was, is []string, block string) {
	var before, behind, passed []string // which it comes before in b and did not in a, and behind
	a, b := slices.Index(was, block), slices.Index(is, block)
	for k, n := range is {
		at := slices.Index(was, n)
		switch {
		case at < 0 || n == block:
		case k > b && at < a:
			before = append(before, n)
		case k < b && at > a:
			behind = append(behind, n)
		}
	}
	var parts []string
	if len(before) > 0 {
		parts = append(parts, "before "+listed(before)+" (in "+d.called+" behind "+them(before)+")")
		passed = append(passed, before...)
	}
	if len(behind) > 0 {
		parts = append(parts, "behind "+listed(behind)+" (in "+d.called+" before "+them(behind)+")")
		passed = append(passed, behind...)
	}
	back := put(gone(is, block), was, block)
	var steps []step
	if len(passed) > 1 {
		to := slices.Index(back, block)
		now := slices.Clone(is)
		for at := b; at != to; {
			next := at + 1
			if to < at {
				next = at - 1
			}
			past := now[next]
			now = slices.Clone(now)
			now[at], now[next] = now[next], now[at]
			at = next
			if slices.Contains(passed, past) {
				steps = append(steps, step{past, with(d.b, line, now)})
			}
		}
	}
	d.add(block+" comes "+strings.Join(parts, ", and "), append([]string{block}, passed...), with(d.b, line, back), steps...)
}

// them is names that have just been listed.
func them(names []string) string {
	if len(names) == 1 {
		return "it"
	}
	return "them"
}

// listed is names in the order of the signal, so that they read well.
func listed(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// common is the names of b that a has as well.
func common(a, b []string) (list []string) {
	for _, n := range b {
		if slices.Contains(a, n) {
			list = append(list, n)
		}
	}
	return list
}

func gone(names []string, block string) []string {
	return slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == block })
}

// put is names with a block behind the nearest one that it stands behind in was.
func put(names, was []string, block string) []string {
	for k := slices.Index(was, block) - 1; k >= 0; k-- {
		if at := slices.Index(names, was[k]); at >= 0 {
			return slices.Insert(slices.Clone(names), at+1, block)
		}
	}
	return slices.Insert(slices.Clone(names), 0, block)
}

// longest is the most names that stand in was as they do in is: the others have moved.
func longest(was, is []string) []string {
	best := make([][]string, len(is)) // that end at each
	var most []string
	for k, n := range is {
		for j := range k {
			if slices.Index(was, is[j]) < slices.Index(was, n) && len(best[j]) > len(best[k]) {
				best[k] = best[j]
			}
		}
		best[k] = append(slices.Clone(best[k]), n)
		if len(best[k]) > len(most) {
			most = best[k]
		}
	}
	return most
}

// loops finds the loops that are in or out otherwise.
func (d *differ) loops() {
	a, b := d.f.LoopsOn(d.a), d.f.LoopsOn(d.b)
	for _, l := range d.b.Loops {
		in := slices.Contains(b, l.Number)
		if in == slices.Contains(a, l.Number) {
			continue
		}
		back := d.b
		if slices.Contains(back.Toggle, l.Number) {
			back.Toggle = slices.DeleteFunc(slices.Clone(back.Toggle), func(n int) bool { return n == l.Number })
		} else {
			back.Toggle = append(slices.Clone(back.Toggle), l.Number)
		}
		words := [2]string{"out", "in"}
		if in {
			words = [2]string{"in", "out"}
		}
		d.add(fmt.Sprintf("loop %d with %s is %s (in %s %s)", l.Number, phrase.And(l.Blocks), words[0], d.called, words[1]), l.Blocks, back)
	}
}

// here is the blocks that the signal of both takes runs through.
func (d *differ) here() []string {
	var a []string
	for _, p := range d.f.Of(d.a).Every() {
		a = append(a, heldBy(p))
	}
	var list []string
	for _, p := range d.f.Of(d.b).Every() {
		if n := heldBy(p); slices.Contains(a, n) && !slices.Contains(list, n) {
			list = append(list, n)
		}
	}
	return list
}

// heldBy is the block of the file that a placed one is of.
func heldBy(p board.Placed) string {
	if p.Piece != nil {
		return p.Switcher
	}
	return p.Name
}

func (d *differ) bypassed() {
	for _, name := range d.here() {
		a, b := d.f.IsOff(d.a, name), d.f.IsOff(d.b, name)
		if a == b {
			continue
		}
		words := [2]string{"on", "off"}
		if b {
			words = [2]string{"off", "on"}
		}
		d.add(fmt.Sprintf("%s is %s (in %s %s)", name, words[0], d.called, words[1]), []string{name}, d.f.Switched(d.b, name, a))
	}
}

// mostKnobs is how many knobs of a block are named one by one.
const mostKnobs = 2

// settings finds the blocks that are set otherwise, each as a whole.
func (d *differ) settings() {
	was, is := d.f.AsSet(d.a), d.f.AsSet(d.b)
	here := d.here()
	for k, b := range is {
		a := was[k]
		if !slices.Contains(here, b.Name) {
			continue
		}
		back, texts := d.b, []string{}
		for _, knob := range b.Kind.Knobs {
			target := b.Name + "." + knob.Name
			now, before := setText(b, knob.Name, knob.Unit, knob.Words != nil), setText(a, knob.Name, knob.Unit, knob.Words != nil)
			if now == before && moves(a, knob.Name) == moves(b, knob.Name) {
				continue
			}
			own := slices.IndexFunc(d.a.Set, func(s board.Setting) bool { return s.Target == target })
			if own >= 0 {
				back = set(back, d.a.Set[own])
			} else if s, err := file.Setting(d.f, target, before); err == nil {
				back = set(back, s)
			} else {
				continue
			}
			if now == before {
				texts = append(texts, knob.Name+" moves otherwise than in "+d.called)
			} else {
				texts = append(texts, fmt.Sprintf("%s at %s (in %s at %s)", knob.Name, now, d.called, before))
			}
		}
		switch {
		case len(texts) > mostKnobs:
			d.add(fmt.Sprintf("%s has %d knobs set otherwise than in %s", b.Name, len(texts), d.called), []string{b.Name}, back)
		case len(texts) > 0:
			d.add(b.Name+" has "+strings.Join(texts, " and "), []string{b.Name}, back)
		}
	}
}

// moves is how a knob moves with the recording, as a chain file has it; "" where it stands still.
func moves(p board.Placed, knob string) string {
	if c := p.Moves[knob]; c != nil {
		return c.String()
	}
	return ""
}

// setText is where a knob is, as a chain file has it.
func setText(p board.Placed, name string, unit dsp.Unit, word bool) string {
	if word {
		return p.Settings.Word(name)
	}
	return dsp.FormatQuantity(p.Settings.Number(name), unit)
}

// set is a take with a setting more, in the place of one of the same target.
func set(t board.Take, s board.Setting) board.Take {
	t.Set = append(slices.DeleteFunc(slices.Clone(t.Set), func(o board.Setting) bool { return o.Target == s.Target }), s)
	return t
}

// rest finds other guitars, and what takes set of the guitar, the cables and the load.
func (d *differ) rest() {
	if a, b := d.f.Of(d.a).GuitarName, d.f.Of(d.b).GuitarName; a != b {
		back := d.b
		if back.Guitar = a; a == "" {
			back.Guitar = board.OwnGuitar
		}
		said := func(n string) string {
			if n == "" {
				return "the file's own"
			}
			return n
		}
		d.add(fmt.Sprintf("the guitar is %s (in %s %s)", said(b), d.called, said(a)), nil, back)
	}
	block := func(target string) bool {
		name, _, _ := strings.Cut(target, ".")
		return slices.ContainsFunc(d.f.Blocks, func(b board.Block) bool { return b.Name == name })
	}
	of := func(t board.Take, target string) *board.Setting {
		if k := slices.IndexFunc(t.Set, func(s board.Setting) bool { return s.Target == target }); k >= 0 {
			return &t.Set[k]
		}
		return nil
	}
	var targets []string
	for _, s := range append(slices.Clone(d.a.Set), d.b.Set...) {
		if !block(s.Target) && !slices.Contains(targets, s.Target) {
			targets = append(targets, s.Target)
		}
	}
	for _, target := range targets {
		a, b := of(d.a, target), of(d.b, target)
		if a != nil && b != nil && a.Text == b.Text {
			continue
		}
		back := d.b
		said := func(s *board.Setting) string {
			if s == nil {
				return "as the file has it"
			}
			return "at " + s.Text
		}
		if a != nil {
			back = set(back, *a)
		} else {
			back.Set = slices.DeleteFunc(slices.Clone(back.Set), func(o board.Setting) bool { return o.Target == target })
		}
		d.add(fmt.Sprintf("%s is %s (in %s %s)", spoken(target), said(b), d.called, said(a)), nil, back)
	}
}

// spoken is the target of a setting in words.
func spoken(target string) string {
	of, what, ok := strings.Cut(target, ".")
	if !ok {
		return target
	}
	return "the " + of + "'s " + what
}
