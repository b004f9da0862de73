package board

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"drywire/chains/internal/yamltext"
	"drywire/dsp"
)

// PresetChange is a preset that a take goes over to while it plays.
type PresetChange struct {
	At     dsp.Second // of the recording, over 0
	Preset string
}

// Change is what a chain is from a time on.
type Change struct {
	At     dsp.Second
	Preset string
	Chain  *Chain
}

// change gives a chain what it is after each of its take's changes. All are played on one guitar.
func (f *File) change(c *Chain, t Take) {
	if t.Guitar == "" {
		t.Guitar = f.guitarOf(t)
		if t.Guitar == "" {
			t.Guitar = OwnGuitar
		}
	}
	for _, change := range t.Changes {
		u := t
		u.Preset, u.Changes = change.Preset, nil
		c.Changes = append(c.Changes, Change{change.At, change.Preset, f.resolve(u)})
	}
}

// Presets is the presets that a take has, each once, in the order in which it comes to them.
func (t Take) Presets() []string {
	list := []string{t.Preset}
	for _, change := range t.Changes {
		if !slices.Contains(list, change.Preset) {
			list = append(list, change.Preset)
		}
	}
	return list
}

// OnlyOn is the take on one of its presets alone.
func (t Take) OnlyOn(preset string) Take {
	t.Preset, t.Changes = preset, nil
	return t
}

// PresetText is the preset of a take as a chain file has it, or its presets by their times.
func (t Take) PresetText() string {
	if len(t.Changes) == 0 {
		return yamltext.Quote(t.Preset, true)
	}
	points := []string{"0 s: " + yamltext.Quote(t.Preset, true)}
	for _, c := range t.Changes {
		points = append(points, dsp.FormatQuantity(float64(c.At), dsp.Seconds)+": "+yamltext.Quote(c.Preset, true))
	}
	return "{at: {" + strings.Join(points, ", ") + "}}"
}

// Relayed is the output of the switcher whose relays make the chain's changes, and how many of its
// Blocks come before that jack; ok is false where no switcher stands in front of a split.
func (c *Chain) Relayed() (jack string, before int, ok bool) {
	at := slices.IndexFunc(c.Blocks, func(p Placed) bool { return p.Piece != nil && p.Piece.Last })
	if at < 0 {
		return "", 0, false
	}
	return c.Blocks[at].Out(), at + 1, true
}

// Unchangeable says why no relay could make the chain's changes; "" where they can.
func (c *Chain) Unchangeable() string {
	if len(c.Changes) == 0 {
		return ""
	}
	_, before, ok := c.Relayed()
	if !ok {
		return "its presets change, and no switcher stands in front of its amplifiers to do it"
	}
	for _, change := range c.Changes {
		_, other, _ := change.Chain.Relayed()
		was, is := c.Blocks[before:], change.Chain.Blocks[other:]
		if !slices.EqualFunc(was, is, func(a, b Placed) bool { return reflect.DeepEqual(a, b) }) || !reflect.DeepEqual(c.Split, change.Chain.Split) || c.Load != change.Chain.Load {
			return fmt.Sprintf("preset %q sets what stands behind the switcher, which its relays do not reach; put that block into a loop", change.Chain.take.Preset)
		}
	}
	return ""
}
