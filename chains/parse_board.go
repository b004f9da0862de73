package chains

import (
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/dsp"
)

// The keys of a whole board: several guitars, a split into two amplifiers, a switcher's loops, presets and supplies.

// More than any board has.
const (
	maxGuitars  = 50
	maxPresets  = 200
	maxSupplies = 20
	maxOutputs  = 50
	maxLoop     = 99
)

// named is the entries of a map by names that the file chooses, each at most once and of the form of a block's name.
func (r *reader) named(path string, n ast.Node, like, what string, most int) []*ast.MappingValueNode {
	pairs, ok := r.pairs(path, n, like)
	if !ok {
		return nil
	}
	if len(pairs) > most {
		r.at(pairs[most].Key, "more than %d %ss", most, what)
		return nil
	}
	if len(pairs) == 0 {
		r.at(n, "%s is empty; leave it out, or name one, like %s", path, like)
	}
	for _, p := range pairs {
		if name := p.Key.GetToken().Value; !nameForm.MatchString(name) {
			r.at(p.Key, "a %s may not be called %q; want a lower-case letter, then lower-case letters, digits and - (32 at most)", what, name)
		}
	}
	return pairs
}

// namedSchema is a map by names of the file's own.
func namedSchema(brief string, value object) object {
	return object{"type": "object", "description": brief, "minProperties": 1, "propertyNames": object{"pattern": namePattern}, "additionalProperties": value}
}

func guitarsKey() key[File] {
	const brief = "guitars by name, for takes that name one; guitar is that of the others"
	return key[File]{
		name: "guitars", brief: brief, schema: namedSchema(brief, mapSchema("a guitar and its cable", guitarKeys())),
		read: func(r *reader, path string, n ast.Node) func(*File) {
			var all []NamedGuitar
			for _, p := range r.named(path, n, "old: {pickup: single-coil}", "guitar", maxGuitars) {
				g := NamedGuitar{p.Key.GetToken().Value, newFile().Guitar}
				if g.Name == "guitar" {
					r.at(p.Key, "a guitar may not be called %q: that is the file's own", g.Name)
				}
				r.guitars[g.Name] = p.Key
				readMap(r, join(path, g.Name), p.Value, "pickup: humbucker", guitarKeys(), &g.Guitar)
				all = append(all, g)
			}
			return func(f *File) { f.Guitars = all }
		},
	}
}

// nameKey is a key whose value is one of the names that the file has declared.
func nameKey[T any](name, brief, what string, declared func(*reader) []string, set func(*T, string)) key[T] {
	return key[T]{
		name: name, brief: brief, schema: object{"type": "string", "pattern": namePattern, "description": brief},
		read: func(r *reader, path string, n ast.Node) func(*T) {
			word, ok := r.line(path, n, "the name of a "+what)
			if !ok {
				return nil
			}
			names := declared(r)
			if !slices.Contains(names, word) {
				if len(names) == 0 {
					r.at(n, "no %s %q; the file has no %ss", what, word, what)
				} else {
					r.unknown(n, "no "+what+" %q", word, nearest(word, names), what+"s", names)
				}
				return nil
			}
			return func(t *T) { set(t, word) }
		},
	}
}

func takeGuitarKey() key[Take] {
	return nameKey("guitar", "one of guitars, in place of the file's own", "guitar", func(r *reader) []string {
		var names []string
		for name := range r.guitars {
			names = append(names, name)
		}
		slices.Sort(names)
		return names
	}, func(t *Take, s string) { t.Guitar = s })
}

func takePresetKey() key[Take] {
	return nameKey("preset", "one of presets", "preset", func(r *reader) []string { return r.presets }, func(t *Take, s string) { t.Preset = s })
}

// loopNumbers is a list of numbers of loops, each at most once.
func (r *reader) loopNumbers(path string, n ast.Node) ([]int, bool) {
	nodes, ok := r.list(path, n, "of loops' numbers, like [1, 3]")
	if !ok {
		return nil, false
	}
	if r.switcher == "" && len(nodes) > 0 {
		r.at(n, "%s names loops, but no block is a switcher", path)
		return nil, false
	}
	var there []string
	for _, l := range r.loops {
		there = append(there, strconv.Itoa(l.Number))
	}
	list, faults := []int{}, len(r.faults)
	for _, node := range nodes {
		word, ok := r.line(path, node, "a loop's number")
		if !ok {
			continue
		}
		number, err := strconv.Atoi(word)
		switch {
		case err != nil || !slices.Contains(there, word):
			r.unknown(node, "no loop %q in "+r.switcher, word, "", "loops", there)
		case slices.Contains(list, number):
			r.at(node, "loop %d is in %s twice", number, path)
		default:
			list = append(list, number)
		}
	}
	slices.Sort(list)
	return list, len(r.faults) == faults
}

