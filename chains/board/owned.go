package board

import "slices"

// Owned is a take of the file that says its order and the loops' contents itself.
func (f *File) Owned(t Take) Take {
	if t.Order == nil {
		t.Order, t.Split = f.Order, f.Split
	}
	t.Order = slices.Clone(t.Order)
	if t.Split != nil {
		s := *t.Split
		t.Split = &s
	}
	t.Loops = f.LoopsOf(t)
	return t
}
