package file

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"drywire/chains/board"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
)

// takeKeys lists the keys of a take. set and off need the take's order, so readTake reads them
// after it.
func takeKeys() []key[board.Take] {
	return []key[board.Take]{
		table.Line[*reader]("name", "what the take is called", "a line of text", true, func(t *board.Take, s string) { t.Name = s }),
		{
			Name: "order", Brief: "the order of this take, where it is not the file's", Schema: splitOrderSchema("the order of this take, where it is not the file's"),
			Read: func(r *reader, path string, n ast.Node) func(*board.Take) {
				order, split, ok := r.order(path, n)
				if !ok {
					return nil
				}
				return func(t *board.Take) { t.Order, t.Split = order, split }
			},
		},
		takeGuitarKey(),
		takePresetKey(),
		takeLoopsKey(),
		toggleKey(),
		{
			Name: "set", Brief: "settings that are changed in this take, like {guitar.volume: 3}",
			Read: func(r *reader, path string, n ast.Node) func(*board.Take) {
				set, ok := r.settings(path, n)
				if !ok {
					return nil
				}
				return func(t *board.Take) { t.Set = set }
			},
		},
		blocksKey("off", "blocks that are switched off in this take", func(t *board.Take, names []string) { t.Off = names }),
		blocksKey("on", "blocks that are on in this take, although they or its preset say off", func(t *board.Take, names []string) { t.On = names }),
	}
}

func readTakes(r *reader, path string, n ast.Node) func(*board.File) {
	nodes, ok := r.List(path, n, "of takes, like - {name: fuzz first}")
	if !ok {
		return nil
	}
	if len(nodes) == 0 {
		r.At(n, "takes is empty; leave it out for the one take %q", plainTake)
		return nil
	}
	if len(nodes) > maxTakes {
		r.At(nodes[maxTakes], "more than %d takes", maxTakes)
		return nil
	}
	var takes []board.Take
	first := map[string]int{}
	for _, node := range nodes {
		var t board.Take
		seen := table.Read(r, "takes", node, "{name: fuzz first}", takeKeys(), &t)
		r.settingAsName(node, t.Name)
		if t.Name != "" {
			line, column := yamltext.Start(node)
			if at, ok := first[t.Name]; ok {
				r.Fault(line, column, "two takes are called %q; the other is in line %d", t.Name, at)
			}
			first[t.Name] = line
		}
		r.takes = append(r.takes, readTake{node, seen})
		takes = append(takes, t)
	}
	return func(f *board.File) { f.Takes = takes }
}

// settingAsName asks about a name that reads like a setting, unless it is in quotes.
func (r *reader) settingAsName(take ast.Node, name string) {
	targets := append(commonTargets(), r.targets...)
	names := make([]string, 0, len(targets))
	for _, t := range targets {
		if strings.Contains(t.Name, ".") {
			names = append(names, t.Name)
		}
	}
	key, _, value, ok := yamltext.Run(name, names)
	if !ok {
		return
	}
	at := yamltext.ValueOf(take, "name")
	if kind := at.GetToken().Type; kind == token.SingleQuoteType || kind == token.DoubleQuoteType {
		return
	}
	r.At(at, "the name %q reads like a setting; did you mean set: {%s: %s}? a take that is called so has its name in quotes", name, key, value)
}

// order is a list of blocks, each at most once, and a split where it ends in one. An empty one is
// the guitar straight into the load.
func (r *reader) order(path string, n ast.Node) ([]string, *board.SplitOrder, bool) {
	nodes, ok := r.List(path, n, "of block names, like [fuzz, buffer]")
	if !ok {
		r.useAll()
		return nil, nil, false
	}
	faults := len(r.Faults)
	var split *board.SplitOrder
	for k, node := range nodes {
		if !yamltext.IsMap(node) {
			continue
		}
		if k < len(nodes)-1 {
			r.At(node, "%s goes on after keys with values; a split is the last of an order, and what follows it stands in its paths", path)
			nodes = slices.Delete(slices.Clone(nodes), k, k+1)
			break
		}
		split = r.split(path, node)
		nodes = nodes[:k]
	}
	names := r.namesOf(path, nodes)
	all := slices.Clone(names)
	if split != nil {
		for _, name := range append(slices.Clone(split.Left), split.Right...) {
			if slices.Contains(all, name) {
				r.At(n, "block %q is in %s twice; give a second one its own name in blocks", name, path)
			}
			all = append(all, name)
		}
	}
	for _, name := range all {
		r.used[name] = true
	}
	return names, split, len(r.Faults) == faults
}

