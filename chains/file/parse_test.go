package file

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"unicode/utf8"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// testKinds has knobs of every sort, and stays when the real kinds change.
var testKinds = []*blocks.Kind{
	{Name: "buffer", Brief: "a buffer"},
	{Name: "compressor", Brief: "a compressor", Knobs: []blocks.Knob{
		{Name: "ratio", Brief: "slope above the threshold", Unit: dsp.Ratios, Min: 1, Max: 20, Default: 4},
		{Name: "threshold", Brief: "where it begins", Unit: dsp.DBus, Min: -60, Max: 10, Default: -20},
	}},
	{Name: "delay", Brief: "an echo", Knobs: []blocks.Knob{
		{Name: "time", Brief: "between repeats", Unit: dsp.Seconds, Min: 0.02, Max: 1, Default: 0.38, Still: "it is a time"},
		{Name: "repeats", Brief: "how many", Unit: dsp.Dial, Min: 0, Max: 10, Default: 4},
		{Name: "mix", Brief: "echo in the sound", Unit: dsp.Percents, Min: 0, Max: 1, Default: 0.3},
	}},
	{Name: "fuzz", Brief: "a fuzz", Knobs: []blocks.Knob{
		{Name: "device", Brief: "transistors", Words: []string{"silicon", "germanium"}, Word: "silicon"},
		{Name: "fuzz", Brief: "gain", Unit: dsp.Dial, Min: 0, Max: 10, Default: 8},
		{Name: "bypass", Brief: "what is left when it is off", Words: []string{"true", "buffered"}, Word: "true"},
		{Name: "level", Brief: "volume", Unit: dsp.Dial, Min: 0, Max: 10, Default: 5},
	}},
	{Name: "switcher", Brief: "a switcher", Draw: 0.1, Volts: [2]dsp.Volt{9, 18}, Knobs: []blocks.Knob{
		{Name: "trim", Brief: "gain at the output", Unit: dsp.Decibels, Min: -20, Max: 20},
		{Name: "supply", Brief: "supply voltage", Unit: dsp.Volts, Min: 9, Max: 18, Default: 9},
	}},
	{Name: "tremolo", Brief: "a tremolo", Knobs: []blocks.Knob{
		{Name: "rate", Brief: "waves per second", Unit: dsp.Hertzes, Min: 0.5, Max: 12, Default: 5},
	}},
}

// example is the design's own example, with the sample's place taken by a file.
const example = `drywire: 1
title: Should the buffer come before the fuzz?
recording:
  file: riff.wav              # relative to this file
  peak: 420 mV
  load: {resistance: 1 MΩ, cable: 3 m}
guitar:
  pickup: humbucker
  volume: 10
  tone: 9 o'clock
  cable: 5 m
blocks:
  fuzz:   {kind: fuzz, device: silicon, fuzz: 9, level: 6, bypass: true}
  buffer: {kind: buffer}
  echo:   {kind: delay, time: 380 ms, repeats: 4, mix: 30 %}
order: [fuzz, buffer, echo]   # the signal flows left to right
takes:
  - {name: fuzz first}
  - {name: buffered, order: [buffer, fuzz, echo]}
  - {name: "fuzz first, volume rolled back", set: {guitar.volume: 5, fuzz.device: germanium, fuzz.fuzz: 70 %, load.cable: 6 m, patch: 1 m}}
  - {name: single coil, order: [buffer, fuzz, echo], set: {guitar.pickup: single-coil, fuzz.bypass: true}, off: [fuzz]}
  - {name: guitar alone, order: []}
`

