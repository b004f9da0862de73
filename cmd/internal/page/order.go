package page

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"drywire/chains"
)

// reordered is the document after the order of a side's take was changed, with what is in a switcher's loops. Blocks that are named nowhere go to the
// tray. A loop is wiring that every take has: what is plugged into one leaves the file's order and those of all takes. The text must be a valid chain
// file at every step on the way, so that a block that moves between an order and a loop is in the tray meanwhile.
func (n *session) reordered(ctx context.Context, d document, side int, entries []orderEntry) (document, error) {
	t := d.take(side)
	order, split, loops, err := flattened(entries, d.file)
	if err != nil {
		return d, err
	}
	text := d.text
	edit := func(do func([]byte) ([]byte, error)) {
		if err == nil {
			text, err = do(text)
		}
	}
	// What is meant.
	after := *d.file
	after.Takes = slices.Clone(after.Takes)
	for k := range after.Takes {
		u := &after.Takes[k]
		if u.Name == t.Name {
			u.Order, u.Split = order, split
		} else if u.Order != nil {
			u.Order, u.Split = loops.without(u.Order, u.Split)
		}
	}
	if loops != nil {
		after.Order, after.Split = loops.without(after.Order, after.Split)
		after.Blocks = slices.Clone(after.Blocks)
		for k := range after.Blocks {
			if after.Blocks[k].Name == loops.switcher {
				after.Blocks[k].Loops = loops.list
			}
		}
	}
	// What will wait, and meanwhile also what is moved between an order and a loop.
	wait := waiting(&after)
	meanwhile := slices.Clone(wait)
	for _, b := range d.file.Blocks {
		if (slices.Contains(d.file.Tray, b.Name) || loops.have(b.Name)) && !slices.Contains(meanwhile, b.Name) {
			meanwhile = append(meanwhile, b.Name)
		}
	}
	if !slices.Equal(meanwhile, d.file.Tray) {
		edit(func(b []byte) ([]byte, error) { return chains.SetTray(b, meanwhile) })
	}
	if loops != nil {
		// First without what is in a loop before or after, and without settings of it.
		for k, u := range d.file.Takes {
			if u.Name == t.Name || loops.touch(reach(d.file, u)) || loops.touch(reach(&after, after.Takes[k])) {
				u.Order, u.Split = after.Takes[k].Order, after.Takes[k].Split
				if u.Order != nil {
					u.Order, u.Split = loops.clear(u.Order, u.Split)
				}
				u.Set, u.Off = nil, nil
				edit(func(b []byte) ([]byte, error) { return chains.SetTake(b, u.Name, u) })
			}
		}
		if order, split := loops.clear(d.file.Order, d.file.Split); len(order) > 0 || split != nil {
			edit(func(b []byte) ([]byte, error) { return chains.SetOrder(b, order, split) })
		}
		edit(func(b []byte) ([]byte, error) { return chains.SetLoops(b, loops.switcher, loops.list) })
	}
	if err != nil {
		return d, err
	}
	between, err := chains.Parse(n.server.name, text)
	if err != nil {
		return d, err
	}
	for k, u := range after.Takes {
		if u.Name == t.Name || loops.touch(reach(d.file, d.file.Takes[k])) || loops.touch(reach(&after, u)) {
			u = n.kept(document{file: between}, u)
			edit(func(b []byte) ([]byte, error) { return chains.SetTake(b, u.Name, u) })
		}
	}
	if !slices.Equal(meanwhile, wait) {
		edit(func(b []byte) ([]byte, error) { return chains.SetTray(b, wait) })
	}
	if err != nil {
		return d, err
	}
	return n.server.parsed(ctx, text, d.takes)
}

// changedLoops is what is plugged into a switcher's loops, after a change and before it. nil is no change.
type changedLoops struct {
	switcher     string
	list, before []chains.Loop
}

// have says whether a block is in a loop before or after.
func (l *changedLoops) have(name string) bool {
	return l != nil && (inLoops(l.list, name) || inLoops(l.before, name))
}

// touch says whether one of the blocks is in a loop before or after.
func (l *changedLoops) touch(names []string) bool { return slices.ContainsFunc(names, l.have) }

// without is an order without what is in a loop after the change; clear also without what was in one before.
func (l *changedLoops) without(order []string, split *chains.SplitOrder) ([]string, *chains.SplitOrder) {
	return filtered(order, split, func(name string) bool { return l != nil && inLoops(l.list, name) })
}

func (l *changedLoops) clear(order []string, split *chains.SplitOrder) ([]string, *chains.SplitOrder) {
	return filtered(order, split, l.have)
}

// filtered is an order without the blocks that gone names.
func filtered(order []string, split *chains.SplitOrder, gone func(string) bool) ([]string, *chains.SplitOrder) {
	kept := func(names []string) []string { return slices.DeleteFunc(append([]string{}, names...), gone) }
	if split != nil {
		split = &chains.SplitOrder{Left: kept(split.Left), Right: kept(split.Right), Mix: split.Mix}
	}
	return kept(order), split
}