// blockNames is a list of names of blocks, each at most once. It is not nil when it is there.
func (r *reader) blockNames(path string, n ast.Node) ([]string, bool) {
	nodes, ok := r.List(path, n, "of block names, like [fuzz, buffer]")
	if !ok {
		return nil, false
	}
	faults := len(r.Faults)
	names := r.namesOf(path, nodes)
	return names, len(r.Faults) == faults
}

func (r *reader) namesOf(path string, nodes []ast.Node) []string {
	names := []string{}
	if len(nodes) > maxBlocks {
		r.At(nodes[maxBlocks], "more than %d blocks", maxBlocks)
		return names
	}
	for _, node := range nodes {
		name, ok := r.Line(path, node, "the name of a block")
		if !ok {
			continue
		}
		switch {
		case slices.Contains(names, name):
			r.At(node, "block %q is in %s twice; give a second one its own name in blocks", name, path)
			continue
		case !slices.Contains(r.declared, name) && !r.undeclared:
			near := yamltext.Nearest(name, r.declared)
			r.used[near] = true
			if len(r.declared) == 0 {
				r.At(node, "no block %q; blocks declares none", name)
				continue
			}
			r.Unknown(node, "no block %q", name, near, "blocks", r.declared)
			continue
		}
		names = append(names, name)
	}
	return names
}

// settings reads what a take changes. Whether the blocks are in its order is for orders to say.
func (r *reader) settings(path string, n ast.Node) ([]board.Setting, bool) {
	pairs, ok := r.Pairs(path, n, "guitar.volume: 3")
	if !ok {
		return nil, false
	}
	targets := append(commonTargets(), r.targets...)
	names := make([]string, len(targets))
	for i, t := range targets {
		names[i] = t.Name
	}
	var settings []board.Setting
	var keys []ast.Node
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		i := slices.Index(names, name)
		if i < 0 && r.Ran(p, names, func(string) {}) {
			continue
		}
		if i < 0 {
			r.unknownTarget(p.Key, name, names)
			continue
		}
		if apply := targets[i].Read(r, name, p.Value); apply != nil {
			settings = append(settings, board.Setting{Target: name, Text: yamltext.Written(p.Value), Apply: apply})
			keys = append(keys, p.Key)
		}
	}
	for k := range settings {
		r.setAt[&settings[k]] = keys[k]
	}
	return settings, true
}

// unknownTarget lists the settings of the part that the name begins with, where there is such a
// part.
func (r *reader) unknownTarget(n ast.Node, name string, names []string) {
	part, knob, dotted := strings.Cut(name, ".")
	if dotted && knob == "kind" && slices.Contains(r.declared, part) {
		r.At(n, "a take cannot change the kind of a block; declare a second block and give the take its own order")
		return
	}
	if dotted && r.undeclared {
		return
	}
	var here []string
	for _, t := range names {
		if strings.HasPrefix(t, part+".") {
			here = append(here, t)
		}
	}
	if len(here) == 0 && slices.Contains(r.declared, part) {
		if r.read[part] { // otherwise its kind is at fault, and has been told
			r.At(n, "no setting %q; block %q has no knobs", name, part)
		}
		return
	}
	near, plural := "", "settings"
	var knobs []string
	for _, t := range here {
		knobs = append(knobs, strings.TrimPrefix(t, part+"."))
	}
	switch {
	case !dotted && slices.Contains(knobs, part): // drive: 8, of a block called drive
		near = part + "." + part
	case !dotted && yamltext.Meant(part, knobs) != "":
		near = part + "." + yamltext.Meant(part, knobs)
	case !dotted && slices.Contains(names, "guitar."+name):
		near = "guitar." + name
	case yamltext.Meant(knob, knobs) != "":
		near = part + "." + yamltext.Meant(knob, knobs)
	default:
		near = yamltext.Nearest(name, names)
	}
	if len(here) == 0 {
		here, plural = append([]string{"guitar", "load", "patch"}, r.declared...), "parts"
		if near == "" && dotted {
			if near = yamltext.Nearest(part, here); near != "" {
				near += "." + knob
			}
		}
	}
	r.Unknown(n, "no setting %q", name, near, plural, here)
}

