package page

import (
	"net/http"
	"reflect"
	"slices"

	"drywire/chains/board"
	"drywire/cmd/internal/local"
)

// reordered is a take after its order was changed, with what is in a switcher's loops: both are the
// take's own from then on, where they are not the file's. Blocks that no take has any more go to
// the tray.
func reordered(f *board.File, t board.Take, entries []orderEntry) (board.Take, error) {
	order, split, loops, err := flattened(entries, f, t)
	if err != nil {
		return t, err
	}
	if t.Order != nil || !slices.Equal(order, f.Order) || !reflect.DeepEqual(split, f.Split) {
		t.Order, t.Split = order, split
	}
	t.Loops = loops
	return f.Fitted(t), nil
}

// flattened is an order as the chain file has it, and the loops of a take's own that go with it.
func flattened(entries []orderEntry, f *board.File, t board.Take) (order []string, split *board.SplitOrder, loops []board.Loop, err error) {
	add := func(to *[]string, e orderEntry) error {
		if e.Split != nil {
			return local.Refuse(http.StatusUnprocessableEntity, "a split stands at the end of an order, and not in a path of another")
		}
		*to = append(*to, e.Block)
		if !slices.ContainsFunc(f.Blocks, func(b board.Block) bool { return b.Name == e.Block && b.Loops != nil }) {
			if e.In != nil {
				return local.Refuse(http.StatusUnprocessableEntity, "block %q has no loops", e.Block)
			}
			return nil
		}
		if e.In != nil {
			loops, err = ownLoops(e, f, t)
			return err
		}
		// It comes onto the board: what stands there is not in its loops.
		stands := names(entries)
		in := map[int][]string{}
		for _, l := range f.LoopsOf(t) {
			in[l.Number] = slices.DeleteFunc(slices.Clone(l.Blocks), func(b string) bool { return slices.Contains(stands, b) })
		}
		loops, err = ownLoops(orderEntry{Block: e.Block, In: in}, f, t)
		return err
	}
	order = []string{}
	for k, e := range entries {
		if e.Split == nil {
			if err := add(&order, e); err != nil {
				return nil, nil, nil, err
			}
			continue
		}
		if k != len(entries)-1 {
			return nil, nil, nil, local.Refuse(http.StatusUnprocessableEntity, "a split stands at the end of an order")
		}
		split = &board.SplitOrder{Left: []string{}, Right: []string{}, Mix: e.Split.Mix}
		for _, l := range e.Split.Left {
			if err := add(&split.Left, l); err != nil {
				return nil, nil, nil, err
			}
		}
		for _, r := range e.Split.Right {
			if err := add(&split.Right, r); err != nil {
				return nil, nil, nil, err
			}
		}
	}
	return order, split, loops, nil
}

// names is the blocks of an order, those in loops left out.
func names(entries []orderEntry) (all []string) {
	for _, e := range entries {
		if e.Split != nil {
			all = append(append(all, names(e.Split.Left)...), names(e.Split.Right)...)
			continue
		}
		all = append(all, e.Block)
	}
	return all
}

// ownLoops is what a take says of its loops once they hold what an entry says: what it has said
// before and is still so, and what is not as the switcher has it.
func ownLoops(e orderEntry, f *board.File, t board.Take) (own []board.Loop, err error) {
	of := func(loops []board.Loop, number int) int {
		return slices.IndexFunc(loops, func(l board.Loop) bool { return l.Number == number })
	}
	file, before := f.LoopsOf(board.Take{}), f.LoopsOf(t)
	for number := range e.In {
		if of(file, number) < 0 {
			return nil, local.Refuse(http.StatusUnprocessableEntity, "%q has no loop %d", e.Block, number)
		}
	}
	for k, l := range before {
		now := e.In[l.Number]
		said := of(t.Loops, l.Number) >= 0 && slices.Equal(now, l.Blocks)
		if said || !slices.Equal(now, file[k].Blocks) {
			own = append(own, board.Loop{Number: l.Number, Blocks: now})
		}
	}
	return own, nil
}
