package file

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/goccy/go-yaml/ast"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/guitar"
	"drywire/chains/internal/table"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// The keys of a whole board: several guitars, a split into two amplifiers, a switcher's loops,
// presets and supplies.

// More than any board has.
const (
	maxGuitars  = 50
	maxPresets  = 200
	maxSupplies = 20
	maxOutputs  = 50
	maxLoop     = 99
)

func guitarsKey() key[board.File] {
	const brief = "guitars by name, for takes that name one; guitar is that of the others"
	return key[board.File]{
		Name: "guitars", Brief: brief, Schema: table.NamedSchema(brief, table.Map("a guitar and its cable", guitar.Keys[*reader]())),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			var all []board.NamedGuitar
			for _, p := range table.Named(&r.Reader, path, n, "old: {pickup: single-coil}", "guitar", maxGuitars) {
				g := board.NamedGuitar{Name: p.Key.GetToken().Value, Guitar: newFile().Guitar}
				if g.Name == "guitar" {
					r.At(p.Key, "a guitar may not be called %q: that is the file's own", g.Name)
				}
				r.guitars[g.Name] = p.Key
				seen := table.Read(r, yamltext.Join(path, g.Name), p.Value, "pickup: humbucker", guitar.Keys[*reader](), &g.Guitar)
				r.silences(yamltext.Join(path, g.Name)+".second", seen["second"], g.Guitar)
				all = append(all, g)
			}
			return func(f *board.File) { f.Guitars = all }
		},
	}
}

// guitarKey names a guitar. own is what else it may be called.
func guitarKey[T any](brief string, own []string, set func(*T, string)) key[T] {
	return table.Name("guitar", brief, "guitar", func(r *reader) []string {
		var names []string
		for name := range r.guitars {
			names = append(names, name)
		}
		if len(names) == 0 {
			return nil
		}
		slices.Sort(names)
		return append(names, own...)
	}, set)
}

func takeGuitarKey() key[board.Take] {
	return guitarKey("one of guitars, in place of the preset's or the file's own; guitar is the file's own", []string{board.OwnGuitar}, func(t *board.Take, s string) { t.Guitar = s })
}

// blocksKey is a list of blocks.
func blocksKey[T any](name, brief string, set func(*T, []string)) key[T] {
	return key[T]{
		Name: name, Brief: brief, Schema: orderSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*T) {
			names, ok := r.blockNames(path, n)
			if !ok {
				return nil
			}
			return func(t *T) { set(t, names) }
		},
	}
}

// Presets in time: more than a song has, an hour, and the shortest time for which one may hold,
// both in seconds.
const (
	maxSteps    = 100
	longestTake = 3600
	leastPreset = 0.05
)

// takePresetKey is a preset, or several by the times at which the switcher goes over to them.
func takePresetKey() key[board.Take] {
	const brief = "one of presets, or several by their times, like {at: {0 s: verse, 4 s: lead}}"
	one := table.Name("preset", brief, "preset", func(r *reader) []string { return r.presets }, func(t *board.Take, s string) { t.Preset, t.Changes = s, nil })
	name := one.Read
	one.Schema = table.Object{"description": brief, "anyOf": []any{
		table.Object{"type": "string"},
		table.Object{"type": "object", "required": []string{"at"}, "additionalProperties": false, "properties": table.Object{"at": table.Object{
			"type": "object", "minProperties": 2, "maxProperties": maxSteps, "propertyNames": table.Object{"pattern": dsp.Seconds.Pattern()},
			"additionalProperties": table.Object{"type": "string"},
		}}},
	}}
	one.Read = func(r *reader, path string, n ast.Node) func(*board.Take) {
		if !yamltext.IsMap(n) {
			return name(r, path, n)
		}
		const like = "{0 s: verse, 4 s: lead}"
		var take board.Take
		faults := len(r.Faults)
		table.Read(r, path, n, "at: "+like, []key[struct{}]{{
			Name: "at", Brief: "presets by their times, like at: " + like, Must: true,
			Read: func(r *reader, path string, n ast.Node) func(*struct{}) {
				pairs, ok := r.Pairs(path, n, like)
				if !ok {
					return nil
				}
				if len(pairs) < 2 || len(pairs) > maxSteps {
					r.At(n, "%s has %d presets; want 2 to %d by their times, like at: %s; one that holds needs no time", path, len(pairs), maxSteps, like)
					return nil
				}
				last := 0.0
				for k, p := range pairs {
					at, ok := r.Quantity(path, p.Key, dsp.Seconds, 0, longestTake)
					text := p.Key.GetToken().Value
					switch {
					case ok && k == 0 && at != 0:
						r.At(p.Key, "%s begins at %s; the first preset is that at 0 s", path, text)
					case ok && k > 0 && at-last < leastPreset*(1-1e-9):
						r.At(p.Key, "%s: %s comes less than 50 ms after the preset before; nobody steps that fast", path, text)
					}
					last = at
					var step board.Take
					if set := name(r, yamltext.Join(path, text), p.Value); set != nil {
						set(&step)
					}
					if k == 0 {
						take.Preset = step.Preset
					} else {
						take.Changes = append(take.Changes, board.PresetChange{At: dsp.Second(at), Preset: step.Preset})
					}
				}
				return nil
			},
		}}, &struct{}{})
		if len(r.Faults) > faults {
			return nil
		}
		return func(t *board.Take) { t.Preset, t.Changes = take.Preset, take.Changes }
	}
	return one
}

