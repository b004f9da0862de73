package board

import (
	"fmt"
	"slices"
	"strings"
)

// ByHand is what a preset wants and no switcher does: knobs to turn, and pedals to step on.
type ByHand struct {
	Preset string
	Knobs  []string // of pedals that no preset turns, like drive.drive, and of the guitar
	Steps  []string // blocks to switch on or off themselves
}

// String is the list as a sentence.
func (h ByHand) String() string {
	var parts []string
	if len(h.Knobs) > 0 {
		parts = append(parts, "sets "+strings.Join(h.Knobs, ", ")+", which no foot recalls: that takes a hand, or a second pedal")
	}
	if len(h.Steps) > 0 {
		parts = append(parts, "switches "+strings.Join(h.Steps, ", ")+", which the switcher does not: that takes a foot on each")
	}
	return fmt.Sprintf("By hand: preset %q %s.", h.Preset, strings.Join(parts, "; and "))
}

// onFoot are the knobs that a foot moves.
var onFoot = []string{"wah.position", "volume.volume"}

// ByHand is what takes a hand or a foot more in each preset of the file, beside the preset's own
// switch. A knob is one where the presets that its block is in want different positions of it and
// the block recalls none: digital pedals do, others do not, unless the file says recall (common
// practice, no source). A preset that is alone with its block needs none: the knob stays where it
// is.
func (f *File) ByHand() []ByHand {
	reached := make([][]string, len(f.Presets))
	set := make([][]Placed, len(f.Presets))
	for k, p := range f.Presets {
		reached[k], set[k] = f.reached(Take{Preset: p.Name}), f.AsSet(Take{Preset: p.Name})
	}
	at := func(k, block int, knob string) string {
		p := set[k][block]
		if c := p.Moves[knob]; c != nil {
			return fmt.Sprint(c)
		}
		if q, _ := p.Kind.Knob(knob); q.Words != nil {
			return p.Settings.Word(knob)
		}
		return fmt.Sprint(p.Settings.Number(knob))
	}
	var all []ByHand
	for k, p := range f.Presets {
		h := ByHand{Preset: p.Name}
		for _, s := range p.Set {
			part, knob, _ := strings.Cut(s.Target, ".")
			block := slices.IndexFunc(f.Blocks, func(b Block) bool { return b.Name == part })
			if block < 0 {
				h.Knobs = append(h.Knobs, s.Target)
				continue
			}
			b := f.Blocks[block]
			if _, has := b.Kind.Knob(knob); !has || b.Kind.Name == SwitcherKind || f.recalls(b) || slices.Contains(onFoot, b.Kind.Name+"."+knob) {
				continue
			}
			for j := range f.Presets {
				if slices.Contains(reached[j], part) && at(j, block, knob) != at(k, block, knob) {
					h.Knobs = append(h.Knobs, s.Target)
					break
				}
			}
		}
		for b, block := range f.Blocks {
			if !slices.Contains(p.Off, block.Name) && !slices.Contains(p.On, block.Name) {
				continue
			}
			for j := range f.Presets {
				if slices.Contains(reached[j], block.Name) && set[j][b].Off != set[k][b].Off {
					h.Steps = append(h.Steps, block.Name)
					break
				}
			}
		}
		if len(h.Knobs)+len(h.Steps) > 0 {
			all = append(all, h)
		}
	}
	return all
}

// recalls reports whether a block's knobs follow a preset by themselves.
func (f *File) recalls(b Block) bool {
	if b.Recall != "" {
		return b.Recall == "yes"
	}
	return b.Kind.Recalls != nil && b.Kind.Recalls(b.Settings)
}
