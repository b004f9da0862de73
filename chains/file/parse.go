// Package file reads chain files: YAML as people write it, checked against tables of keys, into a
// board.File or into faults with their places, an excerpt and the nearest word. The same tables
// make the JSON Schema for editors.
//
// It touches no file: whoever calls it brings the bytes. Start reading at Parse, then at key, of
// which the tables are made.
package file

import (
	"fmt"
	"math"
	"regexp"
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

// Version is the version of the chain file's language, the value of its first key.
const Version = "1"

// Parse reads a chain file. name is what messages call it. The error is Faults: every mistake that
// was found, by its place, the first maxFaults of them.
//
// The language is YAML without anchors, tags and further documents, of at most 64 kB; the keys are
// those of Schema.
//
// Of blocks of the kind circuit it knows those that come with the program; ParseWith reads others.
func Parse(name string, src []byte) (*board.File, error) { return ParseWith(name, src, nil) }

// Decks gives the kind of block that a deck makes, by its path as the chain file has it: the same
// for the same deck. An error is deck.Faults where the deck is at fault.
type Decks func(path string) (*blocks.Kind, error)

// ParseWith is Parse of a file that may name decks of its own. The error is Parse's.
func ParseWith(name string, src []byte, decks Decks) (*board.File, error) {
	return parse(name, src, blocks.Kinds(), decks)
}

func parse(name string, src []byte, kinds []*blocks.Kind, decks Decks) (f *board.File, err error) {
	r := &reader{decks: decks, Reader: *yamltext.NewReader(name), places: map[string]ast.Node{}, read: map[string]bool{}, used: map[string]bool{}, guitars: map[string]ast.Node{}, setAt: map[*board.Setting]ast.Node{}, powerAt: map[string]ast.Node{}}
	defer func() {
		// the YAML parser's panics: whatever it meets is the file's fault
		if p := recover(); p != nil {
			r.Fault(1, 1, "not readable as YAML: %v", p)
			f, err = nil, r.Report()
		}
	}()
	body := r.Guard(src)
	if body == nil {
		return nil, r.Report()
	}
	f = newFile()
	if seen := table.Read(r, "", body, "drywire: 1", fileKeys(kinds), f); seen != nil {
		f.Cabinets, f.Decks = r.cabinets, r.deckPaths
		r.orders(body, f, seen)
		r.unused(f)
		r.plugs(f)
	}
	if len(r.Faults) == 0 {
		r.shorts(f)
		r.unwireable(f)
		r.unchangeable(f)
	}
	if len(r.Faults) > 0 {
		return nil, r.Report()
	}
	return f, nil
}

// newFile is a file with everything that need not be written.
func newFile() *board.File {
	pickup, ok := board.FindPickup(board.DefaultPickup)
	if !ok {
		panic("chains: no pickup " + board.DefaultPickup)
	}
	return &board.File{
		Recording: board.Recording{Side: "sum"},
		Guitar:    board.Guitar{Pickup: pickup, ToneCapacitor: 22e-9, Volume: 10, Tone: 10, Hum: -1, Cable: 5},
		Load:      board.DefaultLoad,
		Patch:     0.3,
	}
}

const plainTake = "as written" // the take of a file that has none

// fileKeys is the top of the file. Blocks are read before the orders that name them, and all that a
// take may set before the takes.
func fileKeys(kinds []*blocks.Kind) []key[board.File] {
	return []key[board.File]{
		{
			Name: "drywire", Brief: "the version of this language; the file begins with drywire: 1", Must: true,
			Schema: table.Object{"const": 1, "description": "the version of this language"},
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				if s, ok := r.Scalar(path, n, Version); ok && s != Version {
					r.At(n, "drywire: unsupported version %s; want drywire: %s", s, Version)
				}
				return nil
			},
		},
		table.Line[*reader]("title", "the question that the file asks", "a line of text", false, func(f *board.File, s string) { f.Title = s }),
		{
			Name: "notes", Brief: "free text", Schema: table.Object{"type": "string", "description": "free text"},
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				s, ok := r.Scalar(path, n, "text")
				if !ok {
					return nil
				}
				if strings.ContainsFunc(s, func(c rune) bool { return c < ' ' && c != '\n' || c >= '\u007f' && c <= '\u009f' }) {
					r.At(n, "notes has a control character in it")
					return nil
				}
				return func(f *board.File) { f.Notes = strings.TrimSpace(s) }
			},
		},
		{
			Name: "recording", Brief: "the dry recording, like {sample: riff}", Must: true,
			Schema: recordingSchema("the dry recording, and what is known about its level", recordingKeys()),
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				rec, ok := readRecording(r, path, n, recordingKeys())
				if !ok {
					return nil
				}
				return func(f *board.File) { f.Recording = rec }
			},
		},
		{
			Name: "guitar", Brief: "the guitar and its cable",
			Schema: table.Map("the guitar and its cable", guitar.Keys[*reader]()),
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				g := newFile().Guitar
				seen := table.Read(r, path, n, "pickup: humbucker", guitar.Keys[*reader](), &g)
				r.silences("guitar.second", seen["second"], g)
				return func(f *board.File) { f.Guitar = g }
			},
		},
		guitarsKey(),
		{
			Name: "load", Brief: "what the last jack is plugged into",
			Schema: table.Map("what the last jack is plugged into", loadKeys()),
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				load := board.DefaultLoad
				table.Read(r, path, n, "{resistance: 1 MΩ, cable: 3 m}", loadKeys(), &load)
				return func(f *board.File) { f.Load = load }
			},
		},
		patchKey(func(f *board.File, v float64) { f.Patch = dsp.Metre(v) }),
		suppliesKey(),
		{
			Name: "blocks", Brief: "the blocks by name",
			Schema: blocksSchema(kinds), Read: readBlocks(kinds),
		},
		cablesKey(),
		{
			Name: "order", Brief: "the blocks' names; the signal flows from the first to the last",
			Schema: splitOrderSchema("the blocks' names; the signal flows from the first to the last"),
			Read: func(r *reader, path string, n ast.Node) func(*board.File) {
				order, split, ok := r.order(path, n)
				all := slices.Clone(order)
				if split != nil {
					all = append(append(all, split.Left...), split.Right...)
				}
				for _, name := range all {
					if in := board.LoopOf(r.loops, name); in != nil && slices.Contains(all, r.switcher) {
						r.At(n, "block %q is in order and in loop %d of %s; it is plugged in there or here", name, in.Number, r.switcher)
						ok = false
					}
				}
				if !ok {
					return nil
				}
				return func(f *board.File) { f.Order, f.Split = order, split }
			},
		},
		trayKey(),
		presetsKey(kinds),
		{
			Name: "takes", Brief: "what to render and compare",
			Schema: takesSchema(kinds), Read: readTakes,
		},
		keepKey(),
		preferKey(),
		suspectsKey(),
		venueKey(),
	}
}

