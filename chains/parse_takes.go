package chains

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// takeKeys lists the keys of a take. set and off need the take's order, so readTake reads them after it.
func takeKeys() []key[Take] {
	return []key[Take]{
		lineKey("name", "what the take is called", "a line of text", true, func(t *Take, s string) { t.Name = s }),
		{
			name: "order", brief: "the order of this take, where it is not the file's", schema: splitOrderSchema("the order of this take, where it is not the file's"),
			read: func(r *reader, path string, n ast.Node) func(*Take) {
				order, split, ok := r.order(path, n)
				if !ok {
					return nil
				}
				return func(t *Take) { t.Order, t.Split = order, split }
			},
		},
		takeGuitarKey(),
		takePresetKey(),
		takeLoopsKey(),
		toggleKey(),
		{
			name: "set", brief: "settings that are changed in this take, like {guitar.volume: 3}",
			read: func(r *reader, path string, n ast.Node) func(*Take) {
				set, ok := r.settings(path, n)
				if !ok {
					return nil
				}
				return func(t *Take) { t.Set = set }
			},
		},
		{
			name: "off", brief: "blocks that are switched off in this take", schema: orderSchema("blocks that are switched off in this take"),
			read: func(r *reader, path string, n ast.Node) func(*Take) {
				off, ok := r.blockNames(path, n)
				if !ok {
					return nil
				}
				return func(t *Take) { t.Off = off }
			},
		},
	}
}

func readTakes(r *reader, path string, n ast.Node) func(*File) {
	nodes, ok := r.list(path, n, "of takes, like - {name: fuzz first}")
	if !ok {
		return nil
	}
	if len(nodes) == 0 {
		r.at(n, "takes is empty; leave it out for the one take %q", plainTake)
		return nil
	}
	if len(nodes) > maxTakes {
		r.at(nodes[maxTakes], "more than %d takes", maxTakes)
		return nil
	}
	var takes []Take
	first := map[string]int{}
	for _, node := range nodes {
		var t Take
		seen := readMap(r, "takes", node, "{name: fuzz first}", takeKeys(), &t)
		if t.Name != "" {
			line, column := start(node)
			if at, ok := first[t.Name]; ok {
				r.fault(line, column, "two takes are called %q; the other is in line %d", t.Name, at)
			}
			first[t.Name] = line
		}
		r.takes = append(r.takes, readTake{node, seen})
		takes = append(takes, t)
	}
	return func(f *File) { f.Takes = takes }
}

// order is a list of blocks, each at most once, and a split where it ends in one. An empty one is the guitar straight into the load.
func (r *reader) order(path string, n ast.Node) ([]string, *SplitOrder, bool) {
	nodes, ok := r.list(path, n, "of block names, like [fuzz, buffer]")
	if !ok {
		r.useAll()
		return nil, nil, false
	}
	faults := len(r.faults)
	var split *SplitOrder
	for k, node := range nodes {
		if !isMap(node) {
			continue
		}
		if k < len(nodes)-1 {
			r.at(node, "%s goes on after keys with values; a split is the last of an order, and what follows it stands in its paths", path)
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
				r.at(n, "block %q is in %s twice; give a second one its own name in blocks", name, path)
			}
			all = append(all, name)
		}
	}
	for _, name := range all {
		r.used[name] = true
	}
	return names, split, len(r.faults) == faults
}

func isMap(n ast.Node) bool {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return true
	}
	return false
}

// blockNames is a list of names of blocks, each at most once. It is not nil when it is there.
func (r *reader) blockNames(path string, n ast.Node) ([]string, bool) {
	nodes, ok := r.list(path, n, "of block names, like [fuzz, buffer]")
	if !ok {
		return nil, false
	}
	faults := len(r.faults)
	names := r.namesOf(path, nodes)
	return names, len(r.faults) == faults
}

