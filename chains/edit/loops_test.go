package edit

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
)

// Edits of a take's own loops keep every other byte.
func TestEditsOfATakesLoops(t *testing.T) {
	const text = `drywire: 1
recording: {sample: riff}
blocks:
  board: {kind: switcher, loops: {1: [a], 2: [b, c]}}
  a: {kind: buffer}
  b: {kind: buffer}
  c: {kind: buffer}
order: [board]
takes:
  - {name: flow, toggle: [1]}   # one
  - name: lines
    # of the loops
    loops:   # both
      2: [c, b]   # two
      1:
        # of a
        - a
    off: [a]
    toggle: [1]
`
	set := func(src, name string, change func(*board.Take)) string {
		t.Helper()
		f := chaintest.MustParse(t, src)
		for _, u := range f.Takes {
			if u.Name == name {
				change(&u)
				got, err := SetTake([]byte(src), name, u)
				if err != nil {
					t.Fatalf("%v\n%s", err, src)
				}
				return string(got)
			}
		}
		t.Fatalf("no take %q", name)
		return ""
	}
	for _, c := range []struct {
		what, take string
		loops      []board.Loop
		old, new   string
	}{
		{"new", "flow", []board.Loop{{Number: 2, Blocks: []string{"c", "b"}}}, "{name: flow, toggle", "{name: flow, loops: {2: [c, b]}, toggle"},
		{"two, in any order", "flow", []board.Loop{{Number: 2, Blocks: nil}, {Number: 1, Blocks: []string{"b"}}}, "{name: flow, toggle", "{name: flow, loops: {1: [b], 2: []}, toggle"},
		{"changed", "lines", []board.Loop{{Number: 1, Blocks: []string{"c", "a"}}, {Number: 2, Blocks: []string{"b"}}}, "", ""},
		{"one less", "lines", []board.Loop{{Number: 2, Blocks: []string{"c", "b"}}}, "      1:\n        # of a\n        - a\n", ""},
		{"none", "lines", nil, "    # of the loops\n    loops:   # both\n      2: [c, b]   # two\n      1:\n        # of a\n        - a\n", "    # of the loops\n"},
	} {
		got := set(text, c.take, func(u *board.Take) { u.Loops = c.loops })
		want := strings.Replace(text, c.old, c.new, 1)
		if c.what == "changed" {
			want = strings.NewReplacer("[c, b]", "[b]", "        # of a\n", "        - c\n        # of a\n").Replace(text)
		}
		if got != want {
			t.Errorf("%s:\n%s\nwant\n%s", c.what, got, want)
		}
	}
	one := set(text, "lines", func(u *board.Take) { u.Name = "other" })
	if want := strings.Replace(text, "name: lines", "name: other", 1); one != want {
		t.Errorf("a name alone:\n%s\nwant\n%s", one, want)
	}
	more, err := AddTake([]byte(text), "flow", board.Take{Name: "more", Loops: []board.Loop{{Number: 2, Blocks: []string{"b"}}, {Number: 1, Blocks: []string{"c"}}}})
	if want := strings.Replace(text, "# one\n", "# one\n  - {name: more, loops: {1: [c], 2: [b]}}\n", 1); err != nil || string(more) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, more, want)
	}
	// A block that is in no loop and no order but a take's own leaves the tray, and comes back.
	waits := strings.Replace(strings.Replace(text, "2: [b, c]}", "2: [b]}", 1), "2: [c, b]", "2: [b]", 1)
	waits = strings.Replace(waits, "order: [board]\n", "order: [board]\ntray: [c]\n", 1)
	used := set(waits, "flow", func(u *board.Take) { u.Loops = []board.Loop{{Number: 1, Blocks: []string{"a", "c"}}} })
	if strings.Contains(used, "tray") || !strings.Contains(used, "loops: {1: [a, c]}") {
		t.Errorf("in use: %s", used)
	}
	if back := set(used, "flow", func(u *board.Take) { u.Loops = nil }); back != waits {
		t.Errorf("%s\nwant\n%s", back, waits)
	}
	for name, c := range map[string]struct {
		loops []board.Loop
		want  string
	}{
		"unknown":  {[]board.Loop{{Number: 3, Blocks: nil}}, `no loop "3" in board`},
		"twice":    {[]board.Loop{{Number: 1, Blocks: nil}, {Number: 1, Blocks: []string{"a"}}}, "loop 1"},
		"a block":  {[]board.Loop{{Number: 1, Blocks: []string{"d"}}}, `no block "d"`},
		"both":     {[]board.Loop{{Number: 1, Blocks: []string{"a", "b"}}}, "loop 2"},
		"the same": {[]board.Loop{{Number: 1, Blocks: []string{"board"}}}, "loop of its own"},
	} {
		if _, err := SetTake([]byte(text), "flow", board.Take{Name: "flow", Loops: c.loops}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Many random loops of takes: what is set is what Parse reads, no other line changes, and it is
// undone to the byte.
func TestRandomLoopsOfTakes(t *testing.T) {
	edits := 0
	for _, name := range []string{"presets-on-a-loop-switcher", "reference-board"} {
		whole, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		for dress, src := range chaintest.Dressed(string(whole)) {
			f := chaintest.MustParse(t, src)
			for seed := range uint64(12) {
				rng := rand.New(rand.NewPCG(seed, 9))
				was := f.Takes[rng.IntN(len(f.Takes))]
				loops := slices.Clone(f.Switcher().Loops)
				i, j := rng.IntN(len(loops)), rng.IntN(len(loops))
				loops[i].Blocks, loops[j].Blocks = slices.Clone(loops[j].Blocks), slices.Clone(loops[i].Blocks)
				slices.Reverse(loops[i].Blocks)
				u := was
				u.Loops = []board.Loop{loops[i]}
				if i != j {
					u.Loops = []board.Loop{loops[j], loops[i]}
				}
				u = f.Fitted(u)
				where := fmt.Sprintf("%s, %s, seed %d, loops %v of %q", name, dress, seed, u.Loops, u.Name)
				got, err := SetTake([]byte(src), was.Name, u)
				if err != nil {
					t.Errorf("%s: %v", where, err)
					continue
				}
				edits++
				before, after := strings.SplitAfter(src, "\n"), strings.SplitAfter(string(got), "\n")
				changed := 0
				for k := range min(len(before), len(after)) {
					if before[k] != after[k] {
						changed++
					}
				}
				if len(before) != len(after) || changed != 1 {
					t.Errorf("%s: %d lines of %d have changed\n%s", where, changed, len(before), got)
				}
				for _, read := range chaintest.MustParse(t, string(got)).Takes {
					if read.Name == u.Name {
						p, _ := plain(u)
						q, _ := plain(read)
						if !like(p, q) || len(q.Loops) == 0 {
							t.Errorf("%s: it says %v", where, read.Loops)
						}
					}
				}
				if back, err := SetTake(got, u.Name, was); err != nil || string(back) != src {
					t.Errorf("%s, back: %v\n%s", where, err, back)
				}
			}
		}
	}
	t.Logf("%d edits", edits)
	if edits < 90 {
		t.Errorf("%d edits, want 90 or more", edits)
	}
}