// flattened is an order as the chain file has it.
func flattened(entries []orderEntry, f *chains.File) (order []string, split *chains.SplitOrder, loops *changedLoops, err error) {
	add := func(to *[]string, e orderEntry) error {
		if e.Split != nil {
			return refuse(http.StatusUnprocessableEntity, "a split stands at the end of an order, and not in a path of another")
		}
		*to = append(*to, e.Block)
		if e.In == nil {
			return nil
		}
		at := slices.IndexFunc(f.Blocks, func(b chains.Block) bool { return b.Name == e.Block && b.Loops != nil })
		if at < 0 {
			return refuse(http.StatusUnprocessableEntity, "block %q has no loops", e.Block)
		}
		l := &changedLoops{switcher: e.Block, before: f.Blocks[at].Loops}
		same := true
		for _, loop := range l.before {
			names := e.In[loop.Number]
			same = same && slices.Equal(names, loop.Blocks)
			l.list = append(l.list, chains.Loop{Number: loop.Number, Blocks: names})
		}
		for number := range e.In {
			if !slices.ContainsFunc(l.before, func(loop chains.Loop) bool { return loop.Number == number }) {
				return refuse(http.StatusUnprocessableEntity, "%q has no loop %d", e.Block, number)
			}
		}
		if !same {
			loops = l
		}
		return nil
	}
	order = []string{}
	for k, e := range entries {
		if e.Split == nil {
			if err := add(&order, e); err != nil {
				return nil, nil, nil, err
			}
			continue
		}
		if k != len(entries)-1 {
			return nil, nil, nil, refuse(http.StatusUnprocessableEntity, "a split stands at the end of an order")
		}
		split = &chains.SplitOrder{Left: []string{}, Right: []string{}, Mix: e.Split.Mix}
		for _, l := range e.Split.Left {
			if err := add(&split.Left, l); err != nil {
				return nil, nil, nil, err
			}
		}
		for _, r := range e.Split.Right {
			if err := add(&split.Right, r); err != nil {
				return nil, nil, nil, err
			}
		}
	}
	return order, split, loops, nil
}

func inLoops(loops []chains.Loop, name string) bool {
	return slices.ContainsFunc(loops, func(l chains.Loop) bool { return slices.Contains(l.Blocks, name) })
}

// reach is the blocks that a take has, with those in the loops of its switcher that are in.
func reach(f *chains.File, t chains.Take) []string {
	order, split := t.Order, t.Split
	if order == nil {
		order, split = f.Order, f.Split
	}
	all := slices.Clone(order)
	if split != nil {
		all = append(append(all, split.Left...), split.Right...)
	}
	on := loopsOn(f, t)
	for _, b := range f.Blocks {
		if b.Loops == nil || !slices.Contains(all, b.Name) {
			continue
		}
		for _, l := range b.Loops {
			if slices.Contains(on, l.Number) {
				all = append(all, l.Blocks...)
			}
		}
	}
	return all
}

// loopsOn is the numbers of the loops that a take has in.
func loopsOn(f *chains.File, t chains.Take) []int {
	var on []int
	for _, p := range f.Presets {
		if p.Name == t.Preset {
			on = slices.Clone(p.Loops)
		}
	}
	for _, k := range t.Toggle {
		if at := slices.Index(on, k); at >= 0 {
			on = slices.Delete(on, at, at+1)
		} else {
			on = append(on, k)
		}
	}
	return on
}

// kept is a take without settings and bypasses of blocks that it no longer has, which a chain file may not hold.
func (n *session) kept(d document, t chains.Take) chains.Take {
	here := reach(d.file, t)
	blocks := map[string]bool{}
	for _, b := range d.file.Blocks {
		blocks[b.Name] = true
	}
	gone := func(name string) bool { return blocks[name] && !slices.Contains(here, name) }
	t.Off = slices.DeleteFunc(slices.Clone(t.Off), gone)
	t.Set = slices.DeleteFunc(slices.Clone(t.Set), func(s chains.Setting) bool {
		block, _, _ := strings.Cut(s.Target, ".")
		return gone(block)
	})
	return t
}

// waiting is the blocks that are in no order and no loop, in the order of the tray, then in that of the file.
func waiting(f *chains.File) []string {
	used := map[string]bool{}
	mark := func(order []string, split *chains.SplitOrder) {
		for _, b := range order {
			used[b] = true
		}
		if split != nil {
			for _, b := range append(slices.Clone(split.Left), split.Right...) {
				used[b] = true
			}
		}
	}
	mark(f.Order, f.Split)
	for _, t := range f.Takes {
		mark(t.Order, t.Split)
	}
	list := []string{}
	for _, b := range f.Blocks {
		for _, l := range b.Loops {
			mark(l.Blocks, nil)
		}
	}
	for _, b := range f.Tray {
		if !used[b] {
			list = append(list, b)
		}
	}
	for _, b := range f.Blocks {
		if !used[b.Name] && !slices.Contains(list, b.Name) {
			list = append(list, b.Name)
		}
	}
	return list
}
