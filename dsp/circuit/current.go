package circuit

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// noiseCurrent is a current at rest with a noise of its own.
type noiseCurrent struct {
	density float64 // of its white part, A/√Hz
	corner  float64 // Hz: where flicker noise is as large
}

// NoiseI is a noise current from a to b: white, of density i in A/√Hz, and flicker noise, whose
// power goes with 1/f and is that of the white at the corner; 0: none. It conducts nothing.
func (n *Netlist) NoiseI(name, a, b string, i float64, corner dsp.Hertz) {
	n.add(name, noiseCurrent{positive(name, i), float64(corner)}, a, b)
}

func (e noiseCurrent) values() []float64 { return []float64{e.density, e.corner} }

func (e noiseCurrent) noise(at *placed, _ *OperatingPoint, f float64, add addNoise) {
	add("current", at.nodes[0], at.nodes[1], e.density*e.density*(1+e.corner/f))
}

// card makes it of the noise of a resistor, whose model has flicker noise in proportion to its
// current.
func (e noiseCurrent) card(d *deckWriter, name string, nodes []string) {
	own := SPICEName(name)
	if !d.Noise {
		fmt.Fprintf(d, "* %s: noise of %s A/sqrt(Hz) and a corner of %s Hz from %s to %s\n", own, num(e.density), num(e.corner), nodes[0], nodes[1])
		return
	}
	const r, through = 1e3, 1e-3 // Ω, A
	white := 4 * Boltzmann * Temperature / r
	model := own + "_flicker"
	d.card("I", name, []string{Ground, own + "_noise"}, "DC", num(through))
	d.card("R", name, []string{own + "_noise", Ground}, num(r), model)
	d.card("V", own+"_rest", []string{own + "_rest", Ground}, "DC", num(r*through))
	d.card("G", name, []string{nodes[0], nodes[1], own + "_noise", own + "_rest"}, num(e.density/(r*math.Sqrt(white))))
	d.models[model] = fmt.Sprintf("R(KF=%s AF=1)", num(white*e.corner/through))
}
