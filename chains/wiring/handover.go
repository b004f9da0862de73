package wiring

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Handover is a connection between two blocks, cut open: the source impedance and the load
// impedance there.
type Handover struct {
	// BLOCK.in, or "load"; where the chain splits, "split", and at the end of either path
	// "load.left" and "load.right"; "split" is the left path alone, where a block in stereo feeds
	// both
	Jack   string
	Source complex128  // Ω: what is seen from the jack backwards, with the cable that leads to it
	Input  complex128  // Ω: what is seen from the jack forwards
	Cable  blocks.Cord // that leads to it
	Path   string      // "out.left" or "out.right" in a path of a split; else ""
}

// cut is where a chain is cut open: in front of the k-th block of Blocks or of a path, or behind
// the last.
type cut struct {
	end  string // outLeft or outRight in a path of a split; "" in Blocks
	k    int
	jack string
}

// cuts is all hand-overs: those of Blocks, with the load or the split behind them, then those of
// the left path and of the right one.
func cuts(c *board.Chain) []cut {
	var list []cut
	add := func(end string, line []board.Placed, last string) {
		for k, b := range line {
			list = append(list, cut{end, k, b.In()})
		}
		list = append(list, cut{end, len(line), last})
	}
	if c.Split == nil {
		add("", c.Blocks, "load")
		return list
	}
	add("", c.Blocks, "split")
	add(board.OutLeft, c.Split.Left, "load.left")
	add(board.OutRight, c.Split.Right, "load.right")
	return list
}

// Handovers is the small-signal impedances at every hand-over of the chain at one frequency, from
// the guitar's cable to the load, about the operating point. What is seen forwards ends at the
// first stage; what is seen backwards begins there. In a path of a split, what is seen backwards
// has the other path beside it. Of a linear block that a signal passes without a stage, what is
// behind it is the impedance that was found there, so a row of such blocks takes time in proportion
// to its length. The error is of a circuit without an operating point.
func Handovers(c *board.Chain, f dsp.Hertz) ([]Handover, error) {
	h := &handing{c, f, map[string]bool{}, map[string]bool{}}
	list := cuts(c)
	all := make([]Handover, len(list))
	for k, at := range list {
		all[k] = Handover{Jack: at.jack, Cable: cableTo(c, at), Path: at.end}
		seen := h.before
		if at.k > 0 && h.lumped(line(c, at)[at.k-1]) {
			seen = func(at cut) *circuit.Netlist { return h.behindOne(list[k-1], at, all[k-1].Source) }
		}
		z, err := h.at(at, seen(at))
		if err != nil {
			return nil, err
		}
		all[k].Source = z
	}
	for k, at := range slices.Backward(list) {
		seen := h.after
		if row := line(c, at); at.k < len(row) && h.lumped(row[at.k]) {
			seen = func(at cut) *circuit.Netlist { return h.beforeOne(at, list[k+1], all[k+1].Input) }
		}
		z, err := h.at(at, seen(at))
		if err != nil {
			return nil, err
		}
		all[k].Input = z
	}
	return all, nil
}

// at is the impedance of a circuit at the jack where the chain was cut; 0 where it has none such.
func (h *handing) at(at cut, n *circuit.Netlist) (complex128, error) {
	for _, part := range n.Split() {
		if !part.HasNode(at.jack) {
			continue
		}
		ac, err := part.AC()
		if err != nil {
			return 0, fmt.Errorf("take %q, at %s: %w", h.chain.Take, at.jack, err)
		}
		return ac.Impedance(at.jack, h.frequency), nil
	}
	return 0, nil
}

// handing is a chain whose hand-overs are computed; which of its blocks a signal passes without a
// stage, and which of these are linear, by name.
type handing struct {
	chain           *board.Chain
	frequency       dsp.Hertz
	passing, linear map[string]bool
}

// behindOne is what is seen backwards through one block, whose input has an impedance behind it.
func (h *handing) behindOne(from, at cut, z complex128) *circuit.Netlist {
	bench, b := quietBench(), line(h.chain, from)[from.k]
	h.lump(bench, b.In(), z)
	place(b, bench)
	bench.Cable("cable.out", b.Out(), at.jack, cableTo(h.chain, at))
	return bench.Circuit
}

// beforeOne is what is seen forwards through one block, whose cable leads into an impedance.
func (h *handing) beforeOne(at, to cut, z complex128) *circuit.Netlist {
	bench, b := quietBench(), line(h.chain, at)[at.k]
	place(b, bench)
	bench.Cable("cable.out", b.Out(), to.jack, cableTo(h.chain, to))
	h.lump(bench, to.jack, z)
	return bench.Circuit
}

// lump puts between a node and ground what has an impedance at the frequency: a resistor with a
// capacitor or an inductor beside it.
func (h *handing) lump(bench *blocks.Bench, node string, z complex128) {
	const open = 1e-15                                           // S
	y, turn := 1/z-circuit.Shunt, 2*math.Pi*float64(h.frequency) // the node has its own
	bench.R("lump.r", node, circuit.Ground, dsp.Ohm(1/max(real(y), open)))
	if imag(y) > 0 {
		bench.C("lump.c", node, circuit.Ground, dsp.Farad(imag(y)/turn))
	} else if imag(y) < 0 {
		bench.L("lump.l", node, circuit.Ground, dsp.Henry(-1/(turn*imag(y))))
	}
}