// loopNumbers is a list of numbers of loops, each at most once.
func (r *reader) loopNumbers(path string, n ast.Node) ([]int, bool) {
	nodes, ok := r.List(path, n, "of loops' numbers, like [1, 3]")
	if !ok {
		return nil, false
	}
	if r.switcher == "" && len(nodes) > 0 {
		r.At(n, "%s names loops, but no block is a switcher", path)
		return nil, false
	}
	var there []string
	for _, l := range r.loops {
		there = append(there, strconv.Itoa(l.Number))
	}
	list, faults := []int{}, len(r.Faults)
	for _, node := range nodes {
		word, ok := r.Line(path, node, "a loop's number")
		if !ok {
			continue
		}
		number, err := strconv.Atoi(word)
		switch in := board.LoopOf(r.loops, word); {
		case in != nil:
			r.At(node, "%s is in loop %d of %s; did you mean [%d]?", word, in.Number, r.switcher, in.Number)
		case slices.Contains(r.declared, word):
			r.At(node, "%s is in no loop of %s; did you mean on: [%s]?", word, r.switcher, word)
		case err != nil || !slices.Contains(there, word):
			r.Unknown(node, "no loop %q in "+r.switcher, word, "", "loops", there)
		case slices.ContainsFunc(r.loops, func(l board.Loop) bool { return l.Insert && l.Number == number }):
			r.At(node, "loop %d is the insert of %s, which is always in; leave it out of %s", number, r.switcher, path)
		case slices.Contains(list, number):
			r.At(node, "loop %d is in %s twice", number, path)
		default:
			list = append(list, number)
		}
	}
	slices.Sort(list)
	return list, len(r.Faults) == faults
}

func loopNumbersSchema(brief string) table.Object {
	return table.Object{"type": "array", "description": brief, "uniqueItems": true, "items": table.Object{"type": "integer", "minimum": 1, "maximum": maxLoop}}
}

func toggleKey() key[board.Take] {
	const brief = "loops that are switched over from what the preset has: in where they were out, out where they were in"
	return key[board.Take]{
		Name: "toggle", Brief: brief, Schema: loopNumbersSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*board.Take) {
			list, ok := r.loopNumbers(path, n)
			if !ok {
				return nil
			}
			return func(t *board.Take) { t.Toggle = list }
		},
	}
}

func loopsSchema(brief string) table.Object {
	return table.Object{
		"type": "object", "description": brief, "minProperties": 1,
		"propertyNames": table.Object{"pattern": "^[1-9][0-9]?$"}, "additionalProperties": orderSchema("the blocks of a loop, from the send to the return"),
	}
}

