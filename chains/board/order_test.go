package board_test

import (
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/file"
)

// The power of a valve amplifier wants a loudspeaker or a load box behind it, with nothing but
// cables between.
func TestPowerWithoutALoad(t *testing.T) {
	const list = `drywire: 1
recording: {sample: riff}
blocks: {drive: {kind: overdrive}, power: {kind: poweramp}, box: {kind: speaker}, dummy: {kind: load-box}, long: {kind: cable}}
tray: [drive, power, box, dummy, long]
`
	for _, c := range []struct{ rest, want string }{
		{"order: [drive, power, box]", ""},
		{"order: [drive, power, long, box]", ""},
		{"order: [drive, power, dummy]", ""},
		{"order: [power, dummy, drive]", ""}, // the box's line output
		{"order: [power, drive, box]", "power is a valve power amplifier, and it drives drive"},
		{"order: [drive, power]", "power is a valve power amplifier, and nothing loads it"},
		{"order: [drive, power, long]", "nothing loads it"},
		{"order: [drive, power, box]\ntakes: [{name: a}, {name: b, off: [box]}]", `take "b": caution: power is`},
		{"order: [drive, power, box]\ntakes: [{name: a, off: [power, box]}]", ""},
		{"order: [drive, {split: {left: [power, box], right: []}}]", ""},
		{"order: [drive, {split: {left: [power, box], right: [box2]}}]", "no block"},
		{"order: [drive, {split: {left: [box], right: [power]}}]", "nothing loads it"},
		{"order: [drive, power, {split: {left: [box], right: []}}]", "nothing loads it"},
	} {
		_, err := file.Parse("a.yaml", []byte(list+c.rest))
		got := ""
		if err != nil {
			got = err.Error()
		}
		if c.want == "" && err != nil || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.rest, got, c.want)
		}
	}
}

// What is on one side of the power of an amplifier stays there, and the power stays in one piece.
func TestReordered(t *testing.T) {
	f, err := file.Parse("a.yaml", []byte(`drywire: 1
recording: {sample: riff}
blocks: {a: {kind: fuzz}, b: {kind: buffer}, new: {kind: buffer}, power: {kind: poweramp}, box: {kind: load-box}, y: {kind: eq}, z: {kind: delay}}
tray: [new]
order: [a, b, power, box, y, z]
`))
	if err != nil {
		t.Fatal(err)
	}
	line := func(names string) (all []board.Placed) {
		for _, n := range strings.Fields(names) {
			for _, b := range f.Blocks {
				if b.Name == n {
					all = append(all, board.Placed{Name: n, Kind: b.Kind})
				}
			}
		}
		return all
	}
	for _, c := range []struct {
		is   string
		good bool
	}{
		{"a b power box y z", true}, {"b a power box z y", true}, {"new a b power box y z", true}, {"a power box y z", true}, {"a b power box", true}, {"a b", true},
		{"a power b box y z", false}, {"a power box b y z", false}, {"a b y power box z", false}, {"a b box power y z", false},
		{"a b power new box y z", false}, {"a b power box new y z", false}, {"power box a b y z", false},
	} {
		if why := board.Reordered(line("a b power box y z"), line(c.is)); (why == "") != c.good {
			t.Errorf("%s: %q", c.is, why)
		}
	}
}
