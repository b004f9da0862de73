package edit

import (
	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

var oddLayouts = []string{
	"drywire: 1\r\nrecording: {sample: riff}\r\nblocks:\r\n  a: {kind: buffer}\r\n  s:\r\n    kind: switcher\r\n    loops:\r\n      1:\r\n      - a # x\r\norder:\r\n- s\r\ntakes:\r\n- set:\r\n    patch: 2 m\r\n  name: 'it''s'\r\n",
	"\ufeff{drywire: 1, recording: {sample: riff}, blocks: {a: {kind: fuzz}}, order: [a, # x\n], tray: [a]}",
	"--- # x\ndrywire: 1\nrecording:\n  sample: riff\nblocks: {a: {kind: fuzz}, b: {kind: buffer}}\norder: [split: {left: [a], right: [b]}]\ntakes:\n  -\n    name: |\n      x\n    off:\n      - a\n...\n",
	"drywire: 1\nrecording: {sample: riff}\nblocks:\n  s: {kind: switcher, loops: {1: [a], 2: [b]}}\n  a: {kind: fuzz}\n  b: {kind: buffer}\norder: [s]\ntakes:\n  - name: x\n    loops:\n      # one\n      1:\n      - b # y\n      2: [ ]\n  - {loops: {2: [a], # z\n    1: [b]}, name: y}\n",
	"drywire: 1\nrecording: {sample: riff}\nnotes: >\n  # x\n\n  y\nblocks: {a: {kind: fuzz}, b: {kind: buffer}}\norder:\n- a\n- split:\n    left: []\n    right: [b]\n    mix: mono\ntakes: [{name: \"a\\u00e9\\\"\", set: {a.fuzz: 3}}, {name: b\n  c}]",
}

// FuzzEdit: no text that Parse takes makes an edit panic, and what an edit gives is a chain file
// that says what was meant: edit checks that itself, so here it is enough that the result is one,
// that line ends are not mixed where they were not, and that no comment is lost by a change of
// order.
func FuzzEdit(f *testing.F) {
	for _, name := range chains.Shipped() {
		src, err := chains.ReadShipped(name)
		if err != nil {
			f.Fatal(err)
		}
		if len(src) < 3<<10 { // a large one costs seconds, and has nothing that small ones lack
			f.Add(src, uint64(1))
		}
	}
	for _, text := range oddLayouts {
		f.Add([]byte(text), uint64(2))
	}
	f.Fuzz(func(t *testing.T, src []byte, seed uint64) { everyEdit(t, src, seed) })
}

// everyEdit tries one edit of each sort on a text, if Parse takes it. It gives the errors of those
// that were refused.
func everyEdit(t *testing.T, src []byte, seed uint64) (parsed bool, refused []error) {
	f, err := file.Parse("fuzz.yaml", src)
	if err != nil {
		return false, nil
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	shuffled := func(l []string) []string {
		l = full(l)
		rng.Shuffle(len(l), func(i, j int) { l[i], l[j] = l[j], l[i] })
		return l
	}
	result := func(what string, got []byte, err error) {
		if err != nil {
			refused = append(refused, fmt.Errorf("%s: %w", what, err))
			return
		}
		if _, err := file.Parse("edited.yaml", got); err != nil {
			t.Fatalf("%s: %v\n%q", what, err, got)
		}
		if !strings.Contains(strings.ReplaceAll(string(src), "\r\n", ""), "\n") && strings.Contains(string(src), "\r\n") && strings.Contains(strings.ReplaceAll(string(got), "\r\n", ""), "\n") {
			t.Errorf("%s: line ends are mixed: %q", what, got)
		}
	}
	take := f.Takes[rng.IntN(len(f.Takes))]
	if f.Order != nil {
		order := shuffled(f.Order)
		got, err := SetOrder(src, order, f.Split)
		result("order", got, err)
		if err == nil && strings.Count(string(got), "#") != strings.Count(string(src), "#") {
			t.Errorf("a comment is lost: %q\n%q", src, got)
		}
		if len(order) > 0 {
			got, err = SetOrder(src, order[1:], nil)
			result("order without one", got, err)
		}
	}
	changed := take
	changed.Name, changed.Order = take.Name+", changed", shuffled(f.Order)
	got, err := SetTake(src, take.Name, changed)
	result("take", got, err)
	changed.Set = append(slices.DeleteFunc(slices.Clone(take.Set), func(s board.Setting) bool { return s.Target == "patch" }), board.Setting{Target: "patch", Text: "1 m"})
	got, err = SetTake(src, take.Name, changed)
	result("take's set", got, err)
	got, err = SetTake(src, take.Name, board.Take{Name: take.Name})
	result("bare take", got, err)
	got, err = AddTake(src, take.Name, changed)
	result("take more", got, err)
	got, err = RemoveTake(src, take.Name)
	result("take less", got, err)
	if s := f.Switcher(); s != nil && len(s.Loops) > 0 {
		loops := slices.Clone(s.Loops)
		k := rng.IntN(len(loops))
		loops[k].Blocks = shuffled(loops[k].Blocks)
		got, err = SetLoops(src, s.Name, loops)
		result("loops", got, err)
		got, err = SetLoops(src, s.Name, slices.Delete(loops, k, k+1))
		result("a loop less", got, err)
		own := take
		own.Loops = []board.Loop{{Number: s.Loops[k].Number, Blocks: shuffled(s.Loops[k].Blocks)}}
		got, err = SetTake(src, take.Name, f.Fitted(own))
		result("a take's loops", got, err)
	}
	got, err = SetTray(src, shuffled(f.Tray))
	result("tray", got, err)
	got, err = AddBlock(src, "one-more", "boost")
	result("block", got, err)
	return true, refused
}

// Shipped files and odd layouts, damaged by hand (some characters more or less, words swapped):
// what Parse still takes can be edited. With damages = 6000 it took 1690 texts.
func TestEditsOfDamagedTexts(t *testing.T) {
	var seeds [][]byte
	for _, name := range chains.Shipped() {
		src, err := chains.ReadShipped(name)
		if err != nil {
			t.Fatal(err)
		}
		seeds = append(seeds, src)
	}
	for _, text := range oddLayouts {
		seeds = append(seeds, []byte(text))
	}
	pieces := []string{" ", "  ", "\n", "\r\n", "#", " # c", "\n# c\n", "\n  # c\n", "'", "\"", ",", "[", "]", "{", "}", ":", "- ", "\n\n", "é", "|\n", "\t", ", ", "[]", "\n- ", "\n  - "}
	parsed, odd := 0, 0
	for seed := range uint64(damages) {
		rng := rand.New(rand.NewPCG(seed, 4))
		src := slices.Clone(seeds[rng.IntN(len(seeds))])
		for range 1 + rng.IntN(3) {
			at := rng.IntN(len(src))
			switch rng.IntN(3) {
			case 0:
				src = slices.Delete(src, at, min(len(src), at+1+rng.IntN(2)))
			case 1:
				src = slices.Insert(src, at, []byte(pieces[rng.IntN(len(pieces))])...)
			case 2: // at the end of a word, where more is allowed
				if k := slices.IndexFunc(src[at:], func(c byte) bool { return strings.IndexByte(",]}\n", c) >= 0 }); k >= 0 {
					src = slices.Insert(src, at+k, []byte(pieces[rng.IntN(len(pieces))])...)
				}
			}
		}
		ok, refused := everyEdit(t, src, seed)
		if !ok {
			continue
		}
		parsed++
		for _, err := range refused {
			if strings.Contains(err.Error(), "laid out") {
				odd++
				if testing.Verbose() {
					t.Logf("seed %d: %v\n%q", seed, err, src)
				}
			}
		}
		if t.Failed() {
			t.Fatalf("seed %d: %q", seed, src)
		}
	}
	t.Logf("%d texts, %d edits refused for the layout", parsed, odd)
	if parsed < damages/5 || odd > 0 {
		t.Errorf("%d texts of %d are chain files, want a fifth; %d edits were refused for the layout, want none", parsed, damages, odd)
	}
}

const damages = 120