// trayKey is the one place where a block may be named that is in no order.
func trayKey() key[board.File] {
	const brief = "blocks that wait off the board; they may be in no order"
	return key[board.File]{
		Name: "tray", Brief: brief, Schema: orderSchema(brief),
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			names, ok := r.blockNames(path, n)
			if names == nil {
				names = r.declared // no list: what it would hold is not known
			}
			for _, name := range names {
				r.used[name] = true
			}
			if !ok {
				return nil
			}
			return func(f *board.File) { f.Tray = names }
		},
	}
}

func patchKey[T any](set func(*T, float64)) key[T] {
	return table.Quantity[*reader]("patch", "length of each cable between two blocks", dsp.Metres, 0, 100, "30 cm", set)
}

// recordingKeys has the level's two forms apart: they need more than a unit.
func recordingKeys() []key[board.Recording] {
	return []key[board.Recording]{
		table.Line[*reader]("file", "a recording of your own, relative to this file", "the path of a WAV file", false, func(v *board.Recording, s string) { v.File = s }),
		{
			Name: "sample", Brief: "a recording that comes with the program", Schema: table.Object{"type": "string", "pattern": table.NamePattern, "description": "a recording that comes with the program"},
			Read: func(r *reader, path string, n ast.Node) func(*board.Recording) {
				s, ok := r.Line(path, n, "the name of a shipped recording, like riff")
				if !ok {
					return nil
				}
				if !table.NameForm.MatchString(s) {
					r.At(n, "%s: %q is no name of a shipped recording (those are lower-case letters, digits and -); a file goes under file", path, s)
					return nil
				}
				return func(v *board.Recording) { v.Sample = s }
			},
		},
		{
			Name: "peak", Brief: "how loud the loudest moment is at the guitar's jack",
			Schema: table.Object{"type": "string", "description": "how loud the loudest moment is at the guitar's jack: volts, from 1 mV to 20 V", "examples": []string{"420 mV"}, "pattern": dsp.Volts.Pattern()},
			Read: func(r *reader, path string, n ast.Node) func(*board.Recording) {
				text, ok := r.Scalar(path, n, "a voltage like 420 mV")
				if !ok {
					return nil
				}
				if _, err := dsp.ParseQuantity(text, dsp.DBus); err == nil {
					r.At(n, "%s: dBu and dBV count the RMS voltage, which a peak has none of; write volts, like 420 mV", path)
					return nil
				}
				v, ok := r.Quantity(path, n, dsp.Volts, 1e-3, 20)
				if !ok {
					return nil
				}
				return func(rec *board.Recording) { rec.Peak = dsp.Volt(v) }
			},
		},
		{
			Name: "full_scale", Brief: "the level of a full-scale sine at the guitar's jack",
			Schema: table.Object{"type": "string", "description": "what digital full scale is at the guitar's jack: volts peak, or dBu or dBV of a full-scale sine; from 1 mV to 100 V peak", "examples": []string{"10 dBu", "2 V"}, "pattern": dsp.Volts.Pattern()},
			Read: func(r *reader, path string, n ast.Node) func(*board.Recording) {
				text, ok := r.Scalar(path, n, "a level like 10 dBu or 2 V")
				if !ok {
					return nil
				}
				v, err := dsp.ParseQuantity(text, dsp.Volts)
				if err != nil {
					r.At(n, "%s: %v", path, err)
					return nil
				}
				if _, err := dsp.ParseQuantity(text, dsp.DBus); err == nil {
					v *= math.Sqrt2 // a level is the RMS voltage of a sine whose peak is full scale
				}
				if v < 1e-3 || v > 100 {
					// 20·log10(V/√2/√0.6), rounded inwards
					r.At(n, "%s: %s is out of range; it goes from 1 mV to 100 V peak (-60 dBu to 39 dBu)", path, strings.TrimSpace(text))
					return nil
				}
				return func(rec *board.Recording) { rec.FullScale = dsp.Volt(v) }
			},
		},
		{
			Name: "load", Brief: "what the guitar was plugged into when it was recorded",
			Schema: table.Object{"anyOf": []any{
				table.Object{"const": "none", "description": "nothing: the file is the pickup's open-circuit voltage"},
				table.Map("what the guitar was plugged into when it was recorded", loadKeys()),
			}},
			Read: func(r *reader, path string, n ast.Node) func(*board.Recording) {
				if s, ok := n.(ast.ScalarNode); ok && n.Type() != ast.NullType {
					if word := s.GetToken().Value; word != "none" {
						r.Unknown(n, path+": no %q", word, yamltext.Nearest(word, []string{"none"}), "want", []string{"none", "or {resistance: 1 MΩ, cable: 3 m}"})
						return nil
					}
					return func(v *board.Recording) { v.Load, v.LoadGiven = nil, true }
				}
				load := board.DefaultLoad
				table.Read(r, path, n, "{resistance: 1 MΩ, cable: 3 m}", loadKeys(), &load)
				return func(v *board.Recording) { v.Load, v.LoadGiven = &load, true }
			},
		},
		{
			Name: "pickup", Brief: "what it was played on; another guitar of the file is louder or softer than that, by its coils, inductance and magnet. The file's own guitar when left out", Schema: guitar.PickupSchema[*reader](),
			Read: func(r *reader, path string, n ast.Node) func(*board.Recording) {
				p, ok := guitar.ReadPickup(r, path, n)
				if !ok {
					return nil
				}
				return func(v *board.Recording) { v.Pickup = &p }
			},
		},
		table.Choice[*reader]("side", "what becomes of a stereo recording", []string{"sum", "left", "right"}, "sum", func(v *board.Recording, w string) { v.Side = w }),
	}
}

