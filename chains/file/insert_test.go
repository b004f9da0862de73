package file_test

import (
	"strings"
	"testing"

	"drywire/chains/file"
)

const inserted = `drywire: 1
recording: {sample: riff}
blocks:
  board: {kind: switcher, loops: {1: [drive], 2: [amp], 3: [echo]}, insert: 2}
  drive: {kind: overdrive}
  amp:   {kind: preamp}
  echo:  {kind: delay}
order: [board]
presets: {clean: {loops: [3], set: {amp.gain: 3}}, dirty: {loops: [1]}}
takes: [{name: clean, preset: clean}, {name: plain, set: {amp.gain: 8}}]
`

// An insert is always in, in every preset and without one, wherever it is written.
func TestInsertIsAlwaysIn(t *testing.T) {
	for _, text := range []string{inserted, strings.Replace(inserted, "loops: {1: [drive], 2: [amp], 3: [echo]}, insert: 2", "insert: 2, loops: {1: [drive], 2: [amp], 3: [echo]}", 1)} {
		f, err := file.Parse("board.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		for k, want := range [][]int{{2, 3}, {2}} {
			if got := f.LoopsOn(f.Takes[k]); len(got) != len(want) || got[0] != want[0] || got[len(got)-1] != want[len(want)-1] {
				t.Errorf("%s: loops %v, want %v", f.Takes[k].Name, got, want)
			}
		}
	}
}

// What is no loop, and what switches the insert, is told with its place.
func TestInsertFaults(t *testing.T) {
	for _, m := range []struct{ was, is, want string }{
		{"insert: 2", "insert: 7", `no loop "7" in board`},
		{"insert: 2", "insert: amp", "amp is in loop 2 of board; did you mean insert: 2?"},
		{"insert: 2", "insert: [2]", "want a loop's number"},
		{"dirty: {loops: [1]}", "dirty: {loops: [1, 2]}", "loop 2 is the insert of board, which is always in"},
		{"{name: clean, preset: clean}", "{name: clean, preset: clean, toggle: [2]}", "loop 2 is the insert of board, which is always in"},
	} {
		_, err := file.Parse("board.yaml", []byte(strings.Replace(inserted, m.was, m.is, 1)))
		if err == nil || !strings.Contains(err.Error(), m.want) {
			t.Errorf("%s: %v, want %s", m.is, err, m.want)
		}
	}
}
