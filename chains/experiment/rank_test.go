package experiment

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"drywire/chains/arrange"
	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/gemv"
	"drywire/dsp/section"
)

// rankBlocks are four blocks, of which one is a circuit that the guitar is a part of.
const rankBlocks = "fuzz: {kind: fuzz}; buffer: {kind: buffer}; eq: {kind: eq, level: 12 dB}; pedal: {kind: volume, volume: 5}"

func rankOf(t testing.TB, keep board.Keep, prefer []string, most, part, parts int) *Rank {
	t.Helper()
	c := take(t, rankBlocks, "volume: 10", "fuzz", "buffer", "eq", "pedal")
	r, err := NewRank(c, keep, prefer, swelling(0.35, dsp.Tone{Hz: 220, Volts: 0.2}), measureRate, section.Draft, most, part, parts)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func ranked(t testing.TB, r *Rank) (result []byte, journal []byte) {
	t.Helper()
	journal = r.JournalHead()
	if err := r.Run(t.Context(), func(names []string, values []measures.Figure) error {
		journal = append(journal, r.JournalLine()(names, values)...)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return resultOf(t, r), journal
}

func resultOf(t testing.TB, r *Rank) []byte {
	t.Helper()
	text, err := json.MarshalIndent(r.Result(), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func anywhere(_, _ int) bool { return true }

func TestOrders(t *testing.T) {
	base := strings.Split("a b c d e f", " ")
	for _, c := range []struct {
		keep board.Keep
		want int
		why  string
	}{
		{board.Keep{}, 720, "6!"},
		{board.Keep{First: []string{"c"}}, 120, "5!"},
		{board.Keep{First: []string{"c", "a"}, Last: []string{"b"}}, 6, "3!"},
		{board.Keep{Before: [][]string{{"a", "b"}}}, 360, "half of 6!"},
		{board.Keep{Before: [][]string{{"a", "b", "c"}}}, 120, "one of the 3! orders of three"},
		{board.Keep{Together: [][]string{{"a", "b"}}}, 240, "2! ways, then five things: 2·5!"},
		{board.Keep{Together: [][]string{{"a", "b", "c"}}}, 144, "3!·4!"},
		{board.Keep{Together: [][]string{{"a", "b"}, {"c", "d"}}}, 96, "2!·2!·4!"},
		{board.Keep{First: []string{"a"}, Together: [][]string{{"a", "b"}}}, 24, "a, b, then 4!"},
		{board.Keep{First: []string{"a"}, Last: []string{"b"}, Together: [][]string{{"a", "b"}}}, 0, "at both ends and next to each other"},
	} {
		o, err := newOrders(base, c.keep, anywhere)
		if err != nil {
			t.Fatal(err)
		}
		n, whole := o.count()
		if n != c.want || !whole {
			t.Errorf("%+v: %d orders (all: %v), want %d: %s", c.keep, n, whole, c.want, c.why)
		}
		seen := map[string]bool{}
		list := o.slice(0, n)
		for k, w := range list {
			seen[string(w)] = true
			if !o.ok(w) {
				t.Errorf("%+v: %v is not allowed", c.keep, o.words(w))
			}
			if k > 0 && slices.Compare(list[k-1], w) >= 0 {
				t.Errorf("%+v: %v comes after %v", c.keep, w, list[k-1])
			}
		}
		if len(seen) != n {
			t.Errorf("%+v: %d different orders of %d", c.keep, len(seen), n)
		}
		// The tree has the orders that the rule allows, and no others.
		every, _ := newOrders(base, board.Keep{}, anywhere)
		every.walk(mostPlaces, func(w order) bool {
			if allowed := c.keep.Allows(every.words(w)); allowed != seen[string(w)] {
				t.Errorf("%+v: %v is in the tree: %v; allowed: %v", c.keep, every.words(w), seen[string(w)], allowed)
			}
			return true
		})
		// Shares put together are the whole.
		var shares []order
		for part := range 7 {
			shares = append(shares, o.slice(n*part/7, n*(part+1)/7)...)
		}
		if !slices.EqualFunc(shares, list, func(a, b order) bool { return slices.Equal(a, b) }) {
			t.Errorf("%+v: seven shares are not the whole", c.keep)
		}
		rng := rand.New(rand.NewPCG(1, 1))
		if w := o.random(rng); (w != nil) != (n > 0) || w != nil && !o.ok(w) {
			t.Errorf("%+v: by chance: %v", c.keep, w)
		}
	}
	if _, err := newOrders(base, board.Keep{Last: []string{"g"}}, anywhere); err == nil || !strings.Contains(err.Error(), `keep.last names "g"`) {
		t.Errorf("a block that is not there: %v", err)
	}
	o, _ := newOrders(base, board.Keep{}, anywhere)
	// (n-1)²: n(n-1) moves, of which the n-1 of neighbours count twice
	if got := len(o.neighbours(order{0, 1, 2, 3, 4, 5})); got != 25 {
		t.Errorf("%d neighbours, want 25", got)
	}
	many := make([]string, 20)
	for k := range many {
		many[k] = fmt.Sprintf("b%d", k)
	}
	o, _ = newOrders(many, board.Keep{}, anywhere)
	if o.walk(1000, func(order) bool { return true }) {
		t.Error("20! orders were seen in 1000 places")
	}
}

func TestStretches(t *testing.T) {
	same := func(w order) order { return w }
	o, _ := newOrders([]string{"a", "b", "c", "d"}, board.Keep{}, anywhere)
	list := o.slice(0, 24)
	// 4 beginnings of one block, 4·3 of two, 4·3·2 of three
	for _, c := range [][2]int{{1, 4}, {4, 4}, {5, 12}, {13, 24}, {1000, 24}} {
		cut := stretches(list, same, c[0])
		if len(cut) != c[1] {
			t.Errorf("at least %d: %d stretches, want %d", c[0], len(cut), c[1])
		}
		if !slices.EqualFunc(slices.Concat(cut...), list, func(a, b order) bool { return slices.Equal(a, b) }) {
			t.Errorf("at least %d: the stretches are not the list", c[0])
		}
	}
	if stretches(nil, same, 3) != nil {
		t.Error("stretches of nothing")
	}
	if got := stretches([]order{{0}}, same, 3); len(got) != 1 {
		t.Errorf("one order of one block: %v", got)
	}
}

// A search that was stopped half-way and resumed, on another number of cores, in shares of which
// one was killed and run again: all the same bytes.
func TestRankIsTheSame(t *testing.T) {
	prefer := []string{"quiet", "headroom", "brightness kept"}
	whole := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
	want, journal := ranked(t, whole)
	var found Ranking
	if err := json.Unmarshal(want, &found); err != nil {
		t.Fatal(err)
	}
	if found.Search.Kind != "exhaustive" || found.Search.Tried != 24 || len(found.Orders) != 24 || found.Base == nil || len(found.Pareto) == 0 || len(found.Best) == 0 {
		t.Fatalf("found %+v, %d orders", found.Search, len(found.Orders))
	}
	for _, o := range found.Orders {
		for i, v := range o.Values[:3] {
			if !v.OK() {
				t.Errorf("%v: %s: %s", o.Order, prefer[i], v.Why)
			}
		}
	}

	t.Run("cores", func(t *testing.T) {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
		if got, _ := ranked(t, rankOf(t, board.Keep{}, prefer, 1000, 1, 1)); !bytes.Equal(got, want) {
			t.Error("another result on one core")
		}
	})
	t.Run("resumed", func(t *testing.T) {
		stopped := errors.New("stopped")
		half := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
		left := half.JournalHead()
		n := 0
		err := half.Run(t.Context(), func(names []string, values []measures.Figure) error {
			if n++; n > 10 {
				return stopped
			}
			left = append(left, half.JournalLine()(names, values)...)
			return nil
		})
		if !errors.Is(err, stopped) {
			t.Fatal(err)
		}
		good := len(left)
		// a line that was being written
		left = append(left, half.JournalLine()([]string{"fuzz"}, nil)[:9]...)
		again := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
		if got, err := again.ReadJournal(left, false); err != nil || got.Good != good {
			t.Fatalf("%d bytes are good, want %d (%v)", got.Good, good, err)
		}
		if again.Left() != 14 {
			t.Errorf("%d orders left, want 14", again.Left())
		}
		rendered := 0
		if err := again.Run(t.Context(), func([]string, []measures.Figure) error { rendered++; return nil }); err != nil {
			t.Fatal(err)
		}
		if rendered != 14 {
			t.Errorf("%d orders rendered, want 14", rendered)
		}
		if !bytes.Equal(resultOf(t, again), want) {
			t.Error("another result after a stop")
		}
	})
	t.Run("shares", func(t *testing.T) {
		merged := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
		for part := 3; part >= 1; part-- {
			share := rankOf(t, board.Keep{}, prefer, 1000, part, 3)
			_, journal := ranked(t, share)
			if part == 2 { // dies and is run again
				share = rankOf(t, board.Keep{}, prefer, 1000, part, 3)
				lines := bytes.SplitAfter(journal, []byte("\n"))
				journal = slices.Concat(lines[:4]...)
				if _, err := share.ReadJournal(journal, false); err != nil {
					t.Fatal(err)
				}
				if first, n := merged.Missing(); n != 16 || len(first) != 3 {
					t.Errorf("%d orders missing after one share of three (%v), want 16", n, first)
				}
				if err := share.Run(t.Context(), func(names []string, values []measures.Figure) error {
					journal = append(journal, share.JournalLine()(names, values)...)
					return nil
				}); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := merged.ReadJournal(journal, true); err != nil {
				t.Fatal(err)
			}
		}
		if _, n := merged.Missing(); n != 0 {
			t.Errorf("%d orders missing", n)
		}
		if !bytes.Equal(resultOf(t, merged), want) {
			t.Error("another result from shares")
		}
	})
	t.Run("journals that are not its own", func(t *testing.T) {
		for what, c := range map[string]struct {
			r    *Rank
			text []byte
			any  bool
			says string
		}{
			"other wishes": {rankOf(t, board.Keep{}, prefer[:2], 1000, 1, 1), journal, false, "of another search"},
			"other keep":   {rankOf(t, board.Keep{First: []string{"fuzz"}}, prefer, 1000, 1, 1), journal, false, "of another search"},
			"other part":   {rankOf(t, board.Keep{}, prefer, 1000, 2, 3), journal, false, "is of part 1/1, this is part 2/3"},
			"no journal":   {rankOf(t, board.Keep{}, prefer, 1000, 1, 1), []byte("drywire: 1\n"), false, "not the journal of a ranking"},
		} {
			if _, err := c.r.ReadJournal(c.text, c.any); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s: %v, want %q", what, err, c.says)
			}
		}
		// A damaged line costs that line, whichever it is.
		lines := bytes.SplitAfter(journal, []byte("\n"))
		for at := range lines[:len(lines)-1] {
			broken := slices.Clone(lines)
			broken[at] = bytes.Clone(broken[at])
			broken[at][20] ^= 1
			damaged := slices.Concat(broken...)
			r := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
			j, err := r.ReadJournal(damaged, false)
			lost := min(at, 1) // the head holds no order
			if err != nil || j.Good != len(damaged) || !slices.Equal(j.Damaged, []int{at + 1}) || j.Headed != (at > 0) || r.Left() != lost || JournalParts(damaged) != 1 {
				t.Errorf("line %d damaged: %+v of %d bytes, %d orders to do, %v; want all, and %d to do", at+1, j, len(damaged), r.Left(), err, lost)
			}
		}
		// What was found by other arithmetic is not joined, head or no head.
		other := bytes.ReplaceAll(journal, []byte(gemv.Arithmetic()), []byte("abacus 00000000"))
		for _, text := range [][]byte{rechecked(other), rechecked(other[bytes.IndexByte(other, '\n')+1:])} {
			if _, err := rankOf(t, board.Keep{}, prefer, 1000, 1, 1).ReadJournal(text, true); err == nil || !strings.Contains(err.Error(), "rounds otherwise (abacus 00000000; this one: "+gemv.Arithmetic()) {
				t.Errorf("a journal of other arithmetic: %v", err)
			}
		}
	})
}

// rechecked is a journal with the checksums of its lines made true.
func rechecked(journal []byte) []byte {
	var all []byte
	for line := range bytes.Lines(journal) {
		all = append(all, checked(json.RawMessage(bytes.TrimSuffix(line[9:], []byte("\n"))))...)
	}
	return all
}

// What is tried within a budget is the same however often it is stopped, says that it is not all,
// and is never more than asked for.
func TestRankWithinABudget(t *testing.T) {
	prefer := []string{"quiet", "brightness kept"}
	whole := rankOf(t, board.Keep{}, prefer, 10, 1, 1)
	want, journal := ranked(t, whole)
	res := whole.Result()
	if res.Search.Kind != "budgeted" || res.Search.Tried != 10 || *res.Search.Orders != 24 || !strings.Contains(res.Search.Said, "There are 24 orders; 10 of them were tried") {
		t.Errorf("%+v", res.Search)
	}
	again := rankOf(t, board.Keep{}, prefer, 10, 1, 1)
	lines := bytes.SplitAfter(journal, []byte("\n"))
	if _, err := again.ReadJournal(slices.Concat(lines[:5]...), false); err != nil {
		t.Fatal(err)
	}
	got, _ := ranked(t, again)
	if !bytes.Equal(got, want) {
		t.Error("another result after a stop")
	}
	c := take(t, rankBlocks, "volume: 10", "fuzz", "buffer", "eq", "pedal")
	if _, err := NewRank(c, board.Keep{}, prefer, make([]float64, 100), measureRate, section.Draft, 10, 1, 2); err == nil || !strings.Contains(err.Error(), "cannot be shared") {
		t.Errorf("two parts of 12 with 10 at most: %v", err)
	}
	// The best of all orders is found within half of them.
	all := rankOf(t, board.Keep{}, prefer, 1000, 1, 1)
	ranked(t, all)
	some := rankOf(t, board.Keep{}, prefer, 12, 1, 1)
	ranked(t, some)
	if a, b := all.Result().Pareto, some.Result().Pareto; !slices.Equal(a[0].Order, b[0].Order) && !slices.ContainsFunc(a, func(o Ranked) bool { return slices.Equal(o.Order, b[0].Order) }) {
		t.Errorf("best within 12: %v, of all: %v", b[0].Order, a[0].Order)
	}
}

// Whatever changes what is heard changes the fingerprint; the share does not.
func TestFingerprint(t *testing.T) {
	of := func(blocks, guitar string, x []float64, parts int) string {
		r, err := NewRank(take(t, blocks, guitar, "one", "two"), board.Keep{}, nil, x, measureRate, section.Draft, 100, parts, parts)
		if err != nil {
			t.Fatal(err)
		}
		return r.Fingerprint()
	}
	const blocks = "one: {kind: buffer}; two: {kind: eq}"
	x := []float64{0, 0.1}
	same := of(blocks, "volume: 10", x, 1)
	if of(blocks, "volume: 10", x, 2) != same || of(blocks, "volume: 10", slices.Clone(x), 1) != same {
		t.Error("the same search has two fingerprints")
	}
	for what, other := range map[string]string{
		"knob":      of("one: {kind: buffer}; two: {kind: eq, high: 1 dB}", "volume: 10", x, 1),
		"guitar":    of(blocks, "volume: 9", x, 1),
		"cable":     of(blocks, "cable: 4 m", x, 1),
		"recording": of(blocks, "volume: 10", []float64{0, 0.1000001}, 1),
	} {
		if other == same {
			t.Errorf("another %s, the same fingerprint", what)
		}
	}
}

func TestRankStops(t *testing.T) {
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	r := rankOf(t, board.Keep{}, nil, 1000, 1, 1)
	if err := r.Run(ended, func([]string, []measures.Figure) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("a run that was stopped: %v", err)
	}
}

// Judging, on values made by hand: objectives are equal, what differs by less than a step is alike,
// what cannot be measured is worst.
func TestJudging(t *testing.T) {
	v := func(x float64) measures.Figure { return measures.Figure{Value: x} }
	// steps 0.1 and 0.5 dB
	r := rankOf(t, board.Keep{First: []string{"fuzz"}}, []string{"quiet", "clean-up"}, 1000, 1, 1)
	for order, values := range map[string][]measures.Figure{
		"fuzz buffer eq pedal": {v(40), v(10)},
		"fuzz buffer pedal eq": {v(40.04), v(10.2)}, // alike
		// better in one, a step worse in the other
		"fuzz eq buffer pedal": {v(50), v(9.5)},
		"fuzz eq pedal buffer": {v(39), v(10)},                 // worse than the first
		"fuzz pedal buffer eq": {v(60), measures.None("hush")}, // best in one
		"fuzz pedal eq buffer": {v(30), measures.None("hush")}, // worst
	} {
		if !r.Know(strings.Fields(order), values) {
			t.Fatal(order)
		}
	}
	res := r.Result()
	pareto := map[string]bool{}
	for _, o := range res.Pareto {
		pareto[strings.Join(o.Order, " ")] = true
	}
	if len(pareto) != 4 || pareto["fuzz eq pedal buffer"] || pareto["fuzz pedal eq buffer"] {
		t.Errorf("Pareto set: %v", pareto)
	}
	// Score of the first: in quiet 4 of 6 are no better (30, 39, and the two alike at 40), in
	// clean-up all 6: (66.7 + 100)/2.
	if got := res.Base; got == nil || math.Abs(got.Score-(400.0/6+100)/2) > 1e-9 {
		t.Errorf("base: %+v, want a score of 83.3", got)
	}
	if len(res.Best) != 3 || strings.Join(res.Best[0].Order, " ") != "fuzz buffer eq pedal" {
		t.Errorf("best: %+v", res.Best)
	}
	want := "  - name: rank 1\n    order: [fuzz, buffer, eq, pedal]\n    set: {guitar.volume: 3}\n"
	if got := res.Takes([]string{"guitar.volume: 3"}, nil); !strings.HasPrefix(got, want) {
		t.Errorf("takes:\n%s", got)
	}
	if r.Know([]string{"buffer", "fuzz", "eq", "pedal"}, []measures.Figure{v(1), v(1)}) {
		t.Error("an order that keep forbids")
	}
}

// Nothing that is refused comes out of a ranking: no order that it tries puts a pedal behind the
// power of an amplifier, the power without its loudspeaker, or a mixer's effect in front of them;
// and the swaps are those of its orders that exchange two blocks.
func TestOrdersThatNobodyCouldWire(t *testing.T) {
	c := take(t, "drive: {kind: overdrive}; echo: {kind: delay}; front: {kind: preamp}; power: {kind: poweramp}; box: {kind: speaker}; desk: {kind: eq}; hall: {kind: reverb}",
		"volume: 10", "drive", "echo", "front", "power", "box", "desk", "hall")
	r, err := NewRank(c, board.Keep{}, nil, swelling(0.35, dsp.Tone{Hz: 220, Volts: 0.2}), measureRate, section.Draft, 1000, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	tried := map[string]bool{}
	for _, w := range r.orders.slice(0, 10000) {
		line := make([]board.Placed, len(w))
		for k, b := range w {
			line[k] = c.Blocks[b]
		}
		if why := board.Reordered(c.Blocks, line) + board.Unwireable(line); why != "" {
			t.Errorf("%v: %s", r.orders.words(w), why)
		}
		tried[strings.Join(r.orders.words(w), " ")] = true
	}
	if len(tried) != 6*2 { // three in front of the power, two behind the loudspeaker
		t.Errorf("%d orders, want 12", len(tried))
	}
	swaps, _ := arrange.Swaps(c)
	for _, m := range swaps {
		if !tried[strings.Join(m.Result.Order, " ")] {
			t.Errorf("swap %v is no order of the ranking", m.Result.Order)
		}
	}
	if len(swaps) != 4 {
		t.Errorf("%d swaps, want 4", len(swaps))
	}
	if _, err := NewRank(c, board.Keep{First: []string{"power"}}, nil, r.Recording, measureRate, section.Draft, 1000, 1, 1); err == nil || !strings.Contains(err.Error(), "leaves power, the power of an amplifier") {
		t.Errorf("power first: %v", err)
	}
}