// readRecording reads the file's recording or a guitar's.
func readRecording(r *reader, path string, n ast.Node, keys []key[board.Recording]) (rec board.Recording, ok bool) {
	rec = newFile().Recording
	seen := table.Read(r, path, n, "{sample: riff} or {file: riff.wav, peak: 420 mV}", keys, &rec)
	if seen == nil {
		return rec, false
	}
	file, sample, peak, full := seen["file"], seen["sample"], seen["peak"], seen["full_scale"]
	switch {
	case file == nil && sample == nil:
		r.At(n, "%s says no file and no sample; want one of them, like sample: riff or file: riff.wav", path)
	case file != nil && sample != nil:
		r.At(yamltext.Later(file, sample), "%s has a file and a sample; want one of them", path)
	}
	switch {
	case peak != nil && full != nil:
		r.At(yamltext.Later(peak, full), "%s has a peak and a full_scale; want one of them", path)
	case file != nil && peak == nil && full == nil:
		r.At(n, "%s says no level; want peak (like 420 mV: how loud the loudest moment is at the guitar's jack) or full_scale (like 10 dBu)", path)
	}
	if rec.File != "" && !rec.LoadGiven {
		load := board.DefaultLoad
		rec.Load = &load
	}
	return rec, true
}

// loadKeys: an input's resistance and the cable to it. The ranges are wider than any input or cable
// that is sold.
func loadKeys() []key[board.Load] {
	return []key[board.Load]{
		table.Quantity[*reader]("resistance", "the input's resistance", dsp.Ohms, 1e3, 100e6, "1 MΩ", func(l *board.Load, v float64) { l.Resistance = dsp.Ohm(v) }),
		table.Quantity[*reader]("cable", "length of the cable to the input", dsp.Metres, 0, 100, "3 m", func(l *board.Load, v float64) { l.Cable = dsp.Metre(v) }),
		guitar.Capacitance[*reader]("cable_capacitance", func(l *board.Load, v float64) { l.Capacitance = dsp.Farad(v) }),
	}
}

