package board

import (
	"fmt"
	"slices"
	"strings"

	"drywire/chains/internal/yamltext"
)

// Jacks is the names of the chain's jacks in the order of the signal: guitar, BLOCK.in and
// BLOCK.out of every block, out. Where it splits, the left path with out.left, the right one with
// out.right, and out where these are mixed. A block in stereo has a jack more, BLOCK.right, which
// is not among them.
func (c *Chain) Jacks() []string {
	jacks := []string{"guitar"}
	add := func(line []Placed) {
		for _, b := range line {
			jacks = append(jacks, b.In(), b.Out())
		}
	}
	add(c.Blocks)
	if c.Split == nil {
		return append(jacks, "out")
	}
	add(c.Split.Left)
	jacks = append(jacks, OutLeft)
	add(c.Split.Right)
	jacks = append(jacks, OutRight)
	if c.Split.Mix == MixMono {
		jacks = append(jacks, "out")
	}
	return jacks
}

// Jack checks that the chain has the jack; the error offers the nearest name and lists those there
// are.
func (c *Chain) Jack(name string) error {
	jacks := c.Jacks()
	for _, b := range c.Every() {
		if b.stereo() {
			jacks = append(jacks, b.right())
		}
	}
	if slices.Contains(jacks, name) {
		return nil
	}
	if name == "out" {
		return fmt.Errorf("take %q ends in two jacks, out.left and out.right: choose one of them (or mix: mono in the split)", c.Take)
	}
	hint := ""
	if near := yamltext.Nearest(name, jacks); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("no jack %q in take %q%s (there are: %s)", name, c.Take, hint, strings.Join(jacks, ", "))
}

// Side is the blocks of the path that ends there.
func (c *Chain) Side(end string) []Placed {
	if end == OutLeft {
		return c.Split.Left
	}
	return c.Split.Right
}

// Leads reports whether the signal goes through a block before it comes to where the chain is
// listened to.
func (c *Chain) Leads(p Placed) bool {
	if c.Heard == "" {
		return true
	}
	jacks := c.Jacks()
	at := slices.Index(jacks, c.Heard)
	if right := slices.Index(jacks, OutLeft); right >= 0 && at > right && c.Heard != "out" && c.Split != nil &&
		slices.ContainsFunc(c.Split.Left, func(o Placed) bool { return o.Name == p.Name }) {
		return false // on the other path
	}
	return slices.Index(jacks, p.Out()) <= at
}