func loopNumbersSchema(brief string) object {
	return object{"type": "array", "description": brief, "uniqueItems": true, "items": object{"type": "integer", "minimum": 1, "maximum": maxLoop}}
}

func toggleKey() key[Take] {
	const brief = "loops that are switched over from what the preset has: in where they were out, out where they were in"
	return key[Take]{
		name: "toggle", brief: brief, schema: loopNumbersSchema(brief),
		read: func(r *reader, path string, n ast.Node) func(*Take) {
			list, ok := r.loopNumbers(path, n)
			if !ok {
				return nil
			}
			return func(t *Take) { t.Toggle = list }
		},
	}
}

func loopsSchema(brief string) object {
	return object{
		"type": "object", "description": brief, "minProperties": 1,
		"propertyNames": object{"pattern": "^[1-9][0-9]?$"}, "additionalProperties": orderSchema("the blocks of a loop, from the send to the return"),
	}
}

// loopsKey is the loops of a switcher. It reads names of blocks, which are all declared by then.
func loopsKey() key[Block] {
	const brief = "the loops by their numbers, each a list of blocks from the send to the return"
	return key[Block]{
		name: "loops", brief: brief, schema: loopsSchema(brief),
		read: func(r *reader, path string, n ast.Node) func(*Block) {
			name := strings.TrimSuffix(path, ".loops")
			if r.switcher != "" {
				r.at(n, "%s is a second switcher with loops; a file has one, and %s is that", name, r.switcher)
				return nil
			}
			r.switcher = name
			pairs, ok := r.pairs(path, n, "{1: [fuzz]}")
			if !ok {
				r.useAll()
				return nil
			}
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				number, err := strconv.Atoi(word)
				if err != nil || number < 1 || number > maxLoop || strconv.Itoa(number) != word {
					r.at(p.Key, "a loop is called by its number, from 1 to %d, and not %q", maxLoop, clipped(word, 60))
				}
				r.loops = append(r.loops, Loop{number, r.loop(join(path, word), p.Value, r.loops)})
			}
			slices.SortStableFunc(r.loops, func(a, b Loop) int { return a.Number - b.Number })
			if len(pairs) == 0 {
				r.at(n, "%s is empty; want numbers with lists of blocks, like {1: [fuzz]}", path)
				return nil
			}
			loops := r.loops
			return func(b *Block) { b.Loops = loops }
		},
	}
}

// takeLoopsKey is what loops hold in a take. They are nil where there is a fault in them: what they would hold is not known then.
func takeLoopsKey() key[Take] {
	const brief = "what loops of the switcher hold in this take, by their numbers, in place of what it has in them; loops that are not named stay"
	return key[Take]{
		name: "loops", brief: brief, schema: loopsSchema(brief),
		read: func(r *reader, path string, n ast.Node) func(*Take) {
			pairs, ok := r.pairs(path, n, "{1: [fuzz]}")
			if !ok {
				r.useAll()
				return nil
			}
			if r.switcher == "" {
				r.useAll()
				if !r.undeclared {
					r.at(n, "%s names loops, but no block is a switcher with loops", path)
				}
				return nil
			}
			faults := len(r.faults)
			if len(pairs) == 0 {
				r.at(n, "%s is empty; leave it out, or say what a loop holds in this take, like {1: [fuzz]}", path)
			}
			var there []string
			for _, l := range r.loops {
				there = append(there, strconv.Itoa(l.Number))
			}
			var named []string
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				if !slices.Contains(there, word) {
					r.unknown(p.Key, "no loop %q in "+r.switcher, word, nearest(word, there), "loops", there)
				}
				named = append(named, word)
			}
			var stay, own []Loop
			for _, l := range r.loops {
				if len(r.faults) == faults && !slices.Contains(named, strconv.Itoa(l.Number)) {
					stay = append(stay, l)
				}
			}
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				number, _ := strconv.Atoi(word)
				l := Loop{number, r.loop(join(path, word), p.Value, own)}
				for _, b := range l.Blocks {
					if in := holder(stay, b); in != nil {
						rest := slices.DeleteFunc(slices.Clone(in.Blocks), func(name string) bool { return name == b })
						r.at(p.Value, "block %q is in loop %d already; say what is in that loop in this take, like %d: %s", b, in.Number, in.Number, flowNames(rest))
					}
				}
				own = append(own, l)
			}
			if len(r.faults) > faults {
				return nil
			}
			slices.SortStableFunc(own, func(a, b Loop) int { return a.Number - b.Number })
			return func(t *Take) { t.Loops = own }
		},
	}
}

