package board

import (
	"slices"
	"strings"
)

// Fitted is the take without settings and switched-off blocks that its order, its loops and its
// preset leave without an object, which Parse refuses: what SetTake wants for a take whose order
// has lost a block.
func (f *File) Fitted(t Take) Take {
	board := f.reached(t)
	fit := func(names []string) []string {
		return slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !slices.Contains(board, n) })
	}
	t.Off, t.On = fit(t.Off), fit(t.On)
	t.Set = slices.DeleteFunc(slices.Clone(t.Set), func(s Setting) bool {
		part, _, _ := strings.Cut(s.Target, ".")
		return slices.ContainsFunc(f.Blocks, func(b Block) bool { return b.Name == part }) && !slices.Contains(board, part)
	})
	return t
}

// Idle is the blocks that are in no order and no loop.
func (f *File) Idle() []string {
	used := slices.Clone(f.Order)
	more := func(order []string, split *SplitOrder) {
		used = append(used, order...)
		if split != nil {
			used = append(append(used, split.Left...), split.Right...)
		}
	}
	more(f.Order, f.Split)
	for _, t := range f.Takes {
		more(t.Order, t.Split)
		for _, l := range t.Loops {
			used = append(used, l.Blocks...)
		}
	}
	for _, b := range f.Blocks {
		for _, l := range b.Loops {
			used = append(used, l.Blocks...)
		}
	}
	var idle []string
	for _, b := range f.Blocks {
		if !slices.Contains(used, b.Name) {
			idle = append(idle, b.Name)
		}
	}
	return idle
}

// ReachedOn reports whether the signal of a take on that preset runs through a block that the take
// has somewhere else than the file.
func (f *File) ReachedOn(preset, block string) bool {
	return slices.ContainsFunc(f.Takes, func(t Take) bool {
		return t.Preset == preset && t.Loops != nil && slices.Contains(f.reached(t), block)
	})
}

// reached is the blocks of a take that its signal runs through, off or not: those of its order and
// of the loops that are in.
func (f *File) reached(t Take) []string {
	order, split := t.Order, t.Split
	if order == nil {
		order, split = f.Order, f.Split
	}
	all := slices.Clone(order)
	if split != nil {
		all = append(append(all, split.Left...), split.Right...)
	}
	if s := f.Switcher(); s != nil && slices.Contains(all, s.Name) {
		var on []int
		for _, p := range t.Presets() {
			on = append(on, f.LoopsOn(t.OnlyOn(p))...)
		}
		for _, l := range f.LoopsOf(t) {
			if slices.Contains(on, l.Number) {
				all = append(all, l.Blocks...)
			}
		}
	}
	return all
}
