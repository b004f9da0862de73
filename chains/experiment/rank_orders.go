package experiment

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"drywire/chains/board"
)

// orders enumerates the orders of some blocks that keep to what the chain file asks: a tree, whose
// leaves come in the order of the alphabet if the blocks' places in the base order are its letters.
type orders struct {
	names  []string // the base order
	first  []int    // indexes into names
	last   []int
	before [][]int                  // per block, those that have to be placed before it
	groups [][]int                  // that stand together
	fits   func(block, at int) bool // whether a block may take a place
}

// order is indexes into the base order's names.
type order []uint8

// newOrders is the orders of base that keep to k, and in which every block takes a place that fits
// it.
func newOrders(base []string, k board.Keep, fits func(block, at int) bool) (*orders, error) {
	o := &orders{names: base, before: make([][]int, len(base)), fits: fits}
	index := func(list []string, where string) ([]int, error) {
		var all []int
		for _, name := range list {
			i := slices.Index(base, name)
			if i < 0 {
				return nil, fmt.Errorf("keep.%s names %q, which is not in the order that is ranked", where, name)
			}
			all = append(all, i)
		}
		return all, nil
	}
	var err error
	if o.first, err = index(k.First, "first"); err != nil {
		return nil, err
	}
	if o.last, err = index(k.Last, "last"); err != nil {
		return nil, err
	}
	for _, list := range k.Before {
		l, err := index(list, "before")
		if err != nil {
			return nil, err
		}
		for i := 1; i < len(l); i++ {
			o.before[l[i]] = append(o.before[l[i]], l[i-1])
		}
	}
	for _, list := range k.Together {
		g, err := index(list, "together")
		if err != nil {
			return nil, err
		}
		o.groups = append(o.groups, g)
	}
	return o, nil
}

// may reports whether a block may come next after what has been placed. Not every way that it
// leaves open leads to an order.
func (o *orders) may(placed order, used []bool, next int) bool {
	at, n := len(placed), len(o.names)
	if used[next] || !o.fits(next, at) {
		return false
	}
	if at < len(o.first) {
		if o.first[at] != next {
			return false
		}
	} else if slices.Contains(o.first, next) {
		return false
	}
	if begin := n - len(o.last); at >= begin {
		if o.last[at-begin] != next {
			return false
		}
	} else if slices.Contains(o.last, next) {
		return false
	}
	for _, b := range o.before[next] {
		if !used[b] {
			return false
		}
	}
	for _, g := range o.groups {
		open, all := false, true
		for _, b := range g {
			open = open || used[b]
			all = all && used[b]
		}
		if open && !all && !slices.Contains(g, next) {
			return false
		}
	}
	return true
}

// ok reports whether a whole order keeps to everything.
func (o *orders) ok(whole order) bool {
	used := make([]bool, len(o.names))
	for k, b := range whole {
		if !o.may(whole[:k], used, int(b)) {
			return false
		}
		used[b] = true
	}
	return true
}

// walk calls leaf for every order in turn until it says no, or until it has looked at so many
// places in the tree. It returns whether it saw the whole tree.
func (o *orders) walk(most int, leaf func(order) bool) bool {
	placed, used := make(order, 0, len(o.names)), make([]bool, len(o.names))
	var down func() bool
	down = func() bool {
		if most--; most < 0 {
			return false
		}
		if len(placed) == len(o.names) {
			return leaf(placed)
		}
		for next := range o.names {
			if !o.may(placed, used, next) {
				continue
			}
			placed, used[next] = append(placed, uint8(next)), true
			whole := down()
			placed, used[next] = placed[:len(placed)-1], false
			if !whole {
				return false
			}
		}
		return true
	}
	return down()
}

// mostPlaces bounds the walks through a tree: of some 10 blocks, the tree of all orders has so many
// places.
const mostPlaces = 20_000_000

// count is how many orders there are; whole is false where there are more than could be counted.
func (o *orders) count() (n int, whole bool) {
	whole = o.walk(mostPlaces, func(order) bool { n++; return true })
	return n, whole
}

// slice is the orders from one number up to another.
func (o *orders) slice(from, to int) []order {
	var list []order
	n := 0
	o.walk(mostPlaces, func(w order) bool {
		if n >= from && n < to {
			list = append(list, slices.Clone(w))
		}
		n++
		return n < to
	})
	return list
}

// random is an order by chance, or nil where none was found: every next block has the same chance
// among those that may come.
func (o *orders) random(rng *rand.Rand) order {
	const tries = 1000 // ways into a dead end
	for range tries {
		placed, used := make(order, 0, len(o.names)), make([]bool, len(o.names))
		for len(placed) < len(o.names) {
			var may []int
			for next := range o.names {
				if o.may(placed, used, next) {
					may = append(may, next)
				}
			}
			if len(may) == 0 {
				break
			}
			next := may[rng.IntN(len(may))]
			placed, used[next] = append(placed, uint8(next)), true
		}
		if len(placed) == len(o.names) {
			return placed
		}
	}
	return nil
}

// neighbours is the orders that moving one block to another place makes of one.
func (o *orders) neighbours(of order) []order {
	var list []order
	seen := map[string]bool{string(of): true}
	for from := range of {
		for to := range of {
			moved := slices.Insert(slices.Delete(slices.Clone(of), from, from+1), to, of[from])
			if seen[string(moved)] || !o.ok(moved) {
				continue
			}
			seen[string(moved)] = true
			list = append(list, moved)
		}
	}
	return list
}

// words is the order by its blocks' names.
func (o *orders) words(w order) []string {
	names := make([]string, len(w))
	for k, b := range w {
		names[k] = o.names[b]
	}
	return names
}