func (r *reader) namesOf(path string, nodes []ast.Node) []string {
	names := []string{}
	if len(nodes) > maxBlocks {
		r.at(nodes[maxBlocks], "more than %d blocks", maxBlocks)
		return names
	}
	for _, node := range nodes {
		name, ok := r.line(path, node, "the name of a block")
		if !ok {
			continue
		}
		switch {
		case slices.Contains(names, name):
			r.at(node, "block %q is in %s twice; give a second one its own name in blocks", name, path)
			continue
		case !slices.Contains(r.declared, name) && !r.undeclared:
			near := nearest(name, r.declared)
			r.used[near] = true
			if len(r.declared) == 0 {
				r.at(node, "no block %q; blocks declares none", name)
				continue
			}
			r.unknown(node, "no block %q", name, near, "blocks", r.declared)
			continue
		}
		names = append(names, name)
	}
	return names
}

// settings reads what a take changes. Whether the blocks are in its order is for orders to say.
func (r *reader) settings(path string, n ast.Node) ([]Setting, bool) {
	pairs, ok := r.pairs(path, n, "guitar.volume: 3")
	if !ok {
		return nil, false
	}
	targets := append(commonTargets(), r.targets...)
	names := make([]string, len(targets))
	for i, t := range targets {
		names[i] = t.name
	}
	var settings []Setting
	var keys []ast.Node
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		i := slices.Index(names, name)
		if i < 0 {
			r.unknownTarget(p.Key, name, names)
			continue
		}
		if apply := targets[i].read(r, name, p.Value); apply != nil {
			settings = append(settings, Setting{Target: name, Text: written(p.Value), Apply: apply})
			keys = append(keys, p.Key)
		}
	}
	for k := range settings {
		r.setAt[&settings[k]] = keys[k]
	}
	return settings, true
}

// unknownTarget lists the settings of the part that the name begins with, where there is such a part.
func (r *reader) unknownTarget(n ast.Node, name string, names []string) {
	part, knob, dotted := strings.Cut(name, ".")
	if dotted && knob == "kind" && slices.Contains(r.declared, part) {
		r.at(n, "a take cannot change the kind of a block; declare a second block and give the take its own order")
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
			r.at(n, "no setting %q; block %q has no knobs", name, part)
		}
		return
	}
	near, plural := nearest(name, names), "settings"
	if len(here) == 0 {
		here, plural = append([]string{"guitar", "load", "patch"}, r.declared...), "parts"
		if near == "" && dotted {
			if near = nearest(part, here); near != "" {
				near += "." + knob
			}
		}
	}
	r.unknown(n, "no setting %q", name, near, plural, here)
}

// written is a value as the file has it, in one line.
func written(n ast.Node) string {
	if s, ok := n.(ast.ScalarNode); ok {
		return strings.TrimSpace(s.GetToken().Value)
	}
	return strings.Join(strings.Fields(n.String()), " ")
}

