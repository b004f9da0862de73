package board

import (
	"fmt"
	"slices"

	"drywire/blocks"
)

// Unwireable says why blocks may not be wired in this order; "" where they may. A valve power
// amplifier that nothing loads can destroy its output transformer, and what is plugged into it gets
// tens of volts (common practice, no source): a loudspeaker or a load box comes next, with nothing
// but cables between them.
func Unwireable(line []Placed) string {
	for k, b := range line {
		if b.Off || !b.Kind.Drives {
			continue
		}
		rest := line[k+1:]
		next := slices.IndexFunc(rest, func(p Placed) bool { return !p.Off && p.Kind.Name != "cable" })
		into := "nothing loads it"
		switch {
		case next >= 0 && rest[next].Kind.Loads:
			continue
		case next >= 0:
			into = fmt.Sprintf("it drives %s", rest[next].Name)
		}
		return fmt.Sprintf("caution: %s is a valve power amplifier, and %s: without a loudspeaker or a load box its output transformer may be destroyed; put a block of kind: speaker or kind: load-box behind it", b.Name, into)
	}
	return ""
}

// Stays is the part of a line that no player puts in another order: from the power of an amplifier
// to what it drives, from one index up to another, both the line's length where it has none. What
// is before it stays before, since nothing of a board is plugged in behind that power, nor the
// power in front of a board; what is behind it is a mixer's, and stays behind.
func Stays(line []Placed) (from, to int) {
	from, to = len(line), len(line)
	for k, b := range line {
		if b.Kind.Place == blocks.AfterPower {
			from, to = min(from, k), k+1
		}
	}
	return from, to
}

// Reordered says why nobody could make one line of blocks of another on the floor, with some more
// or fewer in it; "" where that can be done. What is new stands before the power of an amplifier.
// What proposes orders asks it; whether the line may be wired at all, Unwireable says.
func Reordered(was, is []Placed) string {
	before, after := parts(was), parts(is)
	for _, b := range is {
		if before[b.Name] != after[b.Name] {
			from, _ := Stays(is)
			return fmt.Sprintf("%s is the power of an amplifier or its loudspeaker: it stays where it is, and what is on one side of it stays there", is[from].Name)
		}
	}
	return ""
}

// parts is where the blocks of a line are by what stays of it: 0 before, then a number each, then
// the line's end.
func parts(line []Placed) map[string]int {
	const behind = 1 << 30
	from, to := Stays(line)
	all := map[string]int{}
	for at, b := range line[from:] {
		if all[b.Name] = at + 1; at >= to-from {
			all[b.Name] = behind
		}
	}
	return all
}

// Unwireable says why a path of the chain may not be wired; "" where all may.
func (c *Chain) Unwireable() string {
	if c.Split == nil {
		return Unwireable(c.Blocks)
	}
	for _, side := range [][]Placed{c.Split.Left, c.Split.Right} {
		if why := Unwireable(slices.Concat(c.Blocks, side)); why != "" {
			return why
		}
	}
	return ""
}
