package page

import (
	"context"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drywire/chains/experiment"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/produce"
)

// moveFile is a board on which order matters in every respect: what loads the guitar, gain into
// clipping, tone, repeats.
const moveFile = `drywire: 1
title: Moves
recording: {file: pluck.wav, peak: 400 mV}
guitar: {pickup: humbucker, cable: 5 m}
blocks:
  fuzz:   {kind: fuzz, fuzz: 7}
  buffer: {kind: buffer}
  lift:   {kind: boost, gain: 12 dB}
  drive:  {kind: overdrive, drive: 6}
  echo:   {kind: delay, time: 120 ms, repeats: 3, mix: 40 %}
  vol:    {kind: volume, volume: 7}
order: [fuzz, buffer, lift, drive, echo, vol]
takes:
  - {name: as wired}
  - {name: moved, order: [buffer, fuzz, lift, drive, echo, vol]}
`

// claims is what a sentence of a pair says, by what it says it of: +1 for more of it, -1 for less.
func claims(sentence string) map[string]int {
	said := map[string]int{}
	for _, part := range strings.Split(sentence, ",") {
		for _, c := range []struct {
			of, word string
			way      int
		}{
			{"treble", "brighter", 1}, {"treble", "duller", -1}, {"bass", "more bass", 1}, {"bass", "less bass", -1}, {"middle", "more middle", 1}, {"middle", "less middle", -1},
			{"distortion", "more distorted", 1}, {"distortion", "less distorted", -1}, {"ring", "longer", 1}, {"ring", "shorter", -1},
			{"noise", "dB louder when nobody plays", 1}, {"noise", "dB softer when nobody plays", -1}, {"level", "LU louder", 1}, {"level", "LU softer", -1},
		} {
			if strings.Contains(part, c.word) {
				said[c.of] = c.way
			}
		}
	}
	return said
}

// Scripted moves of blocks of side B: whatever was moved, what the page says at once of the loop
// agrees with what compare says of the whole takes. Where compare hears a difference the page never
// says that there is none, nor the other way round, and no claim of the one is the opposite of one
// of the other's. MOVES is how many; 3 without it.
func TestMovesAgreeWithCompare(t *testing.T) {
	if testing.Short() {
		t.Skip("renders for half a minute")
	}
	moves := 3
	if text := os.Getenv("MOVES"); text != "" {
		var err error
		if moves, err = strconv.Atoi(text); err != nil || moves < 1 {
			t.Fatalf("MOVES is %q", text)
		}
	}
	p := openPage(t, moveFile)
	w := p.window()
	w.told() // which keeps the window
	n, err := p.server.session(w.ID)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(16, 2))
	order := []string{"buffer", "fuzz", "lift", "drive", "echo", "vol"}
	heardOnes, shared := 0, 0
	for k := range moves {
		from := rng.IntN(len(order))
		block := order[from]
		order = slices.Delete(order, from, from+1)
		order = slices.Insert(order, rng.IntN(len(order)+1), block)
		list := make([]any, len(order))
		for k, b := range order {
			list[k] = b
		}
		w.must("B", op("order", "order", list))
		var page struct {
			Heard, Sentence string
			Respects        []string
		}
		if status, body := p.post("api/verdict", map[string]any{"session": w.ID, "side": "B", "region": [2]int64{0, 48000}}, &page); status != http.StatusOK {
			t.Fatalf("%d: %s", status, body)
		}

		n.mu.Lock()
		doc := n.doc
		n.mu.Unlock()
		out, err := files.Into(p.server.options.Disk, t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		c, err := produce.Compare(context.Background(), produce.Job{Project: doc.Project, Quality: produce.Quality, Out: out, Noiseless: true})
		out.Abort()
		if err != nil {
			t.Fatal(err)
		}
		numbers := [2]int{}
		for side := range numbers {
			for _, take := range c.Takes {
				if take.Name == doc.take(side).Name {
					numbers[side] = take.Number
				}
			}
		}
		at := slices.IndexFunc(c.Pairs, func(q experiment.Pair) bool { return q.A == numbers[0] && q.B == numbers[1] })
		if at < 0 {
			t.Fatalf("%v: no pair of takes %v", order, numbers)
		}
		want := c.Pairs[at]
		nothing := func(heard string) bool { return heard == experiment.HeardNot || heard == experiment.HeardSame }
		if nothing(page.Heard) != nothing(want.Heard) {
			t.Errorf("move %d, %v: the page says %q (%s), compare %q (%s)", k+1, order, page.Heard, page.Sentence, want.Heard, want.Sentence)
			continue
		}
		if nothing(want.Heard) {
			continue
		}
		heardOnes++
		a, b := claims(page.Sentence), claims(want.Sentence)
		for of, way := range a {
			if b[of] == -way {
				t.Errorf("move %d, %v: of %s the page says the opposite:\n%s\n%s", k+1, order, of, page.Sentence, want.Sentence)
			} else if b[of] == way {
				shared++
			}
		}
		if len(page.Respects) > 0 && len(want.Respects) > 0 && !slices.Contains(want.Respects, page.Respects[0]) && !slices.Contains(page.Respects, want.Respects[0]) {
			t.Errorf("move %d, %v: the page hears %v, compare %v", k+1, order, page.Respects, want.Respects)
		}
	}
	t.Logf("%d moves, %d heard, %d claims that both make", moves, heardOnes, shared)
	if heardOnes == 0 || shared < heardOnes {
		t.Errorf("of %d moves %d were heard, with %d claims that both make: this is no check", moves, heardOnes, shared)
	}
}
