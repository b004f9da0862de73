package file

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/guitar"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// More than any board has.
const (
	maxBlocks = 200 // in the file, and so in an order
	maxTakes  = 500
)

// reserved are the names of other things that have jacks or settings.
var reserved = []string{"guitar", "load", "out", "recorded", "recording"}

// BlockName is an error that says why a block may not be called that; nil where it may.
func BlockName(name string) error {
	switch {
	case slices.Contains(reserved, name):
		return fmt.Errorf("a block may not be called %q: that is something else already (reserved: %s)", name, strings.Join(reserved, ", "))
	case !table.NameForm.MatchString(name):
		return fmt.Errorf("a block may not be called %q; want a lower-case letter, then lower-case letters, digits and - (32 at most)", name)
	}
	return nil
}

func readBlocks(kinds []*blocks.Kind) func(r *reader, path string, n ast.Node) func(*board.File) {
	return func(r *reader, path string, n ast.Node) func(*board.File) {
		pairs, ok := r.Pairs(path, n, "fuzz: {kind: fuzz}")
		if !ok {
			r.undeclared = true
			return nil
		}
		var all []board.Block
		if len(pairs) > maxBlocks {
			r.At(pairs[maxBlocks].Key, "more than %d blocks", maxBlocks)
			r.undeclared = true
			return nil
		}
		for _, p := range pairs { // loops may name blocks that come later
			r.declared = append(r.declared, p.Key.GetToken().Value)
		}
		for _, p := range pairs {
			name := p.Key.GetToken().Value
			if err := BlockName(name); err != nil {
				r.At(p.Key, "%v", err)
			}
			r.places[name] = p.Key
			if b, ok := readBlock(r, name, p.Value, kinds); ok {
				all = append(all, b)
			}
		}
		return func(f *board.File) { f.Blocks = all }
	}
}

// readBlock reads the kind first: it says which knobs there are.
func readBlock(r *reader, name string, n ast.Node, kinds []*blocks.Kind) (board.Block, bool) {
	pairs, ok := r.QuietPairs(n)
	if !ok {
		r.Wrong(name, n, "a kind and its knobs, like {kind: buffer}")
		return board.Block{}, false
	}
	names := append(KindNames(kinds), blocks.CircuitKind)
	slices.Sort(names)
	var misspelt ast.Node
	for _, p := range pairs {
		key := p.Key.GetToken().Value
		if key != "kind" {
			if r.Ran(p, []string{"kind"}, func(string) {}) {
				return board.Block{}, false
			}
			if misspelt == nil && yamltext.Meant(key, []string{"kind"}) != "" {
				misspelt = p.Key
			}
			continue
		}
		word, ok := r.Scalar(name+".kind", p.Value, "one of: "+strings.Join(names, ", "))
		if !ok {
			return board.Block{}, false
		}
		if !slices.Contains(names, word) {
			r.Unknown(p.Value, "no block kind %q", word, yamltext.Meant(word, names), "kinds", names)
			return board.Block{}, false
		}
		var kind *blocks.Kind
		if word == blocks.CircuitKind {
			kind = r.circuit(name, n)
		} else {
			kind = kinds[slices.IndexFunc(kinds, func(k *blocks.Kind) bool { return k.Name == word })]
		}
		if kind == nil {
			return board.Block{}, false
		}
		b := board.Block{Name: name, Kind: kind, Settings: kind.Defaults()}
		seen := table.Read(r, name, n, "kind: buffer", blockKeys(kind), &b)
		if seen == nil {
			return board.Block{}, false
		}
		if seen["power"] != nil && seen["supply"] != nil {
			r.At(yamltext.Later(seen["power"], seen["supply"]), "%s has a supply and a power; the voltage is that of the output which it is plugged into", name)
		}
		if b.Power != "" {
			r.powerAt[name] = yamltext.ValueOf(n, "power")
		}
		if b.Cabinet != nil {
			for _, knob := range blocks.ConeKnobs {
				r.idle(seen[knob], name, knob, b.Cabinet.Path)
			}
		}
		r.addTargets(name, kind, b.Powered)
		r.read[name] = true
		return b, true
	}
	if misspelt != nil {
		r.Unknown(misspelt, "no key %q in "+name, misspelt.GetToken().Value, "kind", "", nil)
	} else {
		r.At(n, "%s has no kind (kinds: %s)", name, strings.Join(names, ", "))
	}
	return board.Block{}, false
}

// KindNames is the names of kinds, in their order.
func KindNames(kinds []*blocks.Kind) []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.Name
	}
	return names
}