// loop is what a loop holds, beside others.
func (r *reader) loop(path string, n ast.Node, others []Loop) []string {
	names, _ := r.blockNames(path, n)
	for _, b := range names {
		r.used[b] = true
		if b == r.switcher {
			r.at(n, "%s is in a loop of its own", b)
		}
		if in := holder(others, b); in != nil {
			r.at(n, "block %q is in loop %d already", b, in.Number)
		}
	}
	return names
}

// useAll is for what should name blocks and cannot be read: none of them can be called unused.
func (r *reader) useAll() {
	for _, name := range r.declared {
		r.used[name] = true
	}
}

// loopsUsed faults presets, toggles and loops of a take that has no switcher in its order.
func (r *reader) loopsUsed(f *File, t Take, read readTake, order []string) {
	if slices.Contains(order, r.switcher) {
		return
	}
	if p := f.preset(t.Preset); p != nil && (len(p.Loops) > 0 || p.Trim != nil) {
		r.at(read.keys["preset"], "take %q has no switcher in its order, so preset %q has no loops there", t.Name, t.Preset)
	}
	if len(t.Toggle) > 0 {
		r.at(read.keys["toggle"], "take %q has no switcher in its order, so there is nothing to toggle", t.Name)
	}
	if len(t.Loops) > 0 {
		r.at(read.keys["loops"], "take %q has no switcher in its order, so it has no loops", t.Name)
	}
}

func presetKeys() []key[Preset] {
	const loops = "the loops that are in"
	return []key[Preset]{
		{
			name: "loops", brief: loops, schema: loopNumbersSchema(loops),
			read: func(r *reader, path string, n ast.Node) func(*Preset) {
				list, ok := r.loopNumbers(path, n)
				if !ok {
					return nil
				}
				return func(p *Preset) { p.Loops = list }
			},
		},
		{
			name: "set", brief: "settings that are changed in this preset, like {fuzz.level: 3}",
			read: func(r *reader, path string, n ast.Node) func(*Preset) {
				set, ok := r.settings(path, n)
				if !ok {
					return nil
				}
				return func(p *Preset) { p.Set = set }
			},
		},
		{
			name: "trim", brief: "gain at the switcher's output in this preset; 0 dB is a wire, anything else an amplifier",
			schema: quantitySchema("gain at the switcher's output in this preset; 0 dB is a wire, anything else an amplifier", dsp.Decibels, -20, 20, ""),
			read: func(r *reader, path string, n ast.Node) func(*Preset) {
				v, ok := r.quantity(path, n, dsp.Decibels, -20, 20) // as the knob of the switcher
				if !ok {
					return nil
				}
				if r.switcher == "" {
					r.at(n, "%s: no block is a switcher with loops, so there is no output to trim", path)
					return nil
				}
				return func(p *Preset) { p.Trim = &v }
			},
		},
	}
}

func presetsKey(kinds []*blocks.Kind) key[File] {
	const brief = "what the switcher remembers by name: loops that are in, settings and a trim"
	keys := presetKeys()
	for i := range keys {
		if keys[i].name == "set" {
			keys[i].schema = setSchema(kinds, "settings that are changed in this preset")
		}
	}
	return key[File]{
		name: "presets", brief: brief,
		schema: object{
			"type": "object", "description": brief, "minProperties": 1, "propertyNames": object{"minLength": 1, "maxLength": 200},
			"additionalProperties": mapSchema("a preset", keys),
		},
		read: func(r *reader, path string, n ast.Node) func(*File) {
			pairs, ok := r.pairs(path, n, "verse: {loops: [1]}")
			if !ok {
				return nil
			}
			if len(pairs) > maxPresets {
				r.at(pairs[maxPresets].Key, "more than %d presets", maxPresets)
				return nil
			}
			if len(pairs) == 0 {
				r.at(n, "%s is empty; leave it out, or name one, like verse: {loops: [1]}", path)
			}
			var all []Preset
			for _, p := range pairs {
				name, ok := r.line(path, p.Key, "the name of a preset")
				if !ok {
					continue
				}
				v := Preset{Name: name}
				r.presets = append(r.presets, name)
				readMap(r, join(path, name), p.Value, "loops: [1]", presetKeys(), &v)
				all = append(all, v)
			}
			return func(f *File) { f.Presets = all }
		},
	}
}

