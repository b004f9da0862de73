package edit

import (
	"bytes"
	"drywire/blocks"
	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/internal/table"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// tops cuts a text by the keys at its top: each with its lines, up to the next.
func tops(src []byte) map[string]string {
	m, key := map[string]string{}, ""
	for _, line := range strings.SplitAfter(strings.ReplaceAll(strings.TrimPrefix(string(src), "\ufeff"), "\r\n", "\n"), "\n") {
		if name, _, ok := strings.Cut(line, ":"); ok && table.NameForm.MatchString(name) {
			key = name
		}
		m[key] += line
	}
	return m
}

// Many random edits of every shipped file: each changes what it names and no other key, loses no
// comment, and is undone by the edit back.
func TestRandomEdits(t *testing.T) {
	edits, back := 0, 0
	for _, name := range chains.Shipped() {
		whole, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		for dress, src := range chaintest.Dressed(string(whole)) {
			for seed := range uint64(6) {
				rng := rand.New(rand.NewPCG(seed, 1))
				e := anEdit(t, rng, []byte(src))
				if e.do == nil {
					continue
				}
				where := fmt.Sprintf("%s, %s, seed %d: %s", name, dress, seed, e.what)
				got, err := e.do([]byte(src))
				if err != nil {
					t.Errorf("%s: %v", where, err)
					continue
				}
				edits++
				before, after := tops([]byte(src)), tops(got)
				for key := range before {
					if !slices.Contains(e.keys, key) && strings.TrimRight(before[key], "\n") != strings.TrimRight(after[key], "\n") {
						t.Errorf("%s: %q has changed\n%s\n%s", where, key, before[key], after[key])
					}
				}
				if n, m := bytes.Count([]byte(src), []byte("#")), bytes.Count(got, []byte("#")); n != m && !e.loses {
					t.Errorf("%s: %d comments of %d are left\n%s", where, m, n, got)
				}
				if dress == "CRLF" && bytes.Count(got, []byte("\n")) != bytes.Count(got, []byte("\r\n")) {
					t.Errorf("%s: line ends are mixed", where)
				}
				again, err := e.undo(got)
				if err != nil {
					t.Errorf("%s, back: %v", where, err)
					continue
				}
				if string(again) != src {
					t.Errorf("%s: back again it is\n%s\nand was\n%s", where, again, src)
					continue
				}
				back++
			}
		}
	}
	t.Logf("%d edits, %d undone to the byte", edits, back)
	if edits < 300 {
		t.Errorf("%d edits, want 300 or more", edits)
	}
}

// randomEdit is an edit and the one that takes it back.
type randomEdit struct {
	what     string
	do, undo func([]byte) ([]byte, error)
	keys     []string // at the top, that it may change
	loses    bool     // a comment behind what it takes out
}

func kindOf(f *board.File, name string) *blocks.Kind {
	return f.Blocks[slices.IndexFunc(f.Blocks, func(b board.Block) bool { return b.Name == name })].Kind
}

func anEdit(t *testing.T, rng *rand.Rand, src []byte) (e randomEdit) {
	f, err := file.Parse("before.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	take := f.Takes[rng.IntN(len(f.Takes))]
	shuffled := func(l []string) []string {
		var units [][]string // the power of an amplifier with its loudspeaker, or one block
		for _, name := range full(l) {
			if n := len(units) - 1; n >= 0 && kindOf(f, units[n][0]).Drives && len(units[n]) == 1 {
				units[n] = append(units[n], name)
			} else {
				units = append(units, []string{name})
			}
		}
		rng.Shuffle(len(units), func(i, j int) { units[i], units[j] = units[j], units[i] })
		return full(slices.Concat(units...))
	}
	check := func(got []byte, ok func(*board.File) bool) ([]byte, error) {
		f, err := file.Parse("after.yaml", got)
		if err == nil && !ok(f) {
			err = fmt.Errorf("the text does not say so:\n%s", got)
		}
		return got, err
	}
	takeOf := func(f *board.File, name string) board.Take {
		for _, t := range f.Takes {
			if t.Name == name {
				return t
			}
		}
		return board.Take{}
	}
	setTake := func(was, t board.Take, keys ...string) randomEdit {
		return randomEdit{
			keys: append(keys, "takes"),
			do: func(s []byte) ([]byte, error) {
				got, err := SetTake(s, was.Name, t)
				if err != nil {
					return nil, err
				}
				return check(got, func(f *board.File) bool {
					p, err := plain(t)
					q, _ := plain(takeOf(f, p.Name))
					return err == nil && like(p, q)
				})
			},
			undo: func(s []byte) ([]byte, error) { return SetTake(s, t.Name, was) },
		}
	}
	switch kind := rng.IntN(10); kind {
	case 0, 1: // the file's order
		order, split := shuffled(f.Order), filled(f.Split)
		if f.Order == nil {
			return e
		}
		e.what = "order"
		if split != nil && kind == 1 {
			split.Left, split.Right = shuffled(split.Right), shuffled(split.Left)
			split.Mix = []string{board.MixMono, board.MixStereo}[rng.IntN(2)]
			e.what = "order with its split"
		}
		e.keys = []string{"order"}
		e.do = func(s []byte) ([]byte, error) {
			got, err := SetOrder(s, order, split)
			if err != nil {
				return nil, err
			}
			return check(got, func(f *board.File) bool {
				return slices.Equal(f.Order, order) && (split == nil || slices.Equal(f.Split.Left, split.Left) && slices.Equal(f.Split.Right, split.Right) && f.Split.Mix == split.Mix)
			})
		}
		e.undo = func(s []byte) ([]byte, error) { return SetOrder(s, f.Order, f.Split) }
	case 2: // a take's order
		t := take
		if t.Order == nil {
			t.Order, t.Split = shuffled(f.Order), f.Split
		} else {
			t.Order = shuffled(t.Order)
		}
		e = setTake(take, t)
		e.what = "take's order"
	case 3: // a name that needs quotes somewhere
		t := take
		t.Name = []string{"a, b", `it's "loud"`, "x: y", "5", "#1", "größer", "- no", "true", "{a}", "null", `back\slash "and" it's`, "50 %", "-6 dB"}[rng.IntN(13)]
		if slices.ContainsFunc(f.Takes, func(o board.Take) bool { return o.Name == t.Name }) {
			return e
		}
		e = setTake(take, t)
		e.what = "name " + t.Name
	case 4: // settings
		t := take
		t.Set = slices.Clone(t.Set)
		if len(t.Set) > 0 && rng.IntN(2) == 0 {
			t.Set[rng.IntN(len(t.Set))].Text = "1"
			if t.Set[0].Text != "1" || !strings.HasPrefix(t.Set[0].Target, "guitar.") {
				return e
			}
		} else {
			t.Set = append(t.Set, board.Setting{Target: "load.cable", Text: "6 m"}, board.Setting{Target: "guitar.pickup", Text: "{resistance: 6 kΩ, inductance: 2.4 H, capacitance: 110 pF}"})
		}
		e = setTake(take, t)
		e.what = "set"
	case 5: // a block leaves a take, and goes into the tray where no other has it
		t := take
		if t.Order == nil {
			t.Order, t.Split = full(f.Order), f.Split
		}
		if len(t.Order) < 2 {
			return e
		}
		k := rng.IntN(len(t.Order))
		if f.Switcher() != nil && t.Order[k] == f.Switcher().Name {
			return e
		}
		if kindOf(f, t.Order[k]).Loads {
			return e
		}
		t.Order = slices.Delete(slices.Clone(t.Order), k, k+1)
		t = f.Fitted(t)
		e = setTake(take, t, "tray", "order")
		e.what = "a block out"
	case 6: // a take more
		t := board.Take{Name: "one more, " + fmt.Sprint(rng.IntN(100)), Order: shuffled(f.Order), Split: f.Split, Set: []board.Setting{{Target: "guitar.tone", Text: "3"}}}
		e.what, e.keys = "add", []string{"takes"}
		e.do = func(s []byte) ([]byte, error) {
			got, err := AddTake(s, take.Name, t)
			if err != nil {
				return nil, err
			}
			return check(got, func(f *board.File) bool {
				k := slices.IndexFunc(f.Takes, func(o board.Take) bool { return o.Name == t.Name })
				return k > 0 && f.Takes[k-1].Name == take.Name && slices.Equal(f.Takes[k].Order, t.Order)
			})
		}
		e.undo = func(s []byte) ([]byte, error) { return RemoveTake(s, t.Name) }
	case 7: // loops
		s := f.Switcher()
		if s == nil {
			return e
		}
		loops := slices.Clone(s.Loops)
		i, j := rng.IntN(len(loops)), rng.IntN(len(loops))
		loops[i].Blocks, loops[j].Blocks = loops[j].Blocks, loops[i].Blocks
		e.what, e.keys = "loops", []string{"blocks"}
		e.do = func(src []byte) ([]byte, error) {
			got, err := SetLoops(src, s.Name, loops)
			// a preset sets what is out now
			if err != nil && strings.Contains(err.Error(), "changes nothing") {
				return src, nil
			}
			if owned := slices.ContainsFunc(f.Takes, func(t board.Take) bool { return t.Loops != nil }); err != nil && owned && strings.Contains(err.Error(), "already; say what is in that loop") {
				// a take has in a loop of its own what is in another of the switcher's now
				return src, nil
			}
			return got, err
		}
		e.undo = func(src []byte) ([]byte, error) { return SetLoops(src, s.Name, s.Loops) }
	case 8: // a block more, in the tray; taking it out is no edit, so back is by hand
		e.what, e.keys = "block", []string{"blocks", "tray", "order"}
		e.do = func(s []byte) ([]byte, error) {
			got, err := AddBlock(s, "one-more", "boost")
			if err != nil {
				return nil, err
			}
			return check(got, func(f *board.File) bool { return slices.Equal(f.Tray, []string{"one-more"}) })
		}
		e.undo = func(s []byte) ([]byte, error) {
			var all []string
			lines := strings.SplitAfter(string(s), "\n")
			for k, line := range lines {
				if strings.Contains(line, "one-more") || k+1 < len(lines) && strings.HasPrefix(lines[k+1], "tray: [one-more]") && strings.TrimSpace(line) == "" {
					continue
				}
				all = append(all, line)
			}
			return []byte(strings.Join(all, "")), nil
		}
	case 9: // a switched-off block, toggled loops, a preset, a guitar
		t := take
		switch {
		case len(f.Presets) > 0 && rng.IntN(2) == 0:
			t.Preset, t.Guitar, t.Toggle = f.Presets[rng.IntN(len(f.Presets))].Name, "", []int{f.Switcher().Loops[0].Number}
			if t.Guitar == "" && len(f.Guitars) > 0 {
				t.Guitar = f.Guitars[0].Name
			}
		case f.Switcher() == nil && len(f.Order) > 0:
			order := t.Order
			if order == nil {
				order = f.Order
			}
			t.Off = []string{order[rng.IntN(len(order))]}
		default:
			return e
		}
		t = f.Fitted(t)
		e = setTake(take, t)
		e.what = "off, preset, toggle"
	}
	return e
}
