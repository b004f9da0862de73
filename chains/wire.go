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

// Wiring is a chain laid out as one circuit and cut at its stages.
type Wiring struct {
	Chain    *Chain
	Rate     dsp.Hertz
	Quality  section.Quality
	Circuit  *circuit.Netlist   // the whole of it
	Sections []*circuit.Netlist // its parts, in the order in which the signal reaches them
	Stages   []blocks.Stage     // in the order in which the signal reaches them
}

// Jacks is the names of the chain's jacks in the order of the signal: guitar, BLOCK.in and BLOCK.out of every block, out.
func (c *Chain) Jacks() []string {
	jacks := []string{"guitar"}
	for _, b := range c.Blocks {
		jacks = append(jacks, b.Name+".in", b.Name+".out")
	}
	return append(jacks, "out")
}

// Jack checks that the chain has the jack; the error offers the nearest name and lists those there are.
func (c *Chain) Jack(name string) error {
	jacks := c.Jacks()
	if slices.Contains(jacks, name) {
		return nil
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
	from, length := "guitar", c.Guitar.Cable
	for _, b := range c.Blocks {
		bench.Cable("cable."+b.Name, from, b.Name+".in", length)
		if b.Off {
			bench.Bypass(b.Name, b.Kind, b.Settings)
		} else {
			bench.Place(b.Name, b.Kind, b.Settings)
		}
		from, length = b.Name+".out", c.Patch
	}
	bench.Cable("cable.out", from, "out", c.Load.Cable)
	bench.R("load", "out", circuit.Ground, c.Load.Resistance)

	w := &Wiring{Chain: c, Rate: rate, Quality: q, Circuit: bench.Circuit}
	w.order(bench.Circuit.Split(), bench.Stages)
	return w
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