func splitKeys() []key[SplitOrder] {
	side := func(name string, set func(*SplitOrder, []string)) key[SplitOrder] {
		brief := "the blocks of the " + name + " path"
		return key[SplitOrder]{
			name: name, brief: brief, must: true, schema: orderSchema(brief),
			read: func(r *reader, path string, n ast.Node) func(*SplitOrder) {
				names, ok := r.blockNames(path, n)
				if !ok {
					return nil
				}
				return func(s *SplitOrder) { set(s, names) }
			},
		}
	}
	return []key[SplitOrder]{
		side("left", func(s *SplitOrder, l []string) { s.Left = l }),
		side("right", func(s *SplitOrder, l []string) { s.Right = l }),
		choiceKey("mix", "two jacks at the end, or their mean", []string{mixStereo, mixMono}, mixStereo, func(s *SplitOrder, w string) { s.Mix = w }),
	}
}

func splitSchema() object {
	return object{
		"type": "object", "description": "the last of an order: two paths that are fed from one jack", "additionalProperties": false, "required": []string{"split"},
		"properties": object{"split": mapSchema("two paths that are fed from one jack", splitKeys())},
	}
}

// split is the end of an order. A fault in it does not make its blocks unknown.
func (r *reader) split(path string, n ast.Node) *SplitOrder {
	type end struct{ split *SplitOrder }
	const like = "{split: {left: [amp-a], right: [amp-b]}}"
	var e end
	readMap(r, path, n, like, []key[end]{{
		name: "split", brief: "two paths that are fed from one jack, like " + like, must: true,
		read: func(r *reader, path string, n ast.Node) func(*end) {
			s := SplitOrder{Mix: mixStereo}
			if readMap(r, path, n, "{left: [amp-a], right: [amp-b]}", splitKeys(), &s) == nil {
				return nil
			}
			return func(e *end) { e.split = &s }
		},
	}}, &e)
	return e.split
}

func outputKeys() []key[Output] {
	must := func(k key[Output]) key[Output] { k.must = true; return k }
	return []key[Output]{
		must(quantityKey("voltage", "its voltage, like 9 V", dsp.Volts, 3, 48, "", func(o *Output, v float64) { o.Voltage = dsp.Volt(v) })),
		must(quantityKey("current", "the most current it gives, like 500 mA", dsp.Amperes, 1e-3, 10, "", func(o *Output, v float64) { o.Current = dsp.Ampere(v) })),
		choiceKey("polarity", "of the plug", []string{"centre-negative", "centre-positive"}, "centre-negative", func(o *Output, w string) { o.CentrePositive = w == "centre-positive" }),
	}
}

const outputName = `[a-z0-9][a-z0-9-]{0,31}`

func supplyKeys() []key[Supply] {
	const brief = "the outputs by name or number, like {1: {voltage: 9 V, current: 500 mA}}"
	return []key[Supply]{
		choiceKey("isolated", "whether its outputs share nothing, or are one voltage behind several sockets", []string{"yes", "no"}, "yes", func(s *Supply, w string) { s.Isolated = w == "yes" }),
		quantityKey("ripple", "RMS voltage of the mains ripple on its outputs; where it is left out, none if they are isolated, 5 mV if not", dsp.Volts, 0, 1, "", func(s *Supply, v float64) { s.Ripple = dsp.Volt(v) }),
		{
			name: "outputs", brief: brief, must: true,
			schema: object{
				"type": "object", "description": brief, "minProperties": 1,
				"propertyNames": object{"pattern": "^" + outputName + "$"}, "additionalProperties": mapSchema("an output", outputKeys()),
			},
			read: func(r *reader, path string, n ast.Node) func(*Supply) {
				pairs, ok := r.pairs(path, n, "1: {voltage: 9 V, current: 500 mA}")
				if !ok {
					return nil
				}
				if len(pairs) > maxOutputs {
					r.at(pairs[maxOutputs].Key, "more than %d outputs", maxOutputs)
					return nil
				}
				if len(pairs) == 0 {
					r.at(n, "%s is empty; want outputs, like 1: {voltage: 9 V, current: 500 mA}", path)
				}
				var all []Output
				for _, p := range pairs {
					o := Output{Name: p.Key.GetToken().Value}
					if !outputForm.MatchString(o.Name) {
						r.at(p.Key, "an output may not be called %q; want lower-case letters, digits and - (32 at most)", clipped(o.Name, 60))
					}
					readMap(r, join(path, o.Name), p.Value, "{voltage: 9 V, current: 500 mA}", outputKeys(), &o)
					all = append(all, o)
				}
				return func(s *Supply) { s.Outputs = all }
			},
		},
	}
}

