package board_test

import (
	"testing"

	"drywire/chains/internal/chaintest"
)

// A tone is modulated from the block with the oscillator on, on the path that it stands on, and
// nowhere while that is off or not deep.
func TestModulated(t *testing.T) {
	f := chaintest.Board(t, `blocks: {drive: {kind: overdrive}, wave: {kind: chorus}, echo: {kind: delay}, beat: {kind: tremolo}}
order: [drive, wave, echo]
takes:
  - {name: on}
  - {name: off, off: [wave]}
  - {name: path, order: [drive, {split: {left: [wave], right: [echo]}}]}
  - {name: still, order: [beat], set: {beat.depth: 0 %}}
  - {name: beating, order: [beat]}
`)
	for _, c := range []struct{ take, jack, want string }{
		{"on", "guitar", ""}, {"on", "drive.out", ""}, {"on", "wave.in", ""}, {"on", "wave.out", "wave"}, {"on", "echo.in", "wave"}, {"on", "out", "wave"},
		{"off", "out", ""}, {"path", "out.left", "wave"}, {"path", "out.right", ""}, {"path", "echo.out", ""}, {"path", "drive.out", ""},
		{"still", "out", ""}, {"beating", "out", "beat"},
	} {
		if got := chaintest.TakeOf(t, f, c.take).Modulated(c.jack); got != c.want {
			t.Errorf("%s at %s: %q, want %q", c.take, c.jack, got, c.want)
		}
	}
}
