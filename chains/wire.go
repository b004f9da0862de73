package chains

import (
	"fmt"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Wiring is a chain laid out as one circuit and cut at its stages. It never changes: any number of renderers may share one, at once.
// Where the chain has Turns, it is as it is at 0 s.
type Wiring struct {
	Chain    *Chain
	Rate     dsp.Hertz
	Quality  section.Quality
	Circuit  *circuit.Netlist   // the whole of it
	Sections []*circuit.Netlist // its parts, in the order in which the signal reaches them
	Stages   []blocks.Stage     // in the order in which the signal reaches them
}

// Jacks is the names of the chain's jacks in the order of the signal: guitar, BLOCK.in and BLOCK.out of every block, out. Where it splits, the left
// path with out.left, the right one with out.right, and out where these are mixed. A block in stereo has a jack more, BLOCK.right, which is not among them.
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
	jacks = append(jacks, outLeft)
	add(c.Split.Right)
	jacks = append(jacks, outRight)
	if c.Split.Mix == mixMono {
		jacks = append(jacks, "out")
	}
	return jacks
}

// Jack checks that the chain has the jack; the error offers the nearest name and lists those there are.
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
	if near := nearest(name, jacks); near != "" {
		hint = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("no jack %q in take %q%s (there are: %s)", name, c.Take, hint, strings.Join(jacks, ", "))
}

// Wire lays the chain out for recordings of the given rate.
func (c *Chain) Wire(rate dsp.Hertz, q section.Quality) *Wiring {
	bench := blocks.NewBench(rate, q.Oversample(rate))
	wireGuitar(bench, c.Guitar, c.Recording.Load)
	from, length := c.run(bench, c.Blocks, "guitar", c.Guitar.Cable)
	c.finish(bench, from, length)

	w := &Wiring{Chain: c, Rate: rate, Quality: q, Circuit: bench.Circuit}
	w.order(bench.Circuit.Split(), bench.Stages)
	return w
}

// run lays blocks from a jack on, each behind the cable that leads to it; the first of these has that length. It returns the jack at the end, and the
// length of a cable from there.
func (c *Chain) run(bench *blocks.Bench, line []Placed, from string, length dsp.Metre) (string, dsp.Metre) {
	for _, b := range line {
		bench.Cable("cable."+b.Name, from, b.In(), length)
		b.place(bench)
		from, length = b.Out(), c.Patch
	}
	return from, length
}

// finish lays what follows the chain's Blocks: the load, or both paths of a split.
func (c *Chain) finish(bench *blocks.Bench, from string, length dsp.Metre) {
	if c.Split == nil {
		c.end(bench, "", from)
		return
	}
	c.path(bench, outLeft, from, length)
	c.path(bench, outRight, c.feed(outRight, from), length)
	if c.Split.Mix == mixMono {
		bench.Stage(blocks.Stage{Name: "mix", Sense: []string{outLeft, outRight}, Drive: []string{"out"}, New: func() blocks.Core { return averaging{} }})
	}
}

// path lays one path of a split up to its end, which says which one it is.
func (c *Chain) path(bench *blocks.Bench, end, from string, length dsp.Metre) {
	from, _ = c.run(bench, c.side(end), from, length)
	c.end(bench, strings.TrimPrefix(end, "out"), from)
}

// side is the blocks of the path that ends there.
func (c *Chain) side(end string) []Placed {
	if end == outLeft {
		return c.Split.Left
	}
	return c.Split.Right
}

// end lays the cable to the load, and the load.
func (c *Chain) end(bench *blocks.Bench, side, from string) {
	bench.Cable("cable.out"+side, from, "out"+side, c.Load.Cable)
	defer bench.Own("load")()
	bench.R("load"+side, "out"+side, circuit.Ground, c.Load.Resistance)
}

// order sorts sections and stages so that each comes after those that drive it.
func (w *Wiring) order(parts []*circuit.Netlist, stages []blocks.Stage) {
	driven := map[string]bool{source: true}
	for len(parts)+len(stages) > 0 {
		before := len(parts) + len(stages)
		parts = slices.DeleteFunc(parts, func(n *circuit.Netlist) bool {
			for _, in := range n.Inputs() {
				if !driven[in] {
					return false
				}
			}
			w.Sections = append(w.Sections, n)
			return true
		})
		stages = slices.DeleteFunc(stages, func(s blocks.Stage) bool {
			for _, node := range s.Sense {
				if w.Section(node) == nil {
					return false
				}
			}
			for _, d := range s.Drive {
				driven[d] = true
			}
			w.Stages = append(w.Stages, s)
			return true
		})
		if len(parts)+len(stages) == before {
			panic("chains: the signal runs in a circle")
		}
	}
}

// Section is the section that holds a node, or nil.
func (w *Wiring) Section(node string) *circuit.Netlist {
	for _, n := range w.Sections {
		if n.HasNode(node) {
			return n
		}
	}
	return nil
}