func suppliesKey() key[File] {
	const brief = "power supplies by name; a block is plugged into one with power: NAME.OUTPUT"
	return key[File]{
		name: "supplies", brief: brief, schema: namedSchema(brief, mapSchema("a power supply", supplyKeys())),
		read: func(r *reader, path string, n ast.Node) func(*File) {
			for _, p := range r.named(path, n, "brick: {outputs: {1: {voltage: 9 V, current: 500 mA}}}", "supply", maxSupplies) {
				s := Supply{Name: p.Key.GetToken().Value, Isolated: true}
				seen := readMap(r, join(path, s.Name), p.Value, "outputs: {1: {voltage: 9 V, current: 500 mA}}", supplyKeys(), &s)
				if seen["ripple"] == nil && !s.Isolated {
					s.Ripple = usualRipple
				}
				r.supplies = append(r.supplies, s)
			}
			all := r.supplies
			return func(f *File) { f.Supplies = all }
		},
	}
}

// powerKey plugs a block of that kind into an output, unless that would harm it.
func powerKey[T any](kind *blocks.Kind, set func(*T, string)) key[T] {
	const brief = "the supply's output that the block is plugged into, like brick.1; the supply voltage is then the output's"
	return key[T]{
		name: "power", brief: brief, schema: object{"type": "string", "description": brief, "pattern": `^[a-z][a-z0-9-]{0,31}\.` + outputName + "$"},
		read: func(r *reader, path string, n ast.Node) func(*T) {
			word, ok := r.line(path, n, "a supply's output, like brick.1")
			if !ok {
				return nil
			}
			_, o := find(r.supplies, word)
			if o == nil {
				var there []string
				for _, s := range r.supplies {
					for _, o := range s.Outputs {
						there = append(there, s.Name+"."+o.Name)
					}
				}
				if len(there) == 0 {
					r.at(n, "%s: no output %q; the file has no supplies", path, clipped(word, 60))
				} else {
					r.unknown(n, path+": no output %q", word, nearest(word, there), "outputs", there)
				}
				return nil
			}
			if o.Voltage == 0 {
				return nil // a fault that has been told
			}
			if why := refused(kind, o); why != "" {
				r.at(n, "%s: %s", path, why)
				return nil
			}
			return func(t *T) { set(t, word) }
		},
	}
}

// settable faults a changed supply of a block that has the voltage of its power, and a changed knob of a cone that a cabinet has taken the place of.
func (r *reader) settable(f *File, s *Setting) {
	part, knob, _ := strings.Cut(s.Target, ".")
	for _, b := range f.Blocks {
		if b.Name == part && b.Cabinet != nil {
			r.idle(r.setAt[s], part, knob, b.Cabinet.Path)
		}
		if knob == "supply" && b.Name == part && b.Power != "" {
			r.at(r.setAt[s], "%s changes nothing: %s is plugged into %s; change %s.power", s.Target, part, b.Power, part)
		}
	}
}

// shorts faults blocks whose ground is the positive pole, on a supply that has one ground for all.
func (r *reader) shorts(f *File) {
	if !slices.ContainsFunc(f.Blocks, func(b Block) bool { return b.Power != "" && b.Kind.PositiveGround != nil }) {
		return
	}
	told := map[string]bool{}
	for _, c := range f.Chains() {
		for _, b := range c.Every() {
			s, _ := find(f.Supplies, b.Power)
			if s == nil || s.Isolated || told[b.Name] || b.Kind.PositiveGround == nil || !b.Kind.PositiveGround(b.Settings) {
				continue
			}
			for _, other := range f.Blocks {
				if on, _ := find(f.Supplies, other.Power); on == s && other.Name != b.Name {
					told[b.Name] = true
					r.at(r.places[b.Name], "caution: the ground of %s is the positive pole, and %s, whose ground is the negative one, is on the same supply %s: the cable between them shorts it; give it an isolated output",
						b.Name, other.Name, s.Name)
					break
				}
			}
		}
	}
}
