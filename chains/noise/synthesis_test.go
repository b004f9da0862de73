package noise

import (
	"math"
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

// Through a filter that changes nothing a noise has the variance of its draw, where blocks go over
// into each other as elsewhere, and no sample knows of the next one.
func TestBlocksOfNoiseMeetWithoutTrace(t *testing.T) {
	one := make([]complex128, hissBlock/2+1)
	for k := range one {
		one[k] = 1
	}
	h := &hiss{}
	h.draw(newBlank(stream(1, "a name")), one)
	h.start()
	const blocks, hop = 200, hissBlock - hissFade
	var fading, steady, next, rest float64
	for range blocks {
		x := make([]float64, hop)
		h.Add(x)
		for k, v := range x {
			if k < hissFade {
				fading += v * v / (blocks * hissFade)
			} else {
				steady += v * v / (blocks * (hop - hissFade))
			}
			next += v * rest / (blocks * hop)
			rest = v
		}
	}
	// a variance of n samples scatters by sqrt(2/n), a correlation by sqrt(1/n): 0.16 and 0.06 %
	if math.Abs(fading-1) > 0.008 || math.Abs(steady-1) > 0.008 || math.Abs(next) > 0.004 {
		t.Errorf("variance %.4f where blocks meet, %.4f elsewhere, correlation %.4f with the next sample", fading, steady, next)
	}
}
