package chains

import (
	"fmt"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Handover is a place where one thing is plugged into another, cut open: what drives it and what it drives.
type Handover struct {
	Jack   string     // BLOCK.in, or "load"
	Source complex128 // Ω: what is seen from the jack backwards, with the cable that leads to it
	Input  complex128 // Ω: what is seen from the jack forwards
}

// Handovers is the small-signal impedances at every hand-over of the chain at one frequency, from the guitar's cable to the load, about the
// operating point. What is seen forwards ends at the first stage; what is seen backwards begins there.
func (c *Chain) Handovers(f dsp.Hertz) ([]Handover, error) {
	var list []Handover
	for k := 0; k <= len(c.Blocks); k++ {
		jack := "load"
		if k < len(c.Blocks) {
			jack = c.Blocks[k].Name + ".in"
		}
		z := [2]complex128{}
		for side, n := range [2]*circuit.Netlist{c.before(k, jack), c.after(k, jack)} {
			for _, part := range n.Split() {
				if !part.HasNode(jack) {
					continue
				}
				ac, err := part.AC()
				if err != nil {
					return nil, fmt.Errorf("take %q, at %s: %w", c.Take, jack, err)
				}
				z[side] = ac.Impedance(jack, f)
			}
		}
		list = append(list, Handover{jack, z[0], z[1]})
	}
	return list, nil
}

// handoverRate is a sample rate for stages that are built but never run.
const handoverRate = 48000

func handoverBench() *blocks.Bench {
	return blocks.NewBench(handoverRate, section.Draft.Oversample(handoverRate))
}

// before is the chain up to the end of the cable that leads to the k-th block.
func (c *Chain) before(k int, jack string) *circuit.Netlist {
	bench := handoverBench()
	wireGuitar(bench, c.Guitar, c.Recording.Load)
	from, length := "guitar", c.Guitar.Cable
	for _, b := range c.Blocks[:k] {
		bench.Cable("cable."+b.Name, from, b.Name+".in", length)
		b.place(bench)
		from, length = b.Name+".out", c.Patch
	}
	if k == len(c.Blocks) {
		length = c.Load.Cable
	}
	bench.Cable("cable.last", from, jack, length)
	return bench.Circuit
}

// after is the chain from the k-th block on.
func (c *Chain) after(k int, jack string) *circuit.Netlist {
	bench := handoverBench()
	from := ""
	for _, b := range c.Blocks[k:] {
		if from != "" {
			bench.Cable("cable."+b.Name, from, b.Name+".in", c.Patch)
		}
		b.place(bench)
		from = b.Name + ".out"
	}
	if from == "" {
		bench.R("load", jack, circuit.Ground, c.Load.Resistance)
		return bench.Circuit
	}
	bench.Cable("cable.out", from, "out", c.Load.Cable)
	bench.R("load", "out", circuit.Ground, c.Load.Resistance)
	return bench.Circuit
}

func (p Placed) place(bench *blocks.Bench) {
	if p.Off {
		bench.Bypass(p.Name, p.Kind, p.Settings)
	} else {
		bench.Place(p.Name, p.Kind, p.Settings)
	}
}
