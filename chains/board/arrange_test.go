package board_test

import (
	"fmt"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
)

func said(moves []board.Move) string {
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
			// The drive in front of all is it and the fuzz changed, the echo behind all the echo and the plate.
			"fuzz out of loop 1 and behind board; echo out of loop 3 and behind the guitar; plate out of loop 3 and behind the guitar"},
		{"two-amplifiers", "both the same way", "drive and turn change places; turn and dark change places"},
	} {
		chain := chaintest.TakeOf(t, chaintest.ShippedFile(t, c.file), c.take)
		all, _ := chain.Swaps()
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
			swaps, _ := chain.Swaps()
			moves := append(chain.Moves(), swaps...)
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
				for _, key := range m.Result.Keys(board.Arrangement{Loops: emptied(m.Result.Loops)}) {
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

// emptied is loops that hold something that no loop does, so that all are written.
func emptied(loops []board.Loop) (all []board.Loop) {
	for _, l := range loops {
		all = append(all, board.Loop{Number: l.Number, Blocks: []string{"none of them"}})
	}
	return all
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
