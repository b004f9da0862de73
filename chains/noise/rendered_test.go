package noise

import (
	"slices"
	"testing"
)

// However far one node is before another, each hears the blocks that a stream of its own would have
// made.
func TestNodesShareADraw(t *testing.T) {
	own := func() *blank {
		b := newBlank(stream(1, "a name"))
		b.taken = []int{0}
		return b
	}
	shared := newBlank(stream(1, "a name"))
	shared.taken = []int{0, 0}
	alone := []*blank{own(), own()}
	for k, who := range []int{0, 0, 1, 0, 1, 1, 1, 0} {
		if got, want := shared.take(who), alone[who].take(0); !slices.Equal(got, want) {
			t.Fatalf("take %d: node %d hears another block", k+1, who)
		}
	}
	if n := len(shared.lines) + len(shared.unused); n > 3 {
		t.Errorf("%d blocks are kept of 2 that were between the two nodes", n)
	}
}
