package board

import (
	"fmt"
	"slices"
	"strings"

	"drywire/dsp"
)

// Turn is a setting of a chain that moves.
type Turn struct {
	Target string // guitar.volume, guitar.tone or BLOCK.KNOB
	Curve  *Curve
}

// gatherTurns lists what moves. The knobs of a block that is bypassed have no effect.
func (c *Chain) gatherTurns() {
	add := func(target string, curve *Curve) {
		if curve != nil {
			c.Turns = append(c.Turns, Turn{target, curve})
		}
	}
	add("guitar.volume", c.Guitar.VolumeCurve)
	add("guitar.tone", c.Guitar.ToneCurve)
	c.Guitar.VolumeCurve, c.Guitar.ToneCurve = nil, nil
	of := func(line []Placed) {
		for i, p := range line {
			if !p.Off && p.Kind != nil {
				for _, k := range p.Kind.Knobs {
					add(p.Name+"."+k.Name, p.Moves[k.Name])
				}
			}
			line[i].Moves = nil
		}
	}
	of(c.Blocks)
	if c.Split != nil {
		of(c.Split.Left)
		of(c.Split.Right)
	}
}

// At is the chain with every setting held where it is at a time.
func (c *Chain) At(t dsp.Second) *Chain {
	values := make([]float64, len(c.Turns))
	for k, m := range c.Turns {
		values[k] = m.Curve.At(t)
	}
	return c.With(values)
}

// With is the chain with its moves held at values, one for each of Turns, in its setting's unit.
func (c *Chain) With(values []float64) *Chain {
	h := c.clone()
	h.Turns, h.Changes = nil, nil
	for k, m := range c.Turns {
		part, knob, _ := strings.Cut(m.Target, ".")
		switch {
		case m.Target == "guitar.volume":
			h.Guitar.Volume = values[k]
		case m.Target == "guitar.tone":
			h.Guitar.Tone = values[k]
		default:
			for _, line := range h.lines() {
				for i := range line {
					if line[i].Name == part {
						line[i].Settings = line[i].Settings.With(knob, values[k])
					}
				}
			}
		}
	}
	return h
}

// clone is the chain with blocks of its own.
func (c *Chain) clone() *Chain {
	h := *c
	h.Blocks = slices.Clone(c.Blocks)
	if c.Split != nil {
		h.Split = &Split{slices.Clone(c.Split.Left), slices.Clone(c.Split.Right), c.Split.Mix}
	}
	return &h
}

// lines is the chain's lists of blocks.
func (c *Chain) lines() [][]Placed {
	if c.Split == nil {
		return [][]Placed{c.Blocks}
	}
	return [][]Placed{c.Blocks, c.Split.Left, c.Split.Right}
}

// Held says which settings move and that they are taken where they are at 0 s, in one line; ""
// where none moves. Whatever looks at a chain without playing the recording through it (impedances,
// responses, noise at rest, ceilings, decks, searches) does so, and says this.
func Held(list ...*Chain) string {
	var names []string
	for _, c := range list {
		if text := fmt.Sprintf("preset %q", c.take.Preset); len(c.Changes) > 0 && !slices.Contains(names, text) {
			names = append(names, text)
		}
		for _, m := range c.Turns {
			if text := fmt.Sprintf("%s at %s", m.Target, dsp.FormatQuantity(m.Curve.At(0), m.Curve.Unit)); !slices.Contains(names, text) {
				names = append(names, text)
			}
		}
	}
	if names == nil {
		return ""
	}
	return "but for what the recording itself sounds like, what moves is held where it is at 0 s: " + strings.Join(names, ", ")
}
