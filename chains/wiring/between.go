package wiring

import (
	"drywire/chains/board"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Between is the block between a source and a load, both resistors.
func Between(p board.Placed, rate dsp.Hertz, from, to dsp.Ohm) *Wiring {
	bench := quietBench()
	bench.Rate, bench.Oversample = rate, section.Draft.Oversample(rate)
	bench.Circuit.Input(Source, "dry", circuit.Ground)
	bench.ColdR("source.r", "dry", p.In(), max(from, 1e-3))
	place(p, bench)
	bench.ColdR("load.r", p.Out(), circuit.Ground, to)
	w := &Wiring{Chain: &board.Chain{Take: p.Name, Blocks: []board.Placed{p}}, Rate: rate, Quality: section.Draft, Circuit: bench.Circuit}
	w.order(bench.Circuit.Split(), bench.Stages)
	return w
}
