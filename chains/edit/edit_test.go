package edit

import (
	"reflect"
	"strings"
	"testing"

	"drywire/chains/board"
)

// Each edit changes what it is about and no other byte: the texts are what a person would have
// typed.
func TestEditsOfText(t *testing.T) {
	const flow = `drywire: 1
recording: {sample: riff}   # comes with it
blocks:
  fuzz:   {kind: fuzz}   # loud
  buffer: {kind: buffer}
order: [fuzz, buffer]   # left to right
takes:
  # the first
  - {name: a}   # plain
  - {name: b, order: [ buffer, fuzz ]}
`
	for _, c := range []struct {
		name, src string
		edit      func([]byte) ([]byte, error)
		old, new  string // what is there in place of what
	}{
		{"order", flow, func(s []byte) ([]byte, error) { return SetOrder(s, []string{"buffer", "fuzz"}, nil) }, "order: [fuzz, buffer]   #", "order: [buffer, fuzz]   #"},
		{"take's order", flow, func(s []byte) ([]byte, error) {
			return SetTake(s, "b", board.Take{Name: "b", Order: []string{"fuzz", "buffer"}})
		}, "[ buffer, fuzz ]", "[ fuzz, buffer ]"},
		{"take's name", flow, func(s []byte) ([]byte, error) { return SetTake(s, "a", board.Take{Name: "a, changed"}) }, "{name: a}", `{name: "a, changed"}`},
		{"take's set", flow, func(s []byte) ([]byte, error) {
			return SetTake(s, "a", board.Take{Name: "a", Set: []board.Setting{{Target: "fuzz.fuzz", Text: "7"}}})
		}, "{name: a}", "{name: a, set: {fuzz.fuzz: 7}}"},
		{"add", flow, func(s []byte) ([]byte, error) { return AddTake(s, "a", board.Take{Name: "c", Off: []string{"fuzz"}}) }, "# plain\n", "# plain\n  - {name: c, off: [fuzz]}\n"},
		{"remove", flow, func(s []byte) ([]byte, error) { return RemoveTake(s, "b") }, "  - {name: b, order: [ buffer, fuzz ]}\n", ""},
		{"block", flow, func(s []byte) ([]byte, error) { return AddBlock(s, "up", "boost") }, "  buffer: {kind: buffer}\norder: [fuzz, buffer]   # left to right\n",
			"  buffer: {kind: buffer}\n  up:     {kind: boost}\norder: [fuzz, buffer]   # left to right\ntray: [up]\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.edit([]byte(c.src))
			if err != nil {
				t.Fatal(err)
			}
			if strings.Count(c.src, c.old) != 1 {
				t.Fatalf("%q is not there once", c.old)
			}
			if want := strings.Replace(c.src, c.old, c.new, 1); string(got) != want {
				t.Errorf("got:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}

// Layouts that people write: lists in lines of their own with comments between, brackets over
// several lines, quotes, line ends, the whole file in braces.
func TestEditsOfLayouts(t *testing.T) {
	const head = "drywire: 1\nrecording: {sample: riff}\nblocks: {a: {kind: buffer}, b: {kind: buffer}, c: {kind: buffer}}\n"
	order := func(names ...string) func([]byte) ([]byte, error) {
		return func(s []byte) ([]byte, error) { return SetOrder(s, names, nil) }
	}
	take := func(name string, t board.Take) func([]byte) ([]byte, error) {
		return func(s []byte) ([]byte, error) { return SetTake(s, name, t) }
	}
	set := func(pairs ...string) []board.Setting {
		var all []board.Setting
		for k := 0; k < len(pairs); k += 2 {
			all = append(all, board.Setting{Target: pairs[k], Text: pairs[k+1]})
		}
		return all
	}
	for _, c := range []struct {
		name     string
		edit     func([]byte) ([]byte, error)
		was, now string // behind head
	}{
		{"comments travel", order("c", "a", "b"),
			"order:   # left to right\n  # of the list\n\n  # first of all\n  - a   # is a\n\n  # two\n  # lines\n  - b\n  - c   # is c\n  # the end\n",
			"order:   # left to right\n  # of the list\n\n  - c   # is c\n\n  # first of all\n  - a   # is a\n  # two\n  # lines\n  - b\n  # the end\n"},
		{"block list without indent, in quotes", order("b", "a", "c"), "order:\n- 'a'\n- \"b\"  # b\n- c", "order:\n- \"b\"  # b\n- 'a'\n- c"},
		{"block list loses one", order("c", "a"), "order:\n  - a # a\n  # above b\n  - b # b\n  - c\ntitle: t\n", "order:\n  - c\n  # above b\n  - a # a\ntray: [b]\ntitle: t\n"},
		{"block list gains one", order("a", "b", "c"), "order:\n  - a\n  - c\ntray: [b]\n", "order:\n  - a\n  - b\n  - c\n"},
		{"block list gains one at its head", order("b", "a", "c"), "order:\n  # of a\n  - a\n  - c\ntray: [b]\n", "order:\n  - b\n  # of a\n  - a\n  - c\n"},
		{"block list becomes empty", order(), "order: # why\n  # a\n  - a\n  - b\n  - c\ntitle: t\n", "order: [] # why\n  # a\ntray: [a, b, c]\ntitle: t\n"},
		{"empty list is filled", order("b", "a", "c"), "order: []   # none\ntray: [a, b, c]   # all\n", "order: [b, a, c]   # none\n"},
		{"dash alone", order("b", "a", "c"), "order:\n  -\n    a\n  - b\n  - c\n", "order:\n  - b\n  -\n    a\n  - c\n"},
		{"brackets over lines", order("c", "a", "b"), "order: [\n  a,   # first\n  b,\n  c,   # last\n]\n", "order: [\n  c,   # first\n  a,\n  b,   # last\n]\n"},
		{"brackets over lines lose one", order("a", "c"), "order: [\n  a,   # first\n  b,\n  c,   # last\n]\n", "order: [\n  a,   # first\n  \n  c,   # last\n]\ntray: [b]\n"},
		{"brackets over lines gain one", order("a", "b", "c"), "order: [\n  a,   # first\n  b   # last\n]\ntray: [c]\n", "order: [\n  a,   # first\n  b,   # last\n  c\n]\n"},
		{"brackets over lines gain one, comma last", order("a", "b", "c"), "order: [\n  a,\n  b,   # last\n]\ntray: [c]\n", "order: [\n  a,\n  b,   # last\n  c,\n]\n"},
		{"wide blanks", order("c", "b"), "order: [ a , b , c ]\n", "order: [ c , b ]\ntray: [a]\n"},
		{"CRLF and no end", order("a", "b"), "order: [a, b, c]\r\ntitle: größer\r\n\r\nnotes: |\r\n  é # no comment\r\n  x", "order: [a, b]\r\ntray: [c]\r\ntitle: größer\r\n\r\nnotes: |\r\n  é # no comment\r\n  x"},
		{"split in brackets", func(s []byte) ([]byte, error) {
			return SetOrder(s, []string{}, &board.SplitOrder{Left: []string{"c"}, Right: []string{"a", "b"}, Mix: "mono"})
		}, "order: [a, {split: {left: [b], right: [c]}}]   # x\n", "order: [{split: {left: [c], right: [a, b], mix: mono}}]   # x\n"},
		{"split in lines", func(s []byte) ([]byte, error) {
			return SetOrder(s, []string{"b", "a"}, &board.SplitOrder{Left: []string{}, Right: []string{"c"}, Mix: "stereo"})
		}, "order:\n  # the drive\n  - a\n  # both\n  - split:   # in two\n      mix: mono   # for now\n      left: [b]   # l\n      right:\n        - c   # r\n",
			"order:\n  - b\n  # the drive\n  - a\n  # both\n  - split:   # in two\n      left: []   # l\n      right:\n        - c   # r\n"},
		{"split comes", func(s []byte) ([]byte, error) {
			return SetOrder(s, []string{"a"}, &board.SplitOrder{Left: []string{"b"}, Right: []string{"c"}})
		}, "order:\n  - a\n  - b\n  - c\n", "order:\n  - a\n  - {split: {left: [b], right: [c]}}\n"},
		{"split goes", order("a", "b", "c"), "order:\n  - a\n  - split:\n      left: [b]\n      right: [c]\ntitle: t\n", "order:\n  - a\n  - b\n  - c\ntitle: t\n"},
		{"take in lines", take("x", board.Take{Name: "x: y", Set: set("load.cable", "6 m", "patch", "1 m"), Off: []string{"a"}}),
			"order: [a, b, c]\ntakes:\n  # of x\n  - name: x   # the name\n    # of the set\n    set: {load.cable: 3 m}   # 3\n  - name: z\n",
			"order: [a, b, c]\ntakes:\n  # of x\n  - name: \"x: y\"   # the name\n    # of the set\n    set: {load.cable: 6 m, patch: 1 m}   # 3\n    off: [a]\n  - name: z\n"},
		{"set in lines", take("x", board.Take{Name: "x", Set: set("patch", "1 m", "guitar.tone", "9 o'clock")}),
			"order: [a, b, c]\ntakes:\n- set:\n    load.cable: 3 m   # 3\n    # p\n    patch: 2 m   # 2\n  name: x\n",
			"order: [a, b, c]\ntakes:\n- set:\n    # p\n    patch: 1 m   # 2\n    guitar.tone: 9 o'clock\n  name: x\n"},
		{"first key goes", take("x", board.Take{Name: "x"}), "order: [a, b, c]\ntakes:\n  - set: {patch: 2 m}   # 2\n    # of the name\n    name: x   # x\n", "order: [a, b, c]\ntakes:\n    # of the name\n  - name: x   # x\n"},
		{"order comes between its neighbours", take("x", board.Take{Name: "x", Order: []string{"c", "b", "a"}, Off: []string{"a"}}), "order: [a, b, c]\ntakes: [{name: x, off: [a]}, {name: y}]\n", "order: [a, b, c]\ntakes: [{name: x, order: [c, b, a], off: [a]}, {name: y}]\n"},
		{"a value with keys", take("x", board.Take{Name: "x", Set: set("guitar.pickup", "{resistance: 8 kΩ, inductance: 4 H,   capacitance: 90 pF}")}),
			"order: [a, b, c]\ntakes:\n  - name: x\n    set:\n      guitar.pickup:   # other\n        resistance: 6 kΩ\n        inductance: 2 H\n        capacitance: 90 pF\n",
			"order: [a, b, c]\ntakes:\n  - name: x\n    set:\n      guitar.pickup: {resistance: 8 kΩ, inductance: 4 H, capacitance: 90 pF}\n"},
		{"takes left out", take("as written", board.Take{Name: "one", Off: []string{"b"}}), "order: [a, b, c]\n\nnotes: n\n", "order: [a, b, c]\ntakes:\n  - {name: one, off: [b]}\n\nnotes: n\n"},
		{"empty lines between takes", func(s []byte) ([]byte, error) { return AddTake(s, "x", board.Take{Name: "y", Off: []string{"b"}}) },
			"order: [a, b, c]\ntakes:\n  - name: x\n    off: [a]\n\n  - name: z\n", "order: [a, b, c]\ntakes:\n  - name: x\n    off: [a]\n\n  - name: y\n    off: [b]\n\n  - name: z\n"},
		{"the first take goes", func(s []byte) ([]byte, error) { return RemoveTake(s, "x") }, "order: [a, b, c]\ntakes:\n  - name: x\n    off: [a]\n\n  - name: z\n", "order: [a, b, c]\ntakes:\n  - name: z\n"},
		{"tray comes after the order", func(s []byte) ([]byte, error) { return SetTray(s, []string{"c", "a"}) }, "\norder:\n  - a\n  - b\n  - c   # c\n\ntitle: t\n", "\norder:\n  - a\n  - b\n  - c   # c\n\ntray: [c, a]\n\ntitle: t\n"},
		{"tray goes", func(s []byte) ([]byte, error) { return SetTray(s, nil) }, "\norder: [a, b, c]\n\ntray: [c, a]\n\ntitle: t\n", "\norder: [a, b, c]\n\ntitle: t\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			head := head
			if strings.Contains(c.was, "\r") {
				head = strings.ReplaceAll(head, "\n", "\r\n")
			}
			got, err := c.edit([]byte(head + c.was))
			if err != nil {
				t.Fatal(err)
			}
			if text, ok := strings.CutPrefix(string(got), head); !ok || text != c.now {
				t.Errorf("got:\n%s\nwant:\n%s\n%q", text, c.now, text)
			}
		})
	}
	whole := `{drywire: 1, recording: {sample: riff}, blocks: {a: {kind: buffer}, b: {kind: buffer}}, order: [a, b]}`
	got, err := SetTake([]byte(whole), "as written", board.Take{Name: "x", Order: []string{"b", "a"}})
	if want := strings.TrimSuffix(whole, "}") + ", takes: [{name: x, order: [b, a]}]}"; err != nil || string(got) != want {
		t.Errorf("in braces: %v\n%s\nwant\n%s", err, got, want)
	}
}

// Loops in lines and between brackets, and a switcher that has none yet.
func TestEditsOfLoops(t *testing.T) {
	const text = `drywire: 1
recording: {sample: riff}
blocks:
  board:
    kind: switcher
    loops:   # eleven more are free
      # the first
      1: [a]   # one
      2:
        # of b
        - b   # is b
        - c
  a: {kind: buffer}
  b: {kind: buffer}
  c: {kind: buffer}
order: [board]
`
	got, err := SetLoops([]byte(text), "board", []board.Loop{{Number: 1, Blocks: []string{"c", "a"}}, {Number: 3, Blocks: nil}, {Number: 2, Blocks: []string{"b"}}})
	want := strings.NewReplacer("1: [a]", "1: [c, a]", "        - c\n", "      3: []\n").Replace(text)
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
	got, err = SetLoops([]byte(text), "board", []board.Loop{{Number: 2, Blocks: []string{"c", "b"}}})
	want = strings.NewReplacer("      1: [a]   # one\n", "", "        # of b\n        - b   # is b\n        - c\n", "        - c\n        # of b\n        - b   # is b\n",
		"order: [board]\n", "order: [board]\ntray: [a]\n").Replace(text)
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
	got, err = SetLoops(got, "board", []board.Loop{{Number: 1, Blocks: []string{"a"}}, {Number: 2, Blocks: []string{"b", "c"}}})
	want = strings.Replace(text, "   # one", "", 1) // the comment was behind what has gone
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
	bare := "drywire: 1\nrecording: {sample: riff}\nblocks: {s: {kind: switcher}, a: {kind: buffer}}\norder: [s, a]\n"
	got, err = SetLoops([]byte(bare), "s", []board.Loop{{Number: 1, Blocks: nil}})
	if want := strings.Replace(bare, "switcher}", "switcher, loops: {1: []}}", 1); err != nil || string(got) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
}

// What a file does not allow is refused in plain words.
func TestRefusedEdits(t *testing.T) {
	text := []byte("drywire: 1\nrecording: {sample: riff}\nblocks: {a: {kind: buffer}, f: {kind: fuzz}}\norder: [a, f]\ntakes: [{name: x}, {name: y, set: {f.fuzz: 3}}]\n")
	for _, c := range []struct {
		name string
		edit func() ([]byte, error)
		want string
	}{
		{"no such block", func() ([]byte, error) { return SetOrder(text, []string{"a", "ff"}, nil) }, `no block "ff"`},
		{"twice", func() ([]byte, error) { return SetOrder(text, []string{"a", "f", "a"}, nil) }, `"a" is there twice`},
		{"set of a block that goes", func() ([]byte, error) { return SetOrder(text, []string{"a"}, nil) }, `take "y" has no block "f" in its order, so f.fuzz changes nothing`},
		{"no such take", func() ([]byte, error) { return SetTake(text, "xx", board.Take{Name: "x"}) }, `no take "xx"; did you mean`},
		{"no name", func() ([]byte, error) { return SetTake(text, "x", board.Take{}) }, "a take needs a name"},
		{"a name that is there", func() ([]byte, error) { return SetTake(text, "x", board.Take{Name: "y"}) }, `two takes are called "y"`},
		{"out of range", func() ([]byte, error) {
			return SetTake(text, "x", board.Take{Name: "x", Set: []board.Setting{{Target: "f.fuzz", Text: "11"}}})
		}, "it goes from 0 to 10"},
		{"text that would end its brackets", func() ([]byte, error) {
			return SetTake(text, "x", board.Take{Name: "x", Set: []board.Setting{{Target: "f.fuzz", Text: "3}, off: [a"}}})
		}, "f.fuzz"},
		{"braces that would", func() ([]byte, error) {
			return SetTake(text, "x", board.Take{Name: "x", Set: []board.Setting{{Target: "f.fuzz", Text: "{a: 1}}, {name: z"}}})
		}, "not readable"},
		{"braces and a comment", func() ([]byte, error) {
			return SetTake(text, "x", board.Take{Name: "x", Set: []board.Setting{{Target: "f.fuzz", Text: "{a: 1} # c"}}})
		}, "f.fuzz"},
		{"a line break in a name", func() ([]byte, error) { return SetTake(text, "x", board.Take{Name: "x\n- name: z"}) }, "one line of text"},
		{"the only take", func() ([]byte, error) {
			one, err := RemoveTake(text, "x")
			if err != nil {
				return nil, err
			}
			return RemoveTake(one, "y")
		}, "the only take"},
		{"no such kind", func() ([]byte, error) { return AddBlock(text, "z", "fuz") }, `did you mean "fuzz"?`},
		{"name of a block that is there", func() ([]byte, error) { return AddBlock(text, "a", "fuzz") }, "already"},
		{"name with a colon", func() ([]byte, error) { return AddBlock(text, "z: 1", "fuzz") }, "may not be called"},
		{"no switcher", func() ([]byte, error) { return SetLoops(text, "a", nil) }, "switcher"},
	} {
		if got, err := c.edit(); err == nil || got != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q\n%s", c.name, err, c.want, got)
		}
	}
}

// An edit whose text does not say what was meant is refused, whatever differs: here the text stays
// as it is, and each time something else was meant.
func TestEditsAreComparedWithWhatWasMeant(t *testing.T) {
	text := []byte("drywire: 1\nrecording: {sample: riff}\nblocks: {s: {kind: switcher, loops: {1: [f]}}, f: {kind: fuzz}, a: {kind: buffer}}\norder: [s, a]\ntray: [a]\npresets: {p: {loops: [1], set: {f.fuzz: 3}}}\ntakes: [{name: x, preset: p}, {name: y, off: [a], set: {patch: 1 m}}]\n")
	x, err := Read("the chain file", text)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := x.edit(func(*document, *board.File) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for name, mean := range map[string]func(*board.File){
		"order":        func(f *board.File) { f.Order = []string{"a", "s"} },
		"split":        func(f *board.File) { f.Split = &board.SplitOrder{Mix: board.MixStereo} },
		"title":        func(f *board.File) { f.Title = "t" },
		"loops":        func(f *board.File) { f.Blocks[0].Loops = []board.Loop{{Number: 2, Blocks: []string{"f"}}} },
		"blocks":       func(f *board.File) { f.Blocks[2].Settings = f.Blocks[1].Settings },
		"guitar":       func(f *board.File) { f.Guitar.Volume = 3 },
		"presets":      func(f *board.File) { f.Presets[0].Set[0].Text = "4" },
		"takes":        func(f *board.File) { f.Takes = f.Takes[:1] },
		"take's name":  func(f *board.File) { f.Takes[0].Name = "z" },
		"take's order": func(f *board.File) { f.Takes[0].Order = []string{"s", "a"} },
		"take's set":   func(f *board.File) { f.Takes[1].Set[0].Text = "2 m" },
		"take's off":   func(f *board.File) { f.Takes[1].Off = nil },
		"preset":       func(f *board.File) { f.Takes[0].Preset = "" },
		"toggle":       func(f *board.File) { f.Takes[0].Toggle = []int{1} },
		"take's loops": func(f *board.File) { f.Takes[0].Loops = []board.Loop{{Number: 1, Blocks: []string{"f"}}} },
	} {
		got, err := x.edit(func(_ *document, f *board.File) error { mean(f); return nil })
		if err == nil || got != nil || !strings.Contains(err.Error(), "in another way than it should") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestSetRecording turns to another recording in every layout that a recording is written in; the
// rest keeps its bytes, and no value is rounded.
func TestSetRecording(t *testing.T) {
	const rest = "blocks: {a: {kind: buffer}}   # one\norder: [a]\n"
	for _, was := range []string{
		"recording: {sample: riff}   # it ships\n",
		"recording:\n  sample: riff\n",
		"recording:\n  # by hand\n  file: 'x: y.wav'   # old\n  peak: 420 mV\n  load: {resistance: 1 MΩ, cable: 3 m}\n  side: left\n\n# behind\n",
		"recording: {file: x.wav, full_scale: 1 V, load: none}\n",
	} {
		for _, load := range []*board.Load{nil, {Resistance: 1e6, Cable: 4.5}, {Resistance: 9876.54321, Cable: 1.0 / 3}} {
			x, err := Read("x.yaml", []byte("drywire: 1\n"+was+rest))
			if err != nil {
				t.Fatal(err)
			}
			y, err := x.SetRecording("my riff: #1.wav", 0.1234567890123, load)
			if err != nil {
				t.Fatalf("%q: %v", was, err)
			}
			got := y.File.Recording
			if got.File != "my riff: #1.wav" || got.Peak != 0.1234567890123 || got.Sample != "" || got.FullScale != 0 || got.Side != "sum" || !reflect.DeepEqual(got.Load, load) {
				t.Errorf("%q: %+v", was, got)
			}
			if !strings.HasSuffix(string(y.Source), rest) || !strings.HasPrefix(string(y.Source), "drywire: 1\nrecording: {") || strings.Contains(was, "# behind") != strings.Contains(string(y.Source), "# behind") {
				t.Errorf("%q becomes %q", was, y.Source)
			}
		}
	}
	if x, err := Read("x.yaml", []byte("drywire: 1\nrecording: {sample: riff}\n"+rest)); err != nil {
		t.Fatal(err)
	} else if _, err := x.SetRecording("x.wav", -1, nil); err == nil {
		t.Error("a peak under 0 is taken")
	}
}
