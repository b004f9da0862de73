package board_test

import (
	"fmt"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/arrange"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
)

func said(moves []arrange.Move) string {
	var all []string
	for _, m := range moves {
		all = append(all, m.String())
	}
	return strings.Join(all, "; ")
}

// What may change places on every shipped board with loops or two paths, by hand from the files.
func TestSwapsEverywhere(t *testing.T) {
	for _, c := range []struct{ file, take, want string }{
		// One block in one loop of a switcher without a buffer: there is nothing to change.
		{"presets-on-a-loop-switcher", "clean", ""},
		{"presets-on-a-loop-switcher", "crunch", "drive and lift change places"},
		// Every two of four, loop 1 and 2 hold one each, and loop 3 two.
		{"loops-in-another-order", "as it is", "fuzz and drive change places; fuzz and echo change places; fuzz and plate change places; " +
			"drive and echo change places; drive and plate change places; echo and plate change places; " +
			"loop 1 and loop 3 change places; loop 2 and loop 3 change places; " +
			// The drive in front of all is it and the fuzz changed, the echo behind all the echo
			// and the plate.
			"fuzz out of loop 1 and behind board; echo out of loop 3 and behind the guitar; plate out of loop 3 and behind the guitar"},
		{"two-amplifiers", "both the same way", "drive and turn change places; turn and dark change places"},
	} {
		chain := chaintest.TakeOf(t, chaintest.ShippedFile(t, c.file), c.take)
		all, _ := arrange.Swaps(chain)
		if got := said(all); got != c.want {
			t.Errorf("%s, %s:\n%s\nwant\n%s", c.file, c.take, got, c.want)
		}
	}
}

// Every move of every shipped take can be written as a take, and that take is the moved chain.
func TestMovesCanBeWritten(t *testing.T) {
	n := 0
	for _, name := range []string{"two-amplifiers", "presets-on-a-loop-switcher", "loops-in-another-order", "reference-board", "front-end-or-effects-loop"} {
		src := shipped(t, name)
		for _, take := range chaintest.ShippedFile(t, name).Takes {
			chain := chaintest.TakeOf(t, chaintest.ShippedFile(t, name), take.Name)
			swaps, _ := arrange.Swaps(chain)
			moves := append(arrange.Moves(chain), swaps...)
			for k, m := range moves {
				if k%7 != 0 && len(moves) > 40 {
					continue
				}
				n++
				moved := chain.Arranged(m.Result)
				text := src + "\n  - name: moved\n"
				if take.Preset != "" {
					text += "    preset: " + take.Preset + "\n"
				}
				if take.Toggle != nil {
					text += "    toggle: " + strings.ReplaceAll(fmt.Sprint(take.Toggle), " ", ", ") + "\n"
				}
				for _, key := range chain.Keys(m.Result) {
					text += "    " + key + "\n"
				}
				f, err := file.Parse("moved", []byte(text))
				if err != nil {
					t.Fatalf("%s, %s: %s: %v", name, take.Name, m, err)
				}
				again := chaintest.TakeOf(t, f, "moved")
				if got, want := strings.Join(again.Jacks(), " "), strings.Join(moved.Jacks(), " "); got != want {
					t.Errorf("%s, %s: %s:\n%s\nas a take\n%s", name, take.Name, m, want, got)
				}
			}
		}
	}
	if n < 100 {
		t.Fatalf("%d moves", n)
	}
}

// The chain as it stands, arranged as it stands, is the same.
func TestArrangedAsItIs(t *testing.T) {
	f := chaintest.ShippedFile(t, "reference-board")
	for _, c := range f.Chains() {
		d := c.Arranged(c.Arrangement())
		if got, want := strings.Join(d.Jacks(), " "), strings.Join(c.Jacks(), " "); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", c.Take, got, want)
		}
	}
}

func shipped(t *testing.T, name string) string {
	t.Helper()
	src, err := chains.ReadShipped(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(src)
}

// Blocks in another order take the places of a chain: a loop holds as many as before, the switcher
// may move with its loops, a path keeps its blocks and an amplifier its power.
func TestSlots(t *testing.T) {
	chain := chaintest.TakeOf(t, chaintest.ShippedFile(t, "reference-board"), "whisper")
	s := arrange.SlotsOf(chain)
	if got, want := strings.Join(s.Names, " "), "board squash echo plate still curve clean clean-power clean-box dark dark-power dark-box"; got != want {
		t.Fatalf("%s\nwant\n%s", got, want)
	}
	if got, want := s.Arrangement(s.Names).String(), chain.Arrangement().String(); got != want {
		t.Errorf("as it stands: %s\nwant %s", got, want)
	}
	moved := strings.Fields("still echo board plate curve squash clean clean-power clean-box dark dark-power dark-box")
	if got, want := s.Arrangement(moved).String(), "[still, echo, board, {split: {left: [clean, clean-power, clean-box], right: [dark, dark-power, dark-box]}}], loops {4: [plate], 11: [curve, squash]}"; got != want {
		t.Errorf("moved: %s\nwant %s", got, want)
	}
	for _, c := range []struct {
		block, at int
		want      bool
	}{
		{0, 2, true}, {0, 3, false}, // the switcher with three behind it, of six places
		{1, 5, true}, {1, 6, false}, {6, 6, true}, {7, 6, false}, {6, 7, false}, {7, 7, true}, {9, 9, true}, {9, 6, false},
	} {
		if got := s.May(c.block, c.at); got != c.want {
			t.Errorf("%s at place %d: %v", s.Names[c.block], c.at, got)
		}
	}
}