// loopsKey is the loops of a switcher. It reads names of blocks, which are all declared by then.
func loopsKey() key[board.Block] {
	const brief = "the loops by their numbers, each a list of blocks from the send to the return"
	return key[board.Block]{
		Name: "loops", Brief: brief, Schema: loopsSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*board.Block) {
			name := strings.TrimSuffix(path, ".loops")
			if r.switcher != "" {
				r.At(n, "%s is a second switcher with loops; a file has one, and %s is that", name, r.switcher)
				return nil
			}
			r.switcher = name
			pairs, ok := r.Pairs(path, n, "{1: [fuzz]}")
			if !ok {
				r.useAll()
				return nil
			}
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				number, err := strconv.Atoi(word)
				if err != nil || number < 1 || number > maxLoop || strconv.Itoa(number) != word {
					r.At(p.Key, "a loop is called by its number, from 1 to %d, and not %q", maxLoop, yamltext.Clipped(word, 60))
				}
				r.loops = append(r.loops, board.Loop{Number: number, Blocks: r.loop(yamltext.Join(path, word), p.Value, r.loops)})
			}
			slices.SortStableFunc(r.loops, func(a, b board.Loop) int { return a.Number - b.Number })
			if len(pairs) == 0 {
				r.At(n, "%s is empty; want numbers with lists of blocks, like {1: [fuzz]}", path)
				return nil
			}
			loops := r.loops
			return func(b *board.Block) { b.Loops = loops }
		},
	}
}

// insertKey is which of the loops no relay switches. It comes after loops.
func insertKey() key[board.Block] {
	const brief = "the number of a loop that is always in, for an amplifier whose front and effects loop the other loops stand in (four cables)"
	return key[board.Block]{
		Name: "insert", Brief: brief, Schema: table.Object{"type": "integer", "description": brief, "minimum": 1, "maximum": maxLoop},
		Read: func(r *reader, path string, n ast.Node) func(*board.Block) {
			word, ok := r.Line(path, n, "a loop's number, like 3")
			if !ok {
				return nil
			}
			var there []string
			for k, l := range r.loops {
				number := strconv.Itoa(l.Number)
				there = append(there, number)
				if number == word {
					r.loops[k].Insert = true
					return func(*board.Block) {}
				}
			}
			if in := board.LoopOf(r.loops, word); in != nil {
				r.At(n, "%s is in loop %d of %s; did you mean insert: %d?", word, in.Number, r.switcher, in.Number)
				return nil
			}
			r.Unknown(n, "no loop %q in "+r.switcher, word, "", "loops", there)
			return nil
		},
	}
}

// takeLoopsKey is what loops hold in a take. They are nil where there is a fault in them: what they
// would hold is not known then.
func takeLoopsKey() key[board.Take] {
	const brief = "what loops of the switcher hold in this take, by their numbers, in place of what it has in them; loops that are not named stay"
	return key[board.Take]{
		Name: "loops", Brief: brief, Schema: loopsSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*board.Take) {
			pairs, ok := r.Pairs(path, n, "{1: [fuzz]}")
			if !ok {
				r.useAll()
				return nil
			}
			if r.switcher == "" {
				r.useAll()
				if !r.undeclared {
					r.At(n, "%s names loops, but no block is a switcher with loops", path)
				}
				return nil
			}
			faults := len(r.Faults)
			if len(pairs) == 0 {
				r.At(n, "%s is empty; leave it out, or say what a loop holds in this take, like {1: [fuzz]}", path)
			}
			var there []string
			for _, l := range r.loops {
				there = append(there, strconv.Itoa(l.Number))
			}
			var named []string
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				if !slices.Contains(there, word) {
					r.Unknown(p.Key, "no loop %q in "+r.switcher, word, yamltext.Nearest(word, there), "loops", there)
				}
				named = append(named, word)
			}
			var stay, own []board.Loop
			for _, l := range r.loops {
				if len(r.Faults) == faults && !slices.Contains(named, strconv.Itoa(l.Number)) {
					stay = append(stay, l)
				}
			}
			for _, p := range pairs {
				word := p.Key.GetToken().Value
				number, _ := strconv.Atoi(word)
				l := board.Loop{Number: number, Blocks: r.loop(yamltext.Join(path, word), p.Value, own)}
				for _, b := range l.Blocks {
					if in := board.LoopOf(stay, b); in != nil {
						rest := slices.DeleteFunc(slices.Clone(in.Blocks), func(name string) bool { return name == b })
						r.At(p.Value, "block %q is in loop %d already; say what is in that loop in this take, like %d: %s", b, in.Number, in.Number, yamltext.FlowNames(rest))
					}
				}
				own = append(own, l)
			}
			if len(r.Faults) > faults {
				return nil
			}
			slices.SortStableFunc(own, func(a, b board.Loop) int { return a.Number - b.Number })
			return func(t *board.Take) { t.Loops = own }
		},
	}
}

