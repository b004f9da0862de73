package board

import (
	"fmt"
)

// SplitOrder is how an order may end: in two paths, each with its own load.
type SplitOrder struct {
	Left, Right []string // names of blocks; an empty path is a cable
	Mix         string   // "stereo" or "mono"
}

// Split is two paths that are fed from one jack, so that both load it; or, behind a block in
// stereo, from its two outputs, so that each loads its own. With the mix "stereo" the chain ends in
// the jacks out.left and out.right, each with the file's load. With "mono" the mean of the two is
// the jack out: the sum at a listener between the two, without the room.
type Split struct {
	Left, Right []Placed
	Mix         string
}

// What becomes of the two paths: see Split.
const (
	MixStereo = "stereo"
	MixMono   = "mono"
)

// The jacks at the ends of the two paths.
const (
	OutLeft  = "out.left"
	OutRight = "out.right"
)

// Every is every block of the chain, those of a split's left path before those of its right.
func (c *Chain) Every() []Placed {
	if c.Split == nil {
		return c.Blocks
	}
	all := append([]Placed(nil), c.Blocks...)
	return append(append(all, c.Split.Left...), c.Split.Right...)
}

// Ends is the jacks that the chain ends in for who listens: out, or out.left and out.right, or the
// one at which it is listened to.
func (c *Chain) Ends() []string {
	if c.Heard != "" {
		return []string{c.Heard}
	}
	if c.Stereo() {
		return []string{OutLeft, OutRight}
	}
	return []string{"out"}
}

// Stereo reports whether the chain ends in two jacks.
func (c *Chain) Stereo() bool { return c.Split != nil && c.Split.Mix == MixStereo }

// stereo reports whether a block has a second output, the jack right.
func (p Placed) stereo() bool {
	if p.Piece != nil || p.Off || p.Kind == nil { // a bypass has one output
		return false
	}
	_, ok := p.Kind.Knob("stereo")
	return ok && p.Settings.Word("stereo") == "on"
}

// right is the second output of a block in stereo.
func (p Placed) right() string { return p.Name + ".right" }

// Feeds is the jack that the right path of a split starts at, where that is another one than the
// left path's: the second output of the block in front of it.
func (c *Chain) Feeds() (right string, ok bool) {
	if c.Split == nil || len(c.Blocks) == 0 {
		return "", false
	}
	last := c.Blocks[len(c.Blocks)-1]
	return last.right(), last.stereo()
}

// Feed is the jack that a path starts at; from is the output of the last block in front of it.
func (c *Chain) Feed(end, from string) string {
	if right, ok := c.Feeds(); ok && end == OutRight {
		return right
	}
	return from
}

// Warnings is what will work, but perhaps not as it was meant: second outputs that nothing is
// plugged into. A setting does not change how many jacks a take ends in; its order does.
func (c *Chain) Warnings() (list []string) {
	plugged, _ := c.Feeds()
	for _, b := range c.Every() {
		if b.stereo() && b.right() != plugged {
			list = append(list, fmt.Sprintf("the right output of %s goes nowhere; it feeds the right path of a split that stands right behind it, as in order: [%s, {split: {left: [], right: []}}]", b.Name, b.Name))
		}
	}
	return list
}