func parseExample(t *testing.T, text string) *board.File {
	t.Helper()
	f, err := parse("chain.yaml", []byte(text), testKinds, nil)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestParseExample(t *testing.T) {
	f := parseExample(t, example)
	check := func(what string, got, want any) {
		t.Helper()
		if got != want {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
	check("title", f.Title, "Should the buffer come before the fuzz?")
	check("file", f.Recording.File, "riff.wav")
	check("peak", f.Recording.Peak, dsp.Volt(0.42))
	check("full scale", f.Recording.FullScale, dsp.Volt(0))
	check("recording's load", *f.Recording.Load, board.Load{Resistance: 1e6, Cable: 3})
	check("load given", f.Recording.LoadGiven, true)
	check("side", f.Recording.Side, "sum")
	check("pickup", f.Guitar.Pickup.Name, "humbucker")
	check("tone", f.Guitar.Tone, 2.0)
	check("load", f.Load, board.Load{Resistance: 1e6, Cable: 3})
	check("patch", f.Patch, dsp.Metre(0.3))
	check("blocks", len(f.Blocks), 3)

	chains := f.Chains()
	check("takes", len(chains), 5)
	names := func(c *board.Chain) string {
		var all []string
		for _, b := range c.Blocks {
			s := b.Name
			if b.Off {
				s += " off"
			}
			all = append(all, s)
		}
		return strings.Join(all, ", ")
	}
	check("order 0", names(chains[0]), "fuzz, buffer, echo")
	check("order 1", names(chains[1]), "buffer, fuzz, echo")
	check("order 3", names(chains[3]), "buffer, fuzz off, echo")
	check("order 4", names(chains[4]), "")
	check("fuzz 0", chains[0].Blocks[0].Settings.Number("fuzz"), 9.0)
	check("device 0", chains[0].Blocks[0].Settings.Word("device"), "silicon")
	check("patch 0", chains[0].Patch, dsp.Metre(0.3))
	check("volume 2", chains[2].Guitar.Volume, 5.0)
	check("fuzz 2", chains[2].Blocks[0].Settings.Number("fuzz"), 7.0)
	check("level 2", chains[2].Blocks[0].Settings.Number("level"), 6.0)
	check("device 2", chains[2].Blocks[0].Settings.Word("device"), "germanium")
	check("load cable 2", chains[2].Load.Cable, dsp.Metre(6))
	check("patch 2", chains[2].Patch, dsp.Metre(1))
	// what goes with the pickup: common practice, no source
	check("pots 0", chains[0].Guitar.VolumePot, dsp.Ohm(500e3))
	check("pots 3", chains[3].Guitar.TonePot, dsp.Ohm(250e3))
	check("time", chains[0].Blocks[2].Settings.Number("time"), 0.38)

	// A take leaves the others and the file as they are, also when it is resolved twice.
	c, err := f.Take("fuzz first, volume rolled back")
	if err != nil {
		t.Fatal(err)
	}
	c.Recording.Load.Cable = 99
	again := f.Chains()[0]
	check("volume 0, again", again.Guitar.Volume, 10.0)
	check("fuzz 0, again", again.Blocks[0].Settings.Number("fuzz"), 9.0)
	check("recording's load, again", again.Recording.Load.Cable, dsp.Metre(3))

	_, err = f.Take("bufferd")
	if err == nil || !strings.Contains(err.Error(), `no take "bufferd"; did you mean "buffered"? (there are: "fuzz first", "buffered"`) {
		t.Errorf("Take: %v", err)
	}
}

func TestRecording(t *testing.T) {
	for _, c := range []struct {
		text string
		want board.Recording
		load *board.Load
	}{
		{"sample: riff", board.Recording{Sample: "riff", Side: "sum"}, nil},
		{"sample: riff, load: {cable: 6 m}", board.Recording{Sample: "riff", Side: "sum", LoadGiven: true}, &board.Load{Resistance: 1e6, Cable: 6}},
		{"file: a.wav, peak: 420 mV, side: left", board.Recording{File: "a.wav", Side: "left", Peak: 0.42}, &board.Load{Resistance: 1e6, Cable: 3}},
		{"file: a.wav, full_scale: 2 V, load: none", board.Recording{File: "a.wav", Side: "sum", FullScale: 2, LoadGiven: true}, nil},
		// 10 dBu is sqrt(0.6)·10^(10/20) V RMS, and a sine's peak is sqrt 2 times that: sqrt(12) V
		{"file: a.wav, full_scale: 10 dBu", board.Recording{File: "a.wav", Side: "sum", FullScale: dsp.Volt(math.Sqrt(12))}, &board.Load{Resistance: 1e6, Cable: 3}},
		{"file: a.wav, full_scale: -20 dBV", board.Recording{File: "a.wav", Side: "sum", FullScale: dsp.Volt(0.1 * math.Sqrt2)}, &board.Load{Resistance: 1e6, Cable: 3}},
	} {
		f := parseExample(t, "drywire: 1\nrecording: {"+c.text+"}\norder: []\n")
		got := f.Recording
		if (got.Load == nil) != (c.load == nil) || got.Load != nil && *got.Load != *c.load {
			t.Errorf("%s: load %v, want %v", c.text, got.Load, c.load)
		}
		got.Load = nil
		if math.Abs(float64(got.FullScale-c.want.FullScale)) < 1e-12 {
			got.FullScale = c.want.FullScale
		}
		if got != c.want {
			t.Errorf("%s:\ngot  %+v\nwant %+v", c.text, got, c.want)
		}
		if len(f.Takes) != 1 || f.Takes[0].Name != "as written" {
			t.Errorf("takes %+v, want the one take as written", f.Takes)
		}
	}
}

func TestCustomPickup(t *testing.T) {
	f := parseExample(t, `drywire: 1
recording: {sample: riff}
guitar:
  pickup: {resistance: 8 kΩ, inductance: 4.4 H, capacitance: 130 pF, eddy: 1 MΩ}
  volume_pot: 1M
order: []
takes:
- name: other
  set:
    guitar.pickup:
      resistance: 6 kΩ
      inductance: 2.4 H
      capacitance: 110 pF
`)
	if want := (board.Pickup{Name: "custom", Resistance: 8e3, Inductance: 4.4, Capacitance: 130e-12, Eddy: 1e6}); f.Guitar.Pickup != want {
		t.Errorf("got %+v, want %+v", f.Guitar.Pickup, want)
	}
	g := f.Chains()[0].Guitar
	if want := (board.Pickup{Name: "custom", Resistance: 6e3, Inductance: 2.4, Capacitance: 110e-12, Eddy: 0}); g.Pickup != want || g.VolumePot != 1e6 || g.TonePot != 500e3 {
		t.Errorf("got %+v, want %+v with pots of 1 MΩ and 500 kΩ", g, want)
	}
}

// A file means the same with other line ends, a byte order mark, a document mark or tabs before
// comments.
func TestSameMeaning(t *testing.T) {
	want := parseExample(t, example)
	for name, text := range map[string]string{
		"CRLF":     strings.ReplaceAll(example, "\n", "\r\n"),
		"CR":       strings.ReplaceAll(example, "\n", "\r"),
		"BOM":      "\ufeff" + example,
		"document": "---\n" + example,
		"tab":      strings.ReplaceAll(example, "   #", "\t#"),
		"no end":   strings.TrimSuffix(example, "\n"),
	} {
		f, err := parse("chain.yaml", []byte(text), testKinds, nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if f.Title != want.Title || len(f.Takes) != len(want.Takes) || f.Guitar != want.Guitar {
			t.Errorf("%s: got %+v", name, f)
		}
	}
}

// Every file in testdata/bad has its message beside it, in NAME.txt.
func TestFaults(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(files) < 40 {
		t.Fatalf("%d bad files, want 40 or more (%v)", len(files), err)
	}
	for _, path := range files {
		src, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		_, err = parse(filepath.Base(path), src, testKinds, nil)
		if err == nil {
			t.Errorf("%s: no fault", path)
			continue
		}
		var faults yamltext.Faults
		if !errors.As(err, &faults) || len(faults) == 0 {
			t.Errorf("%s: %T, want Faults", path, err)
		}
		golden(t, strings.TrimSuffix(path, ".yaml")+".txt", err.Error()+"\n")
	}
}

// golden compares with a file of text; UPDATE=1 rewrites it.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if os.Getenv("UPDATE") == "1" {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Errorf("%v (UPDATE=1 go test writes it)", err)
	} else if got != string(want) {
		t.Errorf("%s differs (UPDATE=1 go test rewrites it)\ngot:\n%s\nwant:\n%s", file, got, want)
	}
}

func TestManyFaults(t *testing.T) {
	text := "drywire: 1\nrecording: {sample: riff}\norder: []\nguitar:\n" + strings.Repeat("  volum: 3\n", 50)
	_, err := parse("many.yaml", []byte(text), testKinds, nil)
	var faults yamltext.Faults
	if !errors.As(err, &faults) || len(faults) != yamltext.MaxFaults {
		t.Fatalf("%d faults, want %d: %v", len(faults), yamltext.MaxFaults, err)
	}
}

// What would cost the YAML parser gigabytes is refused before it sees it, each by the bound that is
// meant for it.
func TestHostile(t *testing.T) {
	const head = "drywire: 1\nrecording: {sample: riff}\n"
	stairs := ""
	for i := range 200 {
		stairs += strings.Repeat(" ", i) + "a:\n"
	}
	for name, c := range map[string]struct{ text, says string }{
		"brackets":   {strings.Repeat("[", 19000), "brackets within brackets"},
		"maps":       {strings.Repeat("{a: ", 1900), "brackets within brackets"},
		"hidden":     {strings.Repeat("[ # ]]]\n", 8000), "brackets within brackets"},
		"dashes":     {strings.Repeat("- ", 19000), "lists within lists"},
		"questions":  {strings.Repeat("? ", 19000), "a key that begins with"},
		"keys":       {strings.Repeat("a: b\n", 3000), "more than 2000 keys"},
		"large":      {strings.Repeat("# \n", 30000), "at most 64 kB"},
		"stairs":     {stairs, "indented by more than 40 columns"},
		"words":      {"order: [" + strings.Repeat("a,", 30000) + "]", "more than 20000 words"},
		"commas":     {head + "order: [" + strings.Repeat(",", 9000) + "]\n", "not readable as YAML"},
		"order":      {head + "order: [" + strings.Repeat("a,", 9000) + "]\n", "more than 200 blocks"},
		"blocks":     {head + "order: []\nblocks:\n" + manyBlocks(201), "more than 200 blocks"},
		"takes":      {head + "order: []\ntakes:\n" + strings.Repeat(" - {name: a}\n", 501), "more than 500 takes"},
		"long key":   {head + strings.Repeat("k", 60000) + ": 1\n", "no key"},
		"long value": {head + "order: []\npatch: " + strings.Repeat("9", 60000) + "\n", "too long for a length"},
		"quotes":     {strings.Repeat("\"", 30000), "not readable as YAML"},
		"literals":   {strings.Repeat("a: |\n b\n", 1900), "no key"},
		"laughs":     {"a: &a [x]\nb: &b [*a,*a]\n", "an anchor"},
		"alias":      {"a: *a\n", "an alias"},
		"not text":   {"drywire: \xff\n", "not UTF-8 text (0xff)"},
		"terminal":   {"drywire: \x1b[2J\n", "a control character (U+001B)"},
		"tag":        {"drywire: 1\norder: ! 0\n", "a tag"},
		"empty":      {"", "nothing in the file"},
		"comment":    {"# nothing\n", "nothing in the file"},
		"only words": {"hello", "want keys with values"},
		"list":       {"- a\n- b\n", "want keys with values"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := parse("hostile.yaml", []byte(c.text), testKinds, nil)
		runtime.ReadMemStats(&after)
		// A thousand times the largest file. Without the guards the parser took up to 6.3 GB for
		// such files.
		if got := after.TotalAlloc - before.TotalAlloc; got > 64<<20 {
			t.Errorf("%s: %d MB allocated, want 64 at most", name, got>>20)
		}
		var faults yamltext.Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: no fault", name)
			continue
		}
		s := err.Error()
		if !strings.Contains(s, c.says) {
			t.Errorf("%s: %.300q does not say %q", name, s, c.says)
		}
		if len(s) > 20*1000 || strings.Contains(s, "\x1b") || !utf8.ValidString(s) {
			t.Errorf("%s: a message of %d bytes: %.200q", name, len(s), s)
		}
	}
}

func manyBlocks(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, " b%d: {kind: buffer}\n", i)
	}
	return b.String()
}
