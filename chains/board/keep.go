package board

import (
	"slices"
)

// Keep is what every order that is tried has to keep to.
type Keep struct {
	First    []string   // the order begins with these, in this order
	Last     []string   // it ends with these, in this order
	Before   [][]string // of each list, every block comes somewhere before the next
	Together [][]string // the blocks of each list stand next to each other, in any order
}

// Allows reports whether a line of names keeps to all of it that is about blocks in the line.
func (k *Keep) Allows(names []string) bool {
	at := func(n string) int { return slices.Index(names, n) }
	for _, list := range k.Before {
		last := -1
		for _, n := range list {
			if here := at(n); here >= 0 {
				if here < last {
					return false
				}
				last = here
			}
		}
	}
	for want, n := range k.First {
		if at(n) >= 0 && at(n) != want {
			return false
		}
	}
	for i, n := range k.Last {
		if at(n) >= 0 && at(n) != len(names)-len(k.Last)+i {
			return false
		}
	}
	for _, list := range k.Together {
		low, high, n := len(names), -1, 0
		for _, b := range list {
			if here := at(b); here >= 0 {
				low, high, n = min(low, here), max(high, here), n+1
			}
		}
		if n > 0 && high-low+1 != n {
			return false
		}
	}
	return true
}

// Circle is a block that has to come before itself, by first, last and before; "" where there is
// none.
func (k *Keep) Circle(names []string) string {
	after := map[string][]string{}
	add := func(a, b string) { after[a] = append(after[a], b) }
	for i, a := range k.First {
		for _, b := range names {
			if j := slices.Index(k.First, b); j > i || j < 0 {
				add(a, b)
			}
		}
	}
	for i, b := range k.Last {
		for _, a := range names {
			if j := slices.Index(k.Last, a); j >= 0 && j < i || j < 0 {
				add(a, b)
			}
		}
	}
	for _, list := range k.Before {
		for i, a := range list[:len(list)-1] {
			add(a, list[i+1])
		}
	}
	const open, closed = 1, 2
	state := map[string]int{}
	var visit func(string) string
	visit = func(a string) string {
		state[a] = open
		for _, b := range after[a] {
			switch state[b] {
			case open:
				return b
			case closed:
				continue
			}
			if at := visit(b); at != "" {
				return at
			}
		}
		state[a] = closed
		return ""
	}
	for _, a := range names {
		if state[a] == 0 {
			if at := visit(a); at != "" {
				return at
			}
		}
	}
	return ""
}