// handoverRate is a sample rate for stages that are built but never run.
const handoverRate = 48000

func quietBench() *blocks.Bench {
	return blocks.NewBench(handoverRate, section.Draft.Oversample(handoverRate))
}

// line is the list of blocks that a cut is in.
func line(c *board.Chain, at cut) []board.Placed {
	if at.end == "" {
		return c.Blocks
	}
	return c.Side(at.end)
}

// before is what is seen backwards from where the chain is cut: the last few blocks in front of it,
// where what is in front of these is out of reach, behind a stage.
func (h *handing) before(at cut) *circuit.Netlist {
	line := line(h.chain, at)
	for j := at.k - 1; j >= 0; j-- {
		if h.passes(line[j]) {
			continue
		}
		bench := quietBench()
		place(line[j], bench)
		from, _ := addBlocks(h.chain, bench, line[j+1:at.k], line[j].Out(), nil)
		bench.Cable("cable.out", from, at.jack, cableTo(h.chain, at))
		return bench.Circuit
	}
	return allBefore(h.chain, at)
}

// after is what is seen forwards.
func (h *handing) after(at cut) *circuit.Netlist {
	line := line(h.chain, at)[at.k:]
	for j := range line {
		if h.passes(line[j]) {
			continue
		}
		bench := quietBench()
		place(line[0], bench)
		addBlocks(h.chain, bench, line[1:j+1], line[0].Out(), nil)
		return bench.Circuit
	}
	return allAfter(h.chain, at)
}

// passes reports whether a block's jacks are in one part of its circuit, with no stage between
// them: asked once of every block.
func (h *handing) passes(p board.Placed) bool {
	known, ok := h.passing[p.Name]
	if !ok {
		bench := quietBench()
		place(p, bench)
		known = connected(bench.Circuit, p.Out(), p.In())
		h.passing[p.Name] = known
	}
	return known
}

// lumped reports whether a block is linear and its jacks are in one part of its circuit.
func (h *handing) lumped(p board.Placed) bool {
	known, ok := h.linear[p.Name]
	if !ok {
		bench := quietBench()
		place(p, bench)
		known = h.passes(p) && bench.Circuit.Linear()
		h.linear[p.Name] = known
	}
	return known
}

// connected reports whether two nodes are in one part of a circuit.
func connected(n *circuit.Netlist, a, b string) bool {
	for _, part := range n.Split() {
		if part.HasNode(a) {
			return part.HasNode(b)
		}
	}
	return false
}

// allBefore is the chain up to the end of the cable that leads to where it is cut.
func allBefore(c *board.Chain, at cut) *circuit.Netlist {
	bench := quietBench()
	addGuitar(bench, c)
	common := c.Blocks
	if at.end == "" {
		common = c.Blocks[:at.k]
	}
	first := c.Guitar.Cord()
	from, next := addBlocks(c, bench, common, "guitar", &first)
	if at.end != "" {
		other := board.OutLeft
		if at.end == board.OutLeft {
			other = board.OutRight
		}
		addPath(c, bench, other, c.Feed(other, from), next)
		from, _ = addBlocks(c, bench, c.Side(at.end)[:at.k], c.Feed(at.end, from), next)
	}
	bench.Cable("cable.out", from, at.jack, cableTo(c, at)) // no block has that name
	return bench.Circuit
}

// cableTo is the cable that leads to where the chain is cut.
func cableTo(c *board.Chain, at cut) blocks.Cord {
	line := line(c, at)
	switch {
	case at.jack == "split": // behind the last block, or in the guitar
		return blocks.Cord{}
	case at.k == len(line):
		return c.Load.Cord()
	case at.k == 0 && (at.end == "" || len(c.Blocks) == 0):
		return c.Guitar.Cord()
	}
	return c.CordTo(at.jack)
}

// allAfter is the chain from where it is cut on.
func allAfter(c *board.Chain, at cut) *circuit.Netlist {
	bench := quietBench()
	line := line(c, at)[at.k:]
	switch {
	case len(line) > 0:
		place(line[0], bench)
		from, next := addBlocks(c, bench, line[1:], line[0].Out(), nil)
		if at.end == "" {
			addRest(c, bench, from, next)
		} else {
			addLoad(c, bench, strings.TrimPrefix(at.end, "out"), from)
		}
	case at.jack == "split":
		var first *blocks.Cord
		if len(c.Blocks) == 0 {
			k := c.Guitar.Cord()
			first = &k
		}
		if _, ok := c.Feeds(); ok { // what is behind the other output is no load of this one
			addPath(c, bench, board.OutLeft, at.jack, first)
		} else {
			addRest(c, bench, at.jack, first)
		}
	default:
		bench.R("load", at.jack, circuit.Ground, c.Load.Resistance)
	}
	return bench.Circuit
}

func place(p board.Placed, bench *blocks.Bench) {
	if p.Piece != nil {
		bench.PlacePiece(p.Name, p.Settings, *p.Piece)
	} else if p.Off {
		bench.Bypass(p.Name, p.Kind, p.Settings)
	} else {
		if p.Cabinet != nil {
			if bench.IR == nil {
				bench.IR = map[string]blocks.ImpulseResponse{}
			}
			bench.IR[p.Name] = p.Cabinet.Response(bench.Rate)
		}
		bench.Place(p.Name, p.Kind, p.Settings)
	}
}
