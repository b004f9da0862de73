package chains

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// takeKeys lists the keys of a take. set and off need the take's order, so readTake reads them after it.
func takeKeys() []key[Take] {
	return []key[Take]{
		lineKey("name", "what the take is called", "a line of text", true, func(t *Take, s string) { t.Name = s }),
		{
			name: "order", brief: "the order of this take, where it is not the file's", schema: orderSchema("the order of this take, where it is not the file's"),
			read: func(r *reader, path string, n ast.Node) func(*Take) {
				order, ok := r.order(path, n)
				if !ok {
					return nil
				}
				return func(t *Take) { t.Order = order }
			},
		},
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
		t.node, t.keys = node, seen
		takes = append(takes, t)
	}
	return func(f *File) { f.Takes = takes }
}

// order is a list of blocks, each at most once. An empty one is the guitar straight into the load.
func (r *reader) order(path string, n ast.Node) ([]string, bool) {
	names, ok := r.blockNames(path, n)
	if names == nil { // no list at all: what it would hold is not known
		names = r.declared
	}
	for _, name := range names {
		r.used[name] = true
	}
	return names, ok
}

// blockNames is a list of names of blocks, each at most once. It is not nil when it is there.
func (r *reader) blockNames(path string, n ast.Node) ([]string, bool) {
	nodes, ok := r.list(path, n, "of block names, like [fuzz, buffer]")
	if !ok {
		return nil, false
	}
	faults := len(r.faults)
	names := []string{}
	if len(nodes) > maxBlocks {
		r.at(nodes[maxBlocks], "more than %d blocks", maxBlocks)
		return nil, false
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
	return names, len(r.faults) == faults
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
	for _, p := range pairs {
		name := p.Key.GetToken().Value
		i := slices.Index(names, name)
		if i < 0 {
			r.unknownTarget(p.Key, name, names)
			continue
		}
		if apply := targets[i].read(r, name, p.Value); apply != nil {
			settings = append(settings, Setting{Target: name, Text: written(p.Value), apply: apply, node: p.Key})
		}
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
	}
	for _, t := range f.Takes {
		if t.keys["order"] == nil && seen["order"] == nil {
			at := n
			if t.node != nil {
				at = t.node
			}
			r.at(at, "order is missing: the blocks' names, like order: [fuzz, buffer]")
			seen["order"] = at // once is enough
			for _, name := range r.declared {
				r.used[name] = true // for all that can be known
			}
		}
		order, known := f.Order, f.Order != nil
		if t.keys["order"] != nil {
			order, known = t.Order, t.Order != nil
		}
		if !known {
			continue // a fault that has been told
		}
		for _, name := range t.Off {
			if !slices.Contains(order, name) {
				r.at(t.keys["off"], "take %q has no block %q in its order, so it cannot be off", t.Name, name)
			}
		}
		for _, s := range t.Set {
			part, _, _ := strings.Cut(s.Target, ".")
			if slices.Contains(r.declared, part) && !slices.Contains(order, part) {
				r.at(s.node, "take %q has no block %q in its order, so %s changes nothing", t.Name, part, s.Target)
			}
		}
	}
	if seen["order"] != nil && f.Order == nil { // a fault that has been told: what it would hold is not known
		for _, name := range r.declared {
			r.used[name] = true
		}
	}
	for i, t := range f.Takes { // the tree of the file is needed no longer
		f.Takes[i].node, f.Takes[i].keys = nil, nil
		for j := range t.Set {
			t.Set[j].node = nil
		}
	}
}

// unused faults blocks that no order holds.
func (r *reader) unused(f *File) {
	for _, name := range r.declared {
		if !r.used[name] {
			r.at(r.places[name], "block %q is in no order; put it in order, or in a take's, or take it out", name)
		}
	}
}
