package file

import (
	"errors"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp/circuit/deck"
)

const ownDeck = `* knob cut 1n 100n F: how much treble goes to ground
.subckt dark in out gnd params: cut=10n amount=0.5
R1 in out {1k+9k*amount}
C1 out gnd {cut}
.ends
`

// decksOf reads decks from a map, each path once.
func decksOf(texts map[string]string) (decks Decks, read *int) {
	kinds := map[string]*blocks.Kind{}
	read = new(int)
	return func(path string) (*blocks.Kind, error) {
		if kinds[path] != nil {
			return kinds[path], nil
		}
		text, ok := texts[path]
		if !ok {
			return nil, errors.New("no such file")
		}
		*read++
		d, err := deck.Read(path, []byte(text))
		if err != nil {
			return nil, err
		}
		k, err := blocks.Circuit(d)
		if err == nil {
			kinds[path] = k
		}
		return k, err
	}, read
}

const ownChain = `drywire: 1
recording: {sample: riff}
blocks:
  dark: {kind: circuit, file: my.cir, cut: 22 nF, amount: {at: {0 s: 2, 1 s: 9}}}
  again: {kind: circuit, file: my.cir}
order: [dark, again]
takes:
  - {name: as written}
  - {name: bright, set: {dark.cut: 1 nF, again.amount: 0}}
`

// A deck's parameters are the knobs of its block: in the block, in a take, over time.
func TestCircuitHasTheKnobsOfItsDeck(t *testing.T) {
	decks, _ := decksOf(map[string]string{"my.cir": ownDeck})
	f, err := ParseWith("own.yaml", []byte(ownChain), decks)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Decks) != 1 || f.Decks[0] != "my.cir" {
		t.Errorf("decks %q", f.Decks)
	}
	if f.Blocks[0].Kind != f.Blocks[1].Kind {
		t.Error("one deck is two kinds")
	}
	number := func(c *board.Chain, at int, knob string) float64 { return c.Blocks[at].Settings.Number(knob) }
	plain, bright := f.Chains()[0], f.Chains()[1]
	if got := number(plain, 0, "cut"); got != 22e-9 {
		t.Errorf("cut is %v", got)
	}
	if got := number(plain, 0, "amount"); got != 2 || len(plain.Turns) != 1 {
		t.Errorf("amount is %v, with %d turns", got, len(plain.Turns))
	}
	if a, b := number(bright, 0, "cut"), number(bright, 1, "amount"); a != 1e-9 || b != 0 {
		t.Errorf("the take has %v and %v", a, b)
	}
}

// What is wrong with a deck is told where the chain file names it, with its own place.
func TestFaultsOfDecks(t *testing.T) {
	for _, c := range []struct{ name, from, to, want string }{
		{"in the deck", "", "", "own.yaml:4:31: my.cir:4:1: no part begins with K"},
		{"no such file", "file: my.cir, cut", "file: mine.cir, cut", "own.yaml:4:31: dark.file: no such file"},
		{"neither", "file: my.cir, cut: 22 nF", "off: yes", "own.yaml:4:9: dark says no file and no sample"},
		{"both", "file: my.cir, cut: 22 nF", "file: my.cir, sample: lopsided", "own.yaml:4:47: dark has a file and a sample"},
		{"no sample", "file: my.cir, cut: 22 nF", "sample: lopsidet", `did you mean "lopsided"?`},
		{"out of range", "22 nF", "22 pF", "own.yaml:4:44: dark.cut: 22 pF is out of range"},
		{"no such knob", "dark.cut", "dark.tone", `own.yaml:9:26: no setting "dark.tone"`},
		{"of another unit", "22 nF", "22 k", "own.yaml:4:44: dark.cut:"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := ownDeck
			if c.from == "" {
				text = strings.Replace(text, "C1", "K1", 1)
			}
			decks, _ := decksOf(map[string]string{"my.cir": text})
			_, err := ParseWith("own.yaml", []byte(strings.Replace(ownChain, c.from, c.to, 1)), decks)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("want %q, have\n%v", c.want, err)
			}
		})
	}
	if _, err := Parse("own.yaml", []byte(ownChain)); err == nil || !strings.Contains(err.Error(), "no deck can be read from here") {
		t.Errorf("without a reader of decks: %v", err)
	}
}
