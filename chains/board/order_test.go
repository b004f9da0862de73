package board_test

import (
	"strings"
	"testing"

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