// loop is what a loop holds, beside others.
func (r *reader) loop(path string, n ast.Node, others []board.Loop) []string {
	names, _ := r.blockNames(path, n)
	for _, b := range names {
		r.used[b] = true
		if b == r.switcher {
			r.At(n, "%s is in a loop of its own", b)
		}
		if in := board.LoopOf(others, b); in != nil {
			r.At(n, "block %q is in loop %d already", b, in.Number)
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
func (r *reader) loopsUsed(f *board.File, t board.Take, read readTake, order []string) {
	if slices.Contains(order, r.switcher) {
		return
	}
	for _, preset := range t.Presets() {
		if p := f.Preset(preset); p != nil && (len(p.Loops) > 0 || p.Trim != nil) {
			r.At(read.keys["preset"], "take %q has no switcher in its order, so preset %q has no loops there", t.Name, preset)
			break
		}
	}
	if len(t.Toggle) > 0 {
		r.At(read.keys["toggle"], "take %q has no switcher in its order, so there is nothing to toggle", t.Name)
	}
	if len(t.Loops) > 0 {
		r.At(read.keys["loops"], "take %q has no switcher in its order, so it has no loops", t.Name)
	}
}

func presetKeys() []key[board.Preset] {
	const loops = "the loops that are in"
	return []key[board.Preset]{
		{
			Name: "loops", Brief: loops, Schema: loopNumbersSchema(loops),
			Read: func(r *reader, path string, n ast.Node) func(*board.Preset) {
				list, ok := r.loopNumbers(path, n)
				if !ok {
					return nil
				}
				return func(p *board.Preset) { p.Loops = list }
			},
		},
		{
			Name: "set", Brief: "settings that are changed in this preset, like {fuzz.level: 3}",
			Read: func(r *reader, path string, n ast.Node) func(*board.Preset) {
				set, ok := r.settings(path, n)
				if !ok {
					return nil
				}
				return func(p *board.Preset) { p.Set = set }
			},
		},
		blocksKey("off", "blocks that are bypassed in this preset", func(p *board.Preset, names []string) { p.Off = names }),
		blocksKey("on", "blocks that are not, although they are off where nothing is said", func(p *board.Preset, names []string) { p.On = names }),
		guitarKey("the one of guitars that this preset is for", nil, func(p *board.Preset, s string) { p.Guitar = s }),
		{
			Name: "trim", Brief: "gain at the switcher's output in this preset; 0 dB is a wire, anything else an amplifier",
			Schema: table.QuantitySchema("gain at the switcher's output in this preset; 0 dB is a wire, anything else an amplifier", dsp.Decibels, -20, 20, ""),
			Read: func(r *reader, path string, n ast.Node) func(*board.Preset) {
				v, ok := r.Quantity(path, n, dsp.Decibels, -20, 20) // as the knob of the switcher
				if !ok {
					return nil
				}
				if r.switcher == "" {
					r.At(n, "%s: no block is a switcher with loops, so there is no output to trim", path)
					return nil
				}
				return func(p *board.Preset) { p.Trim = &v }
			},
		},
	}
}

func presetsKey(kinds []*blocks.Kind) key[board.File] {
	const brief = "what the switcher remembers by name: loops that are in, settings and a trim"
	keys := presetKeys()
	for i := range keys {
		if keys[i].Name == "set" {
			keys[i].Schema = setSchema(kinds, "settings that are changed in this preset")
		}
	}
	return key[board.File]{
		Name: "presets", Brief: brief,
		Schema: table.Object{
			"type": "object", "description": brief, "minProperties": 1, "propertyNames": table.Object{"minLength": 1, "maxLength": 200},
			"additionalProperties": table.Map("a preset", keys),
		},
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			pairs, ok := r.Pairs(path, n, "verse: {loops: [1]}")
			if !ok {
				return nil
			}
			if len(pairs) > maxPresets {
				r.At(pairs[maxPresets].Key, "more than %d presets", maxPresets)
				return nil
			}
			if len(pairs) == 0 {
				r.At(n, "%s is empty; leave it out, or name one, like verse: {loops: [1]}", path)
			}
			var all []board.Preset
			for _, p := range pairs {
				name, ok := r.Line(path, p.Key, "the name of a preset")
				if !ok {
					continue
				}
				v := board.Preset{Name: name}
				r.presets = append(r.presets, name)
				r.presetAt = append(r.presetAt, table.Read(r, yamltext.Join(path, name), p.Value, "loops: [1]", presetKeys(), &v))
				all = append(all, v)
			}
			return func(f *board.File) { f.Presets = all }
		},
	}
}

func splitKeys() []key[board.SplitOrder] {
	side := func(name string, set func(*board.SplitOrder, []string)) key[board.SplitOrder] {
		brief := "the blocks of the " + name + " path"
		return key[board.SplitOrder]{
			Name: name, Brief: brief, Must: true, Schema: orderSchema(brief),
			Read: func(r *reader, path string, n ast.Node) func(*board.SplitOrder) {
				names, ok := r.blockNames(path, n)
				if !ok {
					return nil
				}
				return func(s *board.SplitOrder) { set(s, names) }
			},
		}
	}
	return []key[board.SplitOrder]{
		side("left", func(s *board.SplitOrder, l []string) { s.Left = l }),
		side("right", func(s *board.SplitOrder, l []string) { s.Right = l }),
		table.Choice[*reader]("mix", "two jacks at the end, or their mean", []string{board.MixStereo, board.MixMono}, board.MixStereo, func(s *board.SplitOrder, w string) { s.Mix = w }),
	}
}

func splitSchema() table.Object {
	return table.Object{
		"type": "object", "description": "the last of an order: two paths that are fed from one jack", "additionalProperties": false, "required": []string{"split"},
		"properties": table.Object{"split": table.Map("two paths that are fed from one jack", splitKeys())},
	}
}

// split is the end of an order. A fault in it does not make its blocks unknown.
func (r *reader) split(path string, n ast.Node) *board.SplitOrder {
	type end struct{ split *board.SplitOrder }
	const like = "{split: {left: [amp-a], right: [amp-b]}}"
	var e end
	table.Read(r, path, n, like, []key[end]{{
		Name: "split", Brief: "two paths that are fed from one jack, like " + like, Must: true,
		Read: func(r *reader, path string, n ast.Node) func(*end) {
			s := board.SplitOrder{Mix: board.MixStereo}
			if table.Read(r, path, n, "{left: [amp-a], right: [amp-b]}", splitKeys(), &s) == nil {
				return nil
			}
			return func(e *end) { e.split = &s }
		},
	}}, &e)
	return e.split
}

func outputKeys() []key[board.Output] {
	must := func(k key[board.Output]) key[board.Output] { k.Must = true; return k }
	const voltage = "its voltage, like 9 V; of one that can be switched, from the lowest to the highest, like 9..18 V"
	return []key[board.Output]{
		{
			Name: "voltage", Brief: voltage, Must: true,
			Schema: voltagesSchema(voltage),
			Read: func(r *reader, path string, n ast.Node) func(*board.Output) {
				low, high, ok := r.voltages(path, n)
				if !ok {
					return nil
				}
				return func(o *board.Output) {
					if o.Voltage = low; high > low {
						o.Highest = high
					}
				}
			},
		},
		table.Quantity[*reader]("at", "where a voltage that can be switched stands; where it is left out, at the lowest", dsp.Volts, 3, 48, "", func(o *board.Output, v float64) { o.Voltage = dsp.Volt(v) }),
		must(table.Quantity[*reader]("current", "the most current it gives, like 500 mA", dsp.Amperes, 1e-3, 10, "", func(o *board.Output, v float64) { o.Current = dsp.Ampere(v) })),
		table.Choice[*reader]("polarity", "of the plug", plugs, plugs[0], func(o *board.Output, w string) { o.CentrePositive = w == plugs[1] }),
	}
}

func voltagesSchema(brief string) table.Object {
	return table.Object{"type": "string", "description": brief + " (volts, from 3 V to 48 V)", "examples": []string{"9 V", "9..18 V"}, "pattern": `^([^.]|\.[^.])+\.\..+$|` + dsp.Volts.Pattern()}
}

// voltages is a voltage, or two with dots between them.
func (r *reader) voltages(path string, n ast.Node) (low, high dsp.Volt, ok bool) {
	text, ok := r.Scalar(path, n, "a voltage like 9 V, or 9..18 V")
	if !ok {
		return 0, 0, false
	}
	from, to, two := strings.Cut(text, "..")
	if !two {
		to = from
	} else if !strings.ContainsFunc(from, unicode.IsLetter) {
		from += " V"
	}
	var v [2]float64
	for k, text := range []string{from, to} {
		var err error
		if v[k], err = dsp.ParseQuantity(text, dsp.Volts); err != nil {
			r.At(n, "%s: %v", path, err)
			return 0, 0, false
		}
		if !r.Within(path, n, text, v[k], dsp.Volts, 3, 48) {
			return 0, 0, false
		}
	}
	if two && v[0] >= v[1] {
		r.At(n, "%s: %s does not go up; want the lowest voltage, then the highest, like 9..18 V", path, strings.TrimSpace(text))
		return 0, 0, false
	}
	return dsp.Volt(v[0]), dsp.Volt(v[1]), true
}

// readOutput reads an output. at is a position of a switch, and there is none where there is one
// voltage.
func (r *reader) readOutput(path string, n ast.Node, o *board.Output) {
	faults := len(r.Faults)
	seen := table.Read(r, path, n, "{voltage: 9 V, current: 500 mA}", outputKeys(), o)
	if seen["at"] == nil || len(r.Faults) > faults {
		return
	}
	at := yamltext.ValueOf(n, "at")
	lowest, _, _ := r.voltages(path, yamltext.ValueOf(n, "voltage"))
	switch {
	case o.Highest == 0:
		r.At(at, "%s.at: %s has one voltage; one that can be switched is written voltage: 9..18 V", path, path)
	case o.Voltage < lowest || o.Voltage > o.Highest:
		r.At(at, "%s.at: %s is out of range; it can be switched from %s to %s", path, dsp.FormatQuantity(float64(o.Voltage), dsp.Volts),
			dsp.FormatQuantity(float64(lowest), dsp.Volts), dsp.FormatQuantity(float64(o.Highest), dsp.Volts))
	}
}

// outputName is a name as printed on a supply, like 1, OUT 2 or 9V-A.
const outputName = `[A-Za-z0-9][A-Za-z0-9 +/_-]{0,31}`

func supplyKeys() []key[board.Supply] {
	const brief = "the outputs by name or number, like {1: {voltage: 9 V, current: 500 mA}}"
	return []key[board.Supply]{
		table.Choice[*reader]("isolated", "whether its outputs share nothing, or are one voltage behind several sockets", []string{"yes", "no"}, "yes", func(s *board.Supply, w string) { s.Isolated = w == "yes" }),
		table.Quantity[*reader]("ripple", "RMS voltage of the mains ripple on its outputs; where it is left out, none if they are isolated, 5 mV if not", dsp.Volts, 0, 1, "", func(s *board.Supply, v float64) { s.Ripple = dsp.Volt(v) }),
		{
			Name: "outputs", Brief: brief, Must: true,
			Schema: table.Object{
				"type": "object", "description": brief, "minProperties": 1,
				"propertyNames": table.Object{"pattern": "^" + outputName + "$"}, "additionalProperties": table.Map("an output", outputKeys()),
			},
			Read: func(r *reader, path string, n ast.Node) func(*board.Supply) {
				pairs, ok := r.Pairs(path, n, "1: {voltage: 9 V, current: 500 mA}")
				if !ok {
					return nil
				}
				if len(pairs) > maxOutputs {
					r.At(pairs[maxOutputs].Key, "more than %d outputs", maxOutputs)
					return nil
				}
				if len(pairs) == 0 {
					r.At(n, "%s is empty; want outputs, like 1: {voltage: 9 V, current: 500 mA}", path)
				}
				var all []board.Output
				for _, p := range pairs {
					o := board.Output{Name: p.Key.GetToken().Value}
					if !outputForm.MatchString(o.Name) {
						r.At(p.Key, "an output may not be called %q; want what is printed on it, of letters, digits, spaces and + / _ - (32 at most)", yamltext.Clipped(o.Name, 60))
					}
					r.readOutput(yamltext.Join(path, o.Name), p.Value, &o)
					all = append(all, o)
				}
				return func(s *board.Supply) { s.Outputs = all }
			},
		},
	}
}

func suppliesKey() key[board.File] {
	const brief = "power supplies by name; a block is plugged into one with power: NAME.OUTPUT"
	return key[board.File]{
		Name: "supplies", Brief: brief, Schema: table.NamedSchema(brief, table.Map("a power supply", supplyKeys())),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			for _, p := range table.Named(&r.Reader, path, n, "brick: {outputs: {1: {voltage: 9 V, current: 500 mA}}}", "supply", maxSupplies) {
				s := board.Supply{Name: p.Key.GetToken().Value, Isolated: true}
				seen := table.Read(r, yamltext.Join(path, s.Name), p.Value, "outputs: {1: {voltage: 9 V, current: 500 mA}}", supplyKeys(), &s)
				if seen["ripple"] == nil && !s.Isolated {
					s.Ripple = board.UsualRipple
				}
				r.supplies = append(r.supplies, s)
			}
			all := r.supplies
			return func(f *board.File) { f.Supplies = all }
		},
	}
}

// powerKey plugs a block into an output, unless refused says why that would harm it; nil: that is
// checked later. Where auto is true, package power may choose the output.
func powerKey[T any](auto bool, refused func(*board.Output) string, set func(*T, string)) key[T] {
	brief := "the supply's output that the block is plugged into, like brick.1; the supply voltage is then the output's"
	pattern := `^[a-z][a-z0-9-]{0,31}\.` + outputName + "$"
	if auto {
		brief += "; auto: still to be chosen, as drywire power --assign does, and on a supply of its own until then"
		pattern += "|^" + board.AutoPower + "$"
	}
	return key[T]{
		Name: "power", Brief: brief, Schema: table.Object{"type": "string", "description": brief, "pattern": pattern},
		Read: func(r *reader, path string, n ast.Node) func(*T) {
			word, ok := r.Line(path, n, "a supply's output, like brick.1")
			if !ok {
				return nil
			}
			if auto && word == board.AutoPower {
				return func(t *T) { set(t, word) }
			}
			_, o := board.FindOutput(r.supplies, word)
			if o == nil {
				var there []string
				for _, s := range r.supplies {
					for _, o := range s.Outputs {
						there = append(there, s.Name+"."+o.Name)
					}
				}
				if len(there) == 0 {
					r.At(n, "%s: no output %q; the file has no supplies", path, yamltext.Clipped(word, 60))
				} else {
					r.Unknown(n, path+": no output %q", word, yamltext.Nearest(word, there), "outputs", there)
				}
				return nil
			}
			if refused != nil && r.refused(path, n, o, refused) {
				return nil
			}
			return func(t *T) { set(t, word) }
		},
	}
}

// refused faults a plug that would do harm. Of an output whose voltage is at fault nothing more is
// said.
func (r *reader) refused(path string, n ast.Node, o *board.Output, why func(*board.Output) string) bool {
	text := ""
	if o != nil && o.Voltage > 0 {
		text = why(o)
	}
	if text != "" {
		r.At(n, "%s: %s", path, text)
	}
	return text != ""
}

// poweredKeys are what the file may say of a block's supply, where it knows better than the block's
// kind.
func poweredKeys() []key[board.Powered] {
	const takes = "the voltage that the block may be fed, or from which to which, as printed on it; where it is left out, what is usual of its kind"
	const draw = "the most current that the block takes, as printed on it; where it is left out, what is usual of its kind"
	return []key[board.Powered]{
		table.Quantity[*reader]("draw", draw, dsp.Amperes, 0.1e-3, 5, "", func(p *board.Powered, v float64) { p.Draw = dsp.Ampere(v) }),
		{
			Name: "takes", Brief: takes, Schema: voltagesSchema(takes),
			Read: func(r *reader, path string, n ast.Node) func(*board.Powered) {
				low, high, ok := r.voltages(path, n)
				if !ok {
					return nil
				}
				return func(p *board.Powered) { p.Takes = [2]dsp.Volt{low, high} }
			},
		},
		table.Choice[*reader]("plug", "the plug that the block wants, as printed on it", plugs, plugs[0], func(p *board.Powered, w string) { p.CentrePositive = w == plugs[1] }),
		table.Choice[*reader]("ground", "which pole of its supply is the block's ground; where it is left out, that of its kind", []string{string(blocks.Negative), string(blocks.Positive)}, "", func(p *board.Powered, w string) { p.Ground = blocks.Pole(w) }),
		table.Quantity[*reader]("ripple", "RMS voltage of the mains ripple on what the block is plugged into, in place of its supply's", dsp.Volts, 0, 1, "", func(p *board.Powered, v float64) { volts := dsp.Volt(v); p.Ripple = &volts }),
	}
}

// plugs are the polarities of a plug; the first is usual.
var plugs = []string{"centre-negative", "centre-positive"}

// settable faults a changed supply of a block that has the voltage of its power, and a changed knob
// of a cone that a cabinet has taken the place of.
func (r *reader) settable(f *board.File, s *board.Setting) {
	part, knob, _ := strings.Cut(s.Target, ".")
	for _, b := range f.Blocks {
		if b.Name == part && b.Cabinet != nil {
			r.idle(r.setAt[s], part, knob, b.Cabinet.Path)
		}
		if knob == "supply" && b.Name == part && b.Power != "" {
			r.At(r.setAt[s], "%s changes nothing: %s is plugged into %s; change %s.power", s.Target, part, b.Power, part)
		}
	}
}

// plugs faults plugs that would do harm, and offers outputs that would not.
func (r *reader) plugs(f *board.File) {
	for _, b := range f.Blocks {
		if _, o := board.FindOutput(f.Supplies, b.Power); o != nil {
			r.refused(b.Name+".power", r.powerAt[b.Name], o, func(o *board.Output) string {
				why := board.Refused(b.Kind, b.Powered, o)
				if why != "" {
					why += free(f, b)
				}
				return why
			})
		}
	}
}

// free offers outputs that a block may be plugged into, in brackets.
func free(f *board.File, b board.Block) string {
	if outputs := f.Free(b.Kind, b.Powered); len(outputs) > 0 {
		return " (free: " + strings.Join(outputs, ", ") + ")"
	}
	return ""
}

// shorts faults blocks whose ground is the positive pole, on one output or one common supply with
// others whose ground is the negative one.
func (r *reader) shorts(f *board.File) {
	told := map[string]bool{}
	for _, t := range f.Takes {
		for _, s := range f.Shorts(t) {
			if told[s.Positive] {
				continue
			}
			told[s.Positive] = true
			on := "the same supply " + s.On
			if s.Isolated {
				on = "the same output " + s.On
			}
			at := slices.IndexFunc(f.Blocks, func(b board.Block) bool { return b.Name == s.Positive })
			r.At(r.places[s.Positive], "caution: the ground of %s is the positive pole, and %s, whose ground is the negative one, is on %s: the cables between them short it; give %s an isolated output of its own%s",
				s.Positive, s.Negative, on, s.Positive, free(f, f.Blocks[at]))
		}
	}
}

// cancels says why the two pickups of a guitar give nothing: one recording has one signal, of which
// nothing is left under -40 dB, what a tolerance of 1 % leaves; "" where they do.
func cancels(g board.Guitar) string {
	if !g.Second.Out || math.Abs(1-g.Second.Over(g.Pickup)) >= 0.01 {
		return ""
	}
	return "the two pickups give the same signal, and out of phase nothing is left of it: a recording has what one pickup hears. Give one of them a magnet of its own, like -6 dB, or other coils"
}

// silences faults a guitar whose two pickups cancel.
func (r *reader) silences(path string, n ast.Node, g board.Guitar) {
	if why := cancels(g); why != "" && n != nil {
		r.At(n, "%s: %s", path, why)
	}
}
