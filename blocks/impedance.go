package blocks

import (
	"fmt"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// What a block is connected to while its impedances are looked at.
const (
	benchSource dsp.Ohm = 10e3 // a guitar with its volume a little down: common practice, no source
	benchLoad   dsp.Ohm = 1e6  // what most inputs have
)

// Impedances is the block's input impedance with 1 MΩ at its output, and its output impedance with
// 10 kΩ at its input, for small signals about rest, in ohms. For a passive block they are mostly
// its neighbours'. It panics where the block has no operating point, which no legal setting leads
// to.
func (k *Kind) Impedances(s Settings, f dsp.Hertz) (in, out complex128) {
	look := func(end, jack string, r dsp.Ohm) complex128 {
		bench := NewBench(48e3, 1) // no rate matters to a circuit
		bench.Place("block", k, s)
		bench.ColdR("end", "block."+end, circuit.Ground, r)
		ac, err := bench.Circuit.AC()
		if err != nil {
			// no legal setting does that: the conformance kit
			panic(fmt.Sprintf("blocks: %s has no operating point: %v", k.Name, err))
		}
		return ac.Impedance("block."+jack, f)
	}
	return look("out", "in", benchLoad), look("in", "out", benchSource)
}