// cablesKey is cables between blocks that differ from the usual patch. It reads names of blocks and
// loops, which are all known by then.
func cablesKey() key[board.File] {
	const brief = "cables between two blocks that are not as patch says, by the jack that they lead to: a block, or a return like board.return-2"
	keys := []key[blocks.Cord]{
		table.Quantity[*reader]("length", "its length; where it is left out, that of patch", dsp.Metres, 0, 100, "", func(k *blocks.Cord, v float64) { k.Length = dsp.Metre(v) }),
		guitar.Capacitance[*reader]("capacitance", func(k *blocks.Cord, v float64) { k.Capacitance = dsp.Farad(v) }),
	}
	return key[board.File]{
		Name: "cables", Brief: brief,
		Schema: table.Object{
			"type": "object", "description": brief, "minProperties": 1,
			"propertyNames": table.Object{"pattern": strings.TrimSuffix(table.NamePattern, "$") + `(\.return-[1-9][0-9]?)?$`}, "additionalProperties": table.Map("a cable", keys),
		},
		Read: func(r *reader, path string, n ast.Node) func(*board.File) {
			pairs, ok := r.Pairs(path, n, "fuzz: {length: 1 m}")
			if !ok {
				return nil
			}
			jacks := map[string]string{}
			var names []string
			for _, b := range r.declared {
				jacks[b] = b + ".in"
				names = append(names, b)
			}
			for _, l := range r.loops {
				jack := fmt.Sprintf("%s.return-%d", r.switcher, l.Number)
				jacks[jack] = jack
				names = append(names, jack)
			}
			if len(pairs) == 0 {
				r.At(n, "%s is empty; leave it out, or name the jack that a cable leads to, like fuzz: {length: 1 m}", path)
			}
			type cable struct {
				jack  string
				cord  blocks.Cord
				given bool // its length
			}
			var all []cable
			for _, p := range pairs {
				name := p.Key.GetToken().Value
				switch {
				case name == "guitar" || name == "load" || name == "out":
					r.At(p.Key, "the cable from the guitar is guitar.cable, and that to the load is load.cable; both have a cable_capacitance beside it")
				case jacks[name] == "" && !r.undeclared:
					r.Unknown(p.Key, "no jack %q that a cable leads to", name, yamltext.Nearest(name, names), "jacks", names)
				}
				k := cable{jack: jacks[name]}
				seen := table.Read(r, yamltext.Join(path, name), p.Value, "{length: 1 m}", keys, &k.cord)
				k.given = seen["length"] != nil
				all = append(all, k)
			}
			return func(f *board.File) {
				f.Cables = map[string]blocks.Cord{}
				for _, k := range all {
					if !k.given {
						k.cord.Length = f.Patch
					}
					f.Cables[k.jack] = k.cord
				}
			}
		},
	}
}

var outputForm = regexp.MustCompile("^" + outputName + "$")
