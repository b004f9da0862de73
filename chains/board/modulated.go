package board

import (
	"slices"
)

// Modulated is the first block on the way to a jack that changes the signal by itself, in time: one
// with an oscillator. "" where there is none. A tone that has gone through it is in no steady
// state.
func (c *Chain) Modulated(jack string) string {
	find := func(line []Placed) (name string, reached bool) {
		for _, p := range line {
			if p.In() == jack {
				return "", true
			}
			if p.swings() {
				return p.Name, true
			}
			if p.Out() == jack {
				return "", true
			}
		}
		return "", false
	}
	if jack == "guitar" {
		return ""
	}
	if name, reached := find(c.Blocks); reached || c.Split == nil {
		return name
	}
	left, _ := find(c.Split.Left)
	right, _ := find(c.Split.Right)
	has := func(line []Placed) bool {
		return slices.ContainsFunc(line, func(p Placed) bool { return p.In() == jack || p.Out() == jack })
	}
	switch {
	case jack == OutLeft || has(c.Split.Left):
		return left
	case jack == OutRight || has(c.Split.Right):
		return right
	case left != "":
		return left
	}
	return right
}

// swings reports whether a block has an oscillator at work.
func (p Placed) swings() bool {
	if p.Off || p.Piece != nil {
		return false
	}
	if _, ok := p.Kind.Knob("rate"); !ok {
		return false
	}
	for _, much := range []string{"depth", "modulation", "mix"} {
		if _, ok := p.Kind.Knob(much); ok && p.Settings.Number(much) == 0 {
			return false
		}
	}
	return true
}