// orders checks what needs both the file's order and the takes.
func (r *reader) orders(n ast.Node, f *board.File, seen map[string]ast.Node) {
	if seen["takes"] == nil {
		f.Takes = []board.Take{{Name: plainTake}}
		if seen["presets"] != nil && len(f.Presets) > 0 {
			f.Takes = nil
			for _, p := range f.Presets {
				f.Takes = append(f.Takes, board.Take{Name: p.Name, Preset: p.Name})
			}
		}
	}
	for k, t := range f.Takes {
		var read readTake
		if k < len(r.takes) {
			read = r.takes[k]
		}
		if read.keys["order"] == nil && seen["order"] == nil {
			at := n
			if read.node != nil {
				at = read.node
			}
			r.At(at, "order is missing: the blocks' names, like order: [fuzz, buffer]")
			seen["order"] = at // once is enough
			r.useAll()
		}
		order, split, known := f.Order, f.Split, f.Order != nil
		if read.keys["order"] != nil {
			order, split, known = t.Order, t.Split, t.Order != nil
		}
		if !known {
			continue // a fault that has been told
		}
		if split != nil {
			order = append(append(slices.Clone(order), split.Left...), split.Right...)
		}
		r.loopsUsed(f, t, read, order)
		if read.keys["loops"] != nil && t.Loops == nil {
			continue // likewise
		}
		var loops []board.Loop // without the switcher on the board, none
		if slices.Contains(order, r.switcher) {
			loops = board.Overlaid(r.loops, t.Loops)
			r.apart(t, read, order)
		}
		for key, names := range map[string][]string{"off": t.Off, "on": t.On} {
			for _, name := range names {
				switch l := board.LoopOf(loops, name); {
				case name == r.switcher:
					r.At(read.keys[key], "%q is a switcher, which has no %s; toggle takes its loops in and out", name, key)
				case l == nil && !slices.Contains(order, name):
					r.At(read.keys[key], "take %q has no block %q in its order, so it cannot be %s", t.Name, name, key)
				case l != nil && !everOn(f, t, l.Number):
					r.At(read.keys[key], "take %q has loop %d out, so block %q in it cannot be %s", t.Name, l.Number, name, key)
				}
			}
		}
		for i := range t.Set {
			s := &t.Set[i]
			part, _, _ := strings.Cut(s.Target, ".")
			switch l := board.LoopOf(loops, part); {
			case l == nil && slices.Contains(r.declared, part) && !slices.Contains(order, part):
				r.At(r.setAt[s], "take %q has no block %q in its order, so %s changes nothing", t.Name, part, s.Target)
			case l != nil && !everOn(f, t, l.Number):
				r.At(r.setAt[s], "take %q has loop %d out, so %s changes nothing", t.Name, l.Number, s.Target)
			}
			r.settable(f, s)
		}
	}
	// a fault that has been told: what it would hold is not known
	if seen["order"] != nil && f.Order == nil {
		r.useAll()
	}
	for k, p := range f.Presets {
		for key, names := range map[string][]string{"off": p.Off, "on": p.On} {
			for _, name := range names {
				l := board.LoopOf(r.loops, name)
				switch at := r.presetAt[k][key]; {
				case at == nil:
				case name == r.switcher:
					r.At(at, "%q is a switcher, which has no %s; loops says which of its loops are in", name, key)
				case l != nil && !l.Insert && !slices.Contains(p.Loops, l.Number) && !f.ReachedOn(p.Name, name):
					r.At(at, "preset %q has loop %d out, so block %q in it cannot be %s", p.Name, l.Number, name, key)
				}
			}
		}
		for i := range p.Set {
			s := &p.Set[i]
			r.settable(f, s)
			part, _, _ := strings.Cut(s.Target, ".")
			if l := board.LoopOf(r.loops, part); l != nil && !l.Insert && !slices.Contains(p.Loops, l.Number) && !f.ReachedOn(p.Name, part) {
				r.At(r.setAt[s], "preset %q has loop %d out, so %s changes nothing", p.Name, l.Number, s.Target)
			}
		}
	}
}

