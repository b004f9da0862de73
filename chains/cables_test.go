package chains

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// cablesAlong is the cables along a list of blocks, from a jack to another.
func cablesAlong(from, to string, blocks ...string) []Cable {
	var all []Cable
	for _, b := range blocks {
		all = append(all, Cable{from, b + ".in"})
		from = b + ".out"
	}
	return append(all, Cable{from, to})
}

// fewest is the least number of cables to touch, and of plugs then, over every way there is to make of each cable another one, or none.
func fewest(was, want []Cable) (cables, plugs int) {
	n := max(len(was), len(want))
	a, b := make([]Cable, n), make([]Cable, n) // with no cable for those that come and go
	copy(a, was)
	copy(b, want)
	cables, plugs = n+1, 2*n+1
	var try func(k, moved, ends int)
	try = func(k, moved, ends int) {
		if moved > cables || moved == cables && ends >= plugs {
			return
		}
		if k == n {
			cables, plugs = moved, ends
			return
		}
		for j := k; j < n; j++ {
			b[k], b[j] = b[j], b[k]
			m, e := 0, 0
			if a[k] != b[k] {
				m, e = 1, 2
				if a[k] != (Cable{}) && b[k] != (Cable{}) && (a[k].In == b[k].In || a[k].Out == b[k].Out) {
					e = 1
				}
			}
			try(k+1, moved+m, ends+e)
			b[k], b[j] = b[j], b[k]
		}
	}
	try(0, 0, 0)
	return cables, plugs
}

// carried does what the moves say, one after the other, and checks that each cable is where the move says, and that no plug goes into a jack that is taken
// unless the move says that it has to wait.
func carried(t *testing.T, was []Cable, moves []CableMove) []Cable {
	t.Helper()
	now := slices.Clone(was)
	for k, m := range moves {
		if m.Block != "" {
			continue
		}
		if m.From != (Cable{}) {
			at := slices.Index(now, m.From)
			if at < 0 {
				t.Fatalf("move %d: there is no cable %v", k, m.From)
			}
			now = slices.Delete(now, at, at+1)
		}
		if m.To != (Cable{}) {
			if taken := slices.ContainsFunc(now, func(c Cable) bool { return c.In == m.To.In }); taken && !strings.HasSuffix(m.Text, m.To.In+" once that is free.") && !strings.HasSuffix(m.Text, " once "+m.To.In+" is free.") {
				t.Errorf("move %d: %s is taken, and %q does not say so", k, m.To.In, m.Text)
			}
			now = append(now, m.To)
		}
	}
	return now
}

func sortedCables(c []Cable) []string {
	var all []string
	for _, k := range c {
		all = append(all, k.String())
	}
	slices.Sort(all)
	return all
}

// On small boards, every order against every other, with blocks that come and go and with a split: no list of moves has fewer cables or, with as few, fewer
// plugs than every way tried.
func TestFewestCables(t *testing.T) {
	blocks := []string{"a", "b", "c", "d"}
	var boards [][]Cable
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
		boards = append(boards, slices.Concat(line[:len(line)-1], cablesAlong(fork, outLeft, names[i:j]...), cablesAlong(fork, outRight, names[j:]...)))
	}
	pairs := 0
	for _, was := range boards {
		for _, want := range boards {
			moves := moveCables(was, want)
			cables, plugs := 0, 0
			for _, m := range moves {
				cables++
				plugs += m.Ends
				if m.From == m.To {
					t.Fatalf("a move from %v to there", m.From)
				}
			}
			if c, p := fewest(was, want); cables != c || plugs != p {
				t.Fatalf("from %v to %v: %d cables and %d plugs, and %d and %d would do\n%v", was, want, cables, plugs, c, p, moves)
			}
			if got := carried(t, was, moves); !slices.Equal(sortedCables(got), sortedCables(want)) {
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
	f, err := Parse("board.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	of := func(name string) *Chain {
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
		for _, m := range Cables(of(c.from), of(c.to)) {
			got = append(got, m.Text)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("from %q to %q:\n%s\nwant\n%s", c.from, c.to, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
	// A switcher's loops hang in it, in or out; an empty one is a cable from its send to its return.
	want := []Cable{{"guitar", "fuzz.in"}, {"fuzz.out", "s.in"}, {"s.out", "out"}, {"s.send-1", "s.return-1"}, {"s.send-2", "wob.in"}, {"wob.out", "s.return-2"}, {"s.send-3", "lift.in"}, {"lift.out", "s.return-3"}}
	for _, name := range []string{"all out", "two in", "all in"} {
		if got := of(name).Cabling(); !slices.Equal(sortedCables(got), sortedCables(want)) {
			t.Errorf("%q: %v, want %v", name, got, want)
		}
	}
	if text := fmt.Sprint(CableMove{}.From); text != "-" {
		t.Errorf("no cable is %q", text)
	}
}
