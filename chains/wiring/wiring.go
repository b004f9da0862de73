// Package wiring builds one circuit of a chain and cuts it at its stages: guitar, cables and blocks
// become a netlist, whose parts between two stages are its sections. A Wiring never changes, and
// gives what needs no recording: responses, source and load impedances, a deck for a circuit
// simulator.
//
// Start reading at Of. Package render plays through a Wiring.
package wiring

import (
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Wiring is a chain as one circuit, cut at its stages. It never changes: any number of renderers
// may share one, at once. Where the chain has Turns, it is that at 0 s.
type Wiring struct {
	Chain    *board.Chain
	Rate     dsp.Hertz
	Quality  section.Quality
	Circuit  *circuit.Netlist   // the whole of it
	Sections []*circuit.Netlist // its parts, in the order in which the signal reaches them
	Stages   []blocks.Stage     // in the order in which the signal reaches them

	from   string // the jack from which on it is wired; "" for all of the chain
	before int    // how many of the chain's blocks come before that
}

// Again is the same wiring of a chain whose knobs stand elsewhere: of all of it, or from the same
// jack on.
func (w *Wiring) Again(c *board.Chain) *Wiring {
	if w.from == "" {
		return Of(c, w.Rate, w.Quality)
	}
	return From(c, w.from, w.before, w.Rate, w.Quality)
}

// Of wires the chain for recordings of the given rate. It panics where the signal would run in a
// circle, and where a block's circuit is none (see circuit.Netlist): both are mistakes in the
// program, since package file has refused the chain before.
func Of(c *board.Chain, rate dsp.Hertz, q section.Quality) *Wiring {
	bench := blocks.NewBench(rate, q.Oversample(rate))
	addGuitar(bench, c)
	first := c.Guitar.Cord()
	from, next := addBlocks(c, bench, c.Blocks, "guitar", &first)
	addRest(c, bench, from, next)

	w := &Wiring{Chain: c, Rate: rate, Quality: q, Circuit: bench.Circuit}
	w.order(bench.Circuit.Split(), bench.Stages)
	return w
}

// Feed is the name of the element that drives the wiring of From.
const Feed = "Vfeed"

// From wires the chain from a jack on, which the given number of its blocks come before: in their
// place is a source, silent but for what a renderer adds to it.
func From(c *board.Chain, jack string, before int, rate dsp.Hertz, q section.Quality) *Wiring {
	bench := blocks.NewBench(rate, q.Oversample(rate))
	bench.Circuit.Input(Feed, jack, circuit.Ground)
	from, next := addBlocks(c, bench, c.Blocks[before:], jack, nil)
	addRest(c, bench, from, next)
	w := &Wiring{Chain: c, Rate: rate, Quality: q, Circuit: bench.Circuit, from: jack, before: before}
	w.order(bench.Circuit.Split(), bench.Stages)
	return w
}

// At is the wiring with its sections computed at another quality; its stages stay as they were
// wired.
func (w *Wiring) At(q section.Quality) *Wiring {
	a := *w
	a.Quality = q
	return &a
}

// addBlocks adds blocks to the circuit from a jack on, each behind the cable that leads to it;
// first is the cable to the first of these, nil for the one that the chain has there. It returns
// the jack at the end, and the first cable from there on, likewise.
func addBlocks(c *board.Chain, bench *blocks.Bench, line []board.Placed, from string, first *blocks.Cord) (string, *blocks.Cord) {
	for _, b := range line {
		k := c.CordTo(b.In())
		if first != nil {
			k, first = *first, nil
		}
		bench.Cable("cable."+b.Name, from, b.In(), k)
		place(b, bench)
		from = b.Out()
	}
	return from, first
}

// addRest adds what follows the chain's Blocks: the load, or both paths of a split.
func addRest(c *board.Chain, bench *blocks.Bench, from string, first *blocks.Cord) {
	if c.Split == nil {
		addLoad(c, bench, "", from)
		return
	}
	addPath(c, bench, board.OutLeft, from, first)
	addPath(c, bench, board.OutRight, c.Feed(board.OutRight, from), first)
	if c.Split.Mix == board.MixMono {
		bench.Stage(blocks.Stage{Name: "mix", Sense: []string{board.OutLeft, board.OutRight}, Drive: []string{"out"}, New: func() blocks.Core { return averaging{} }})
	}
}

// addPath adds one path of a split up to its end jack, which says which one it is.
func addPath(c *board.Chain, bench *blocks.Bench, end, from string, first *blocks.Cord) {
	from, _ = addBlocks(c, bench, c.Side(end), from, first)
	addLoad(c, bench, strings.TrimPrefix(end, "out"), from)
}

// addLoad adds the cable to the load, and the load.
func addLoad(c *board.Chain, bench *blocks.Bench, side, from string) {
	bench.Cable("cable.out"+side, from, "out"+side, c.Load.Cord())
	defer bench.Own("load")()
	bench.R("load"+side, "out"+side, circuit.Ground, c.Load.Resistance)
}

// order sorts sections and stages so that each comes after those that drive it.
func (w *Wiring) order(parts []*circuit.Netlist, stages []blocks.Stage) {
	driven := map[string]bool{Source: true, Feed: true}
	at := map[string]*circuit.Netlist{} // the part of every node
	for _, n := range parts {
		for _, node := range n.Nodes() {
			at[node] = n
		}
	}
	placed := map[*circuit.Netlist]bool{}
	for len(parts)+len(stages) > 0 {
		before := len(parts) + len(stages)
		parts = slices.DeleteFunc(parts, func(n *circuit.Netlist) bool {
			for _, in := range n.Inputs() {
				if !driven[in] {
					return false
				}
			}
			w.Sections = append(w.Sections, n)
			placed[n] = true
			return true
		})
		stages = slices.DeleteFunc(stages, func(s blocks.Stage) bool {
			for _, node := range s.Sense {
				if node != circuit.Ground && !placed[at[node]] {
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
			panic("wiring: the signal runs in a circle")
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

// averaging is the core of a mono mix.
type averaging struct{}

func (averaging) Process(out, in [][]float64) {
	for k := range out[0] {
		out[0][k] = (in[0][k] + in[1][k]) / 2
	}
}

func (averaging) Latency() int { return 0 }

func (averaging) Tail() dsp.Second { return 0 }

func (averaging) Reset() {}
