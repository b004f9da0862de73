package chains

import "drywire/dsp"

// SplitOrder is how an order may end: in two paths, each with its own load.
type SplitOrder struct {
	Left, Right []string // names of blocks; an empty path is a cable
	Mix         string   // "stereo" or "mono"
}

// Split is two paths that are fed from one jack, so that both load it. With the mix "stereo" the chain ends in the jacks out.left and out.right, each with
// the file's load. With "mono" the mean of the two is the jack out: what a listener between the two hears, without the room.
type Split struct {
	Left, Right []Placed
	Mix         string
}

const (
	mixStereo = "stereo"
	mixMono   = "mono"
)

// The jacks at the ends of the two paths.
const (
	outLeft  = "out.left"
	outRight = "out.right"
)

// Every is every block of the chain, those of a split's left path before those of its right.
func (c *Chain) Every() []Placed {
	if c.Split == nil {
		return c.Blocks
	}
	all := append([]Placed(nil), c.Blocks...)
	return append(append(all, c.Split.Left...), c.Split.Right...)
}

// Ends is the jacks that the chain ends in: out, or out.left and out.right.
func (c *Chain) Ends() []string {
	if c.Stereo() {
		return []string{outLeft, outRight}
	}
	return []string{"out"}
}

// Stereo says whether the chain ends in two jacks.
func (c *Chain) Stereo() bool { return c.Split != nil && c.Split.Mix == mixStereo }

// averaging is the core of a mono mix.
type averaging struct{}

func (averaging) Process(out, in [][]float64) {
	for k := range out[0] {
		out[0][k] = (in[0][k] + in[1][k]) / 2
	}
}

func (averaging) Latency() int     { return 0 }
func (averaging) Tail() dsp.Second { return 0 }
func (averaging) Reset()           {}