// orders checks what needs both the file's order and the takes.
func (r *reader) orders(n ast.Node, f *File, seen map[string]ast.Node) {
	if seen["takes"] == nil {
		f.Takes = []Take{{Name: plainTake}}
		if seen["presets"] != nil && len(f.Presets) > 0 {
			f.Takes = nil
			for _, p := range f.Presets {
				f.Takes = append(f.Takes, Take{Name: p.Name, Preset: p.Name})
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
			r.at(at, "order is missing: the blocks' names, like order: [fuzz, buffer]")
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
		var loops []Loop // without the switcher on the board, none
		if slices.Contains(order, r.switcher) {
			loops = overlaid(r.loops, t.Loops)
			r.apart(t, read, order)
		}
		for _, name := range t.Off {
			switch l := holder(loops, name); {
			case name == r.switcher:
				r.at(read.keys["off"], "%q is a switcher, which has no off; toggle takes its loops out", name)
			case l == nil && !slices.Contains(order, name):
				r.at(read.keys["off"], "take %q has no block %q in its order, so it cannot be off", t.Name, name)
			case l != nil && !slices.Contains(f.LoopsOn(t), l.Number):
				r.at(read.keys["off"], "take %q has loop %d out, so block %q in it cannot be off", t.Name, l.Number, name)
			}
		}
		for i := range t.Set {
			s := &t.Set[i]
			part, _, _ := strings.Cut(s.Target, ".")
			switch l := holder(loops, part); {
			case l == nil && slices.Contains(r.declared, part) && !slices.Contains(order, part):
				r.at(r.setAt[s], "take %q has no block %q in its order, so %s changes nothing", t.Name, part, s.Target)
			case l != nil && !slices.Contains(f.LoopsOn(t), l.Number):
				r.at(r.setAt[s], "take %q has loop %d out, so %s changes nothing", t.Name, l.Number, s.Target)
			}
			r.settable(f, s)
		}
	}
	if seen["order"] != nil && f.Order == nil { // a fault that has been told: what it would hold is not known
		r.useAll()
	}
	for _, p := range f.Presets {
		for i := range p.Set {
			s := &p.Set[i]
			r.settable(f, s)
			part, _, _ := strings.Cut(s.Target, ".")
			if l := holder(r.loops, part); l != nil && !slices.Contains(p.Loops, l.Number) && !f.reachedOn(p.Name, part) {
				r.at(r.setAt[s], "preset %q has loop %d out, so %s changes nothing", p.Name, l.Number, s.Target)
			}
		}
	}
}

// apart faults blocks that a take has in a loop and in its order, which is flattened and holds the switcher.
func (r *reader) apart(t Take, read readTake, order []string) {
	if read.keys["order"] == nil {
		for _, name := range order {
			if in := holder(t.Loops, name); in != nil {
				r.at(read.keys["loops"], "block %q is in order and, in take %q, in loop %d of %s; give the take an order without it", name, t.Name, in.Number, r.switcher)
			}
		}
		return
	}
	for _, name := range order {
		in := holder(overlaid(r.loops, t.Loops), name)
		if in == nil {
			continue
		}
		hint := "it is plugged in there or here"
		if holder(t.Loops, name) == nil {
			rest := slices.DeleteFunc(slices.Clone(in.Blocks), func(b string) bool { return b == name })
			hint += fmt.Sprintf(" (in this take it is not there with loops: {%d: %s})", in.Number, flowNames(rest))
		}
		r.at(valueOf(read.node, "order"), "block %q is in takes.order and in loop %d of %s; %s", name, in.Number, r.switcher, hint)
	}
}

// valueOf is the value of a key of a map, or the map where that has no such key.
func valueOf(n ast.Node, key string) ast.Node {
	var pairs []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	}
	for _, p := range pairs {
		if p.Key.GetToken().Value == key {
			return p.Value
		}
	}
	return n
}

// reachedOn says whether the signal of a take on that preset runs through a block that the take has somewhere else than the file.
func (f *File) reachedOn(preset, block string) bool {
	return slices.ContainsFunc(f.Takes, func(t Take) bool {
		return t.Preset == preset && t.Loops != nil && slices.Contains(f.reached(t), block)
	})
}

// reached is the blocks of a take that its signal runs through, off or not: those of its order and of the loops that are in.
func (f *File) reached(t Take) []string {
	order, split := t.Order, t.Split
	if order == nil {
		order, split = f.Order, f.Split
	}
	all := slices.Clone(order)
	if split != nil {
		all = append(append(all, split.Left...), split.Right...)
	}
	if s := f.switcher(); s != nil && slices.Contains(all, s.Name) {
		on := f.LoopsOn(t)
		for _, l := range f.LoopsOf(t) {
			if slices.Contains(on, l.Number) {
				all = append(all, l.Blocks...)
			}
		}
	}
	return all
}

// unused faults blocks that no order holds.
func (r *reader) unused(f *File) {
	for _, name := range r.declared {
		if !r.used[name] {
			r.at(r.places[name], "block %q is in no order; put it in order, or in a take's, or in tray, or take it out", name)
		}
	}
	if len(f.Presets) > 0 { // each of which can be played on every guitar
		return
	}
	for _, g := range f.Guitars {
		if !slices.ContainsFunc(f.Takes, func(t Take) bool { return t.Guitar == g.Name }) {
			r.at(r.guitars[g.Name], "guitar %q is in no take; give a take guitar: %s, or take it out", g.Name, g.Name)
		}
	}
}