// everOn reports whether a loop is in, in a take, on any of its presets.
func everOn(f *board.File, t board.Take, loop int) bool {
	return slices.ContainsFunc(t.Presets(), func(p string) bool { return slices.Contains(f.LoopsOn(t.OnlyOn(p)), loop) })
}

// unchangeable faults takes whose presets change where no relay could do it.
func (r *reader) unchangeable(f *board.File) {
	for k, c := range f.Chains() {
		if why := c.Unchangeable(); why != "" && k < len(r.takes) {
			r.At(r.takes[k].keys["preset"], "take %q: %s", c.Take, why)
		}
	}
}

// unwireable faults orders that may not be wired, each reason once.
func (r *reader) unwireable(f *board.File) {
	told := map[string]bool{}
	for k, c := range f.Chains() {
		why := cmp.Or(c.Unwireable(), cancels(c.Guitar))
		if why == "" || told[why] {
			continue
		}
		told[why] = true
		var at ast.Node
		for _, b := range f.Blocks {
			if b.Kind.Drives && strings.HasPrefix(why, "caution: "+b.Name+" ") {
				at = r.places[b.Name]
			}
		}
		if k < len(r.takes) && k > 0 {
			at = r.takes[k].node
		}
		r.At(at, "take %q: %s", c.Take, why)
	}
}

// apart faults blocks that a take has in a loop and in its order, which is flattened and holds the
// switcher.
func (r *reader) apart(t board.Take, read readTake, order []string) {
	if read.keys["order"] == nil {
		for _, name := range order {
			if in := board.LoopOf(t.Loops, name); in != nil {
				r.At(read.keys["loops"], "block %q is in order and, in take %q, in loop %d of %s; give the take an order without it", name, t.Name, in.Number, r.switcher)
			}
		}
		return
	}
	for _, name := range order {
		in := board.LoopOf(board.Overlaid(r.loops, t.Loops), name)
		if in == nil {
			continue
		}
		hint := "it is plugged in there or here"
		if board.LoopOf(t.Loops, name) == nil {
			rest := slices.DeleteFunc(slices.Clone(in.Blocks), func(b string) bool { return b == name })
			hint += fmt.Sprintf(" (in this take it is not there with loops: {%d: %s})", in.Number, yamltext.FlowNames(rest))
		}
		r.At(yamltext.ValueOf(read.node, "order"), "block %q is in takes.order and in loop %d of %s; %s", name, in.Number, r.switcher, hint)
	}
}

// unused faults blocks that no order holds.
func (r *reader) unused(f *board.File) {
	for _, name := range r.declared {
		if !r.used[name] {
			r.At(r.places[name], "block %q is in no order; put it in order, or in a take's, or in tray, or take it out", name)
		}
	}
	if len(f.Presets) > 0 { // each of which can be played on every guitar
		return
	}
	for _, g := range f.Guitars {
		if !slices.ContainsFunc(f.Takes, func(t board.Take) bool { return t.Guitar == g.Name }) {
			r.At(r.guitars[g.Name], "guitar %q is in no take; give a take guitar: %s, or take it out", g.Name, g.Name)
		}
	}
}