// blockKeys are the keys of a block of this kind.
func blockKeys(kind *blocks.Kind) []key[board.Block] {
	keys := []key[board.Block]{{
		Name: "kind", Brief: kind.Brief, Must: true,
		Schema: table.Object{"const": kind.Name, "description": kind.Brief},
		Read:   func(*reader, string, ast.Node) func(*board.Block) { return nil },
	}}
	keys = append(keys, knobKeys(kind, func(b *board.Block) (*blocks.Settings, *board.Curves) { return &b.Settings, &b.Moves })...)
	if _, ok := kind.Knob("supply"); ok {
		keys = append(keys, powerKey(true, nil, func(b *board.Block, power string) { b.Power = power }))
		keys = append(keys, table.Within(poweredKeys(), func(b *board.Block) *board.Powered { return &b.Powered })...)
	}
	if kind.Name != board.SwitcherKind {
		keys = append(keys, table.Choice[*reader]("off", "whether it is bypassed where neither a preset nor a take says otherwise", []string{"yes", "no"}, "no", func(b *board.Block, w string) { b.Off = w == "yes" }))
		keys = append(keys, table.Choice[*reader]("recall", "whether its knobs follow a preset by themselves, as of pedals with memories; else a hand has to turn them", []string{"yes", "no"}, "", func(b *board.Block, w string) { b.Recall = w }))
	} else {
		keys = append(keys, loopsKey(), insertKey())
	}
	if kind.Name == board.SpeakerKind {
		keys = append(keys, cabinetKey(func(b *board.Block, c *board.Cabinet) { b.Cabinet = c }))
	}
	if kind.Name == blocks.CircuitKind {
		keys = append(keys, deckKeys()...)
	}
	return keys
}

// knobKeys are the knobs of a block of this kind; of says where its settings are, and those of them
// that move.
func knobKeys[T any](kind *blocks.Kind, of func(*T) (*blocks.Settings, *board.Curves)) []key[T] {
	var keys []key[T]
	for _, k := range kind.Knobs {
		if k.Words != nil {
			keys = append(keys, table.Choice[*reader](k.Name, k.Brief, k.Words, k.Word, func(t *T, w string) {
				s, _ := of(t)
				*s = s.WithWord(k.Name, w)
			}))
			continue
		}
		keys = append(keys, table.Moving[*reader](k.Name, k.Brief, k.Unit, k.Min, k.Max, dsp.FormatQuantity(k.Default, k.Unit), k.Still, func(t *T, v float64) {
			s, _ := of(t)
			*s = s.With(k.Name, v)
		}, func(t *T, c *board.Curve) {
			_, m := of(t)
			*m = m.With(k.Name, c)
		}))
	}
	return keys
}

// addTargets lets takes set the knobs of a block, and the output that it is plugged into.
func (r *reader) addTargets(name string, kind *blocks.Kind, wants board.Powered) {
	knobs := knobKeys(kind, func(p *board.Placed) (*blocks.Settings, *board.Curves) { return &p.Settings, &p.Moves })
	r.targets = append(r.targets, lifted(name, knobs, func(c *board.Chain) *board.Placed { return c.Block(name) })...)
	if _, ok := kind.Knob("supply"); ok {
		refused := func(o *board.Output) string { return board.Refused(kind, wants, o) }
		power := powerKey(false, refused, func(p *board.Placed, power string) { p.Power = power })
		r.targets = append(r.targets, lifted(name, []key[board.Placed]{power}, func(c *board.Chain) *board.Placed { return c.Block(name) })...)
	}
	if kind.Name == board.SpeakerKind {
		cabinet := cabinetKey(func(p *board.Placed, c *board.Cabinet) { p.Cabinet = c })
		r.targets = append(r.targets, lifted(name, []key[board.Placed]{cabinet}, func(c *board.Chain) *board.Placed { return c.Block(name) })...)
	}
}

// commonTargets is what takes may set in every file.
func commonTargets() []key[board.Chain] {
	targets := lifted("guitar", guitar.Keys[*reader](), func(c *board.Chain) *board.Guitar { return &c.Guitar })
	targets = append(targets, lifted("load", loadKeys(), func(c *board.Chain) *board.Load { return &c.Load })...)
	return append(targets, patchKey(func(c *board.Chain, v float64) { c.Patch = dsp.Metre(v) }))
}

// lifted turns the keys of a part into keys of the chain, called part.key.
func lifted[T any](part string, keys []key[T], of func(*board.Chain) *T) []key[board.Chain] {
	all := table.Within(keys, of)
	for k := range all {
		all[k].Name, all[k].Must = part+"."+all[k].Name, false
	}
	return all
}
