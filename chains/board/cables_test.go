package board_test

import (
	"drywire/chains/board"
	"drywire/chains/cables"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// cablesAlong is the cables along a list of blocks, from a jack to another.
func cablesAlong(from, to string, blocks ...string) []cables.Cable {
	var all []cables.Cable
	for _, b := range blocks {
		all = append(all, cables.Cable{Out: from, In: b + ".in"})
		from = b + ".out"
	}
	return append(all, cables.Cable{Out: from, In: to})
}

// On small boards, every order against every other, with blocks that come and go and with a split:
// no list of moves has fewer cables or, with as few, fewer plugs than every way tried.
func TestFewestCables(t *testing.T) {
	blocks := []string{"a", "b", "c", "d"}
	var boards [][]cables.Cable
	var permute func(k int)
	permute = func(k int) {
		if k == len(blocks) {
			boards = append(boards, cablesAlong("guitar", "out", blocks...))
			return
		}
		for j := k; j < len(blocks); j++ {
			blocks[k], blocks[j] = blocks[j], blocks[k]
			permute(k + 1)
			blocks[k], blocks[j] = blocks[j], blocks[k]
		}
	}
	permute(0)
	rng := rand.New(rand.NewPCG(1, 1))
	for range 40 { // some of five blocks, in one line or in a split of two
		names := []string{"a", "b", "c", "d", "e"}
		rng.Shuffle(5, func(i, j int) { names[i], names[j] = names[j], names[i] })
		names = names[:rng.IntN(6)]
		if rng.IntN(2) == 0 {
			boards = append(boards, cablesAlong("guitar", "out", names...))
			continue
		}
		i := rng.IntN(len(names) + 1)
		j := i + rng.IntN(len(names)-i+1)
		line := cablesAlong("guitar", "", names[:i]...)
		fork := line[len(line)-1].Out
		boards = append(boards, slices.Concat(line[:len(line)-1], cablesAlong(fork, board.OutLeft, names[i:j]...), cablesAlong(fork, board.OutRight, names[j:]...)))
	}
	pairs := 0
	for _, was := range boards {
		for _, want := range boards {
			moves := cables.Moves(was, want)
			cables, plugs := 0, 0
			for _, m := range moves {
				cables++
				plugs += m.Ends
				if m.From == m.To {
					t.Fatalf("a move from %v to there", m.From)
				}
			}
			if c, p := chaintest.Fewest(was, want); cables != c || plugs != p {
				t.Fatalf("from %v to %v: %d cables and %d plugs, and %d and %d would do\n%v", was, want, cables, plugs, c, p, moves)
			}
			if got := chaintest.Carried(t, was, moves); !slices.Equal(chaintest.SortedCables(got), chaintest.SortedCables(want)) {
				t.Fatalf("from %v the moves lead to %v, and not to %v", was, got, want)
			}
			pairs++
		}
	}
	if pairs != 64*64 { // 24 orders of four, and 40
		t.Errorf("%d pairs", pairs)
	}
}

// What is to be done, as sentences.
func TestCables(t *testing.T) {
	const text = `drywire: 1
recording: {sample: riff}
guitars: {slide: {pickup: single-coil}}
blocks:
  fuzz: {kind: fuzz}
  buffer: {kind: buffer}
  echo: {kind: delay}
  swirl: {kind: chorus, stereo: on}
  s: {kind: switcher, loops: {1: [], 2: [wob], 3: [lift]}}
  wob: {kind: tremolo}
  lift: {kind: boost}
order: [fuzz, buffer, echo]
presets: {p: {loops: [2]}}
takes:
  - {name: fuzz first}
  - {name: buffered, order: [buffer, fuzz, echo]}
  - {name: off, off: [buffer], set: {fuzz.fuzz: 1}}
  - {name: slide, guitar: slide}
  - {name: no echo, order: [fuzz, buffer]}
  - {name: all out, order: [fuzz, s]}
  - {name: two in, order: [fuzz, s], preset: p}
  - {name: all in, order: [fuzz, s], toggle: [1, 2, 3]}
  - {name: two, order: [fuzz, {split: {left: [buffer], right: [echo]}}]}
  - {name: two the other way, order: [fuzz, {split: {left: [echo], right: [buffer], mix: mono}}]}
  - {name: wide, order: [swirl, {split: {left: [buffer], right: [echo]}}]}
  - {name: wide and off, order: [swirl, {split: {left: [buffer], right: [echo]}}], off: [swirl]}
  - {name: narrow, order: [swirl, {split: {left: [buffer], right: [echo]}}], set: {swirl.stereo: off}}
  - {name: wide at once, order: [swirl, {split: {left: [], right: []}}]}
  - {name: wide and late, order: [swirl, fuzz, {split: {left: [], right: []}}]}
`
	f, err := file.Parse("board.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	of := func(name string) *board.Chain {
		c, err := f.Take(name)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	for _, c := range []struct {
		from, to string
		want     []string
	}{
		{"fuzz first", "fuzz first", nil},
		{"fuzz first", "off", nil},
		{"fuzz first", "buffered", []string{
			"Unplug guitar from fuzz.in; plug it into buffer.in once that is free.",
			"Unplug buffer.out from echo.in; plug it into fuzz.in.",
			"Unplug fuzz.out from buffer.in; plug it into echo.in.",
		}},
		{"fuzz first", "slide", []string{"Unplug fuzz.in from guitar; plug it into guitar slide."}},
		{"fuzz first", "no echo", []string{"Take away the cable from echo.out to out.", "Unplug buffer.out from echo.in; plug it into out.", "Take echo off the board."}},
		{"no echo", "fuzz first", []string{"Put echo on the board.", "Unplug buffer.out from out; plug it into echo.in.", "Take one more cable, and plug it into echo.out and out."}},
		{"wide", "wide and off", nil},
		{"wide", "narrow", []string{"Unplug echo.in from swirl.right; plug it into swirl.out."}},
		{"wide at once", "wide and late", []string{
			"Put fuzz on the board.",
			"Unplug swirl.out from out.left; plug it into fuzz.in.",
			"Unplug out.right from swirl.right; plug it into fuzz.out.",
			"Take one more cable, and plug it into fuzz.out and out.left.",
		}},
		{"all out", "two in", nil},
		{"two in", "all in", nil},
		{"two", "two the other way", []string{
			"Unplug echo.out from out.right; plug it into out.left once that is free.",
			"Unplug buffer.out from out.left; plug it into out.right.",
		}},
	} {
		var got []string
		for _, m := range board.Cables(of(c.from), of(c.to)) {
			got = append(got, m.Text)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("from %q to %q:\n%s\nwant\n%s", c.from, c.to, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
	// A switcher's loops hang in it, in or out; an empty one is a cable from its send to its
	// return.
	want := []cables.Cable{{Out: "guitar", In: "fuzz.in"}, {Out: "fuzz.out", In: "s.in"}, {Out: "s.out", In: "out"}, {Out: "s.send-1", In: "s.return-1"}, {Out: "s.send-2", In: "wob.in"}, {Out: "wob.out", In: "s.return-2"}, {Out: "s.send-3", In: "lift.in"}, {Out: "lift.out", In: "s.return-3"}}
	for _, name := range []string{"all out", "two in", "all in"} {
		if got := of(name).Cabling(); !slices.Equal(chaintest.SortedCables(got), chaintest.SortedCables(want)) {
			t.Errorf("%q: %v, want %v", name, got, want)
		}
	}
	if text := fmt.Sprint(cables.Move{}.From); text != "-" {
		t.Errorf("no cable is %q", text)
	}
}
