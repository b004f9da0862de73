package experiment

import (
	"drywire/chains/board"
	"drywire/chains/cables"
)

// Rewiring is what to do on the floor to get from one take to another: the fewest cables, as Cables
// of package board finds them.
type Rewiring struct {
	A     int           `json:"a"` // number of the take that is wired
	B     int           `json:"b"` // of the one that is wanted
	Moves []cables.Move `json:"moves"`
}

// Rewirings is how to get from the first of the takes to each of the others.
func Rewirings(takes []*board.Chain) []Rewiring {
	all := []Rewiring{}
	for k, c := range takes {
		if k > 0 {
			all = append(all, Rewiring{A: 1, B: k + 1, Moves: append([]cables.Move{}, board.Cables(takes[0], c)...)})
		}
	}
	return all
}

// Count is the number of cables that are moved, added or taken away, and of plugs.
func (r Rewiring) Count() (cables, plugs int) {
	for _, m := range r.Moves {
		if m.Block == "" {
			cables, plugs = cables+1, plugs+m.Ends
		}
	}
	return cables, plugs
}

// Same reports whether the moves are those of another.
func (r Rewiring) Same(o Rewiring) bool {
	if len(r.Moves) != len(o.Moves) {
		return false
	}
	for k, m := range r.Moves {
		if m != o.Moves[k] {
			return false
		}
	}
	return true
}
