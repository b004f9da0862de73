package noise

import (
	"math"
	"strings"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// What ripple is made of.
const (
	rippleTone      = 100.0 // Hz: mains of 50 Hz, rectified both ways
	rippleHarmonics = 10
)

// rippleLines is the tones of a ripple by their mean squares.
func rippleLines(volts dsp.Volt) []Line {
	sum := 0.0
	for k := 1.0; k <= rippleHarmonics; k++ {
		sum += 1 / (k * k)
	}
	var lines []Line
	for k := 1.0; k <= rippleHarmonics; k++ {
		lines = append(lines, Line{k * rippleTone, float64(volts*volts) / (k * k) / sum})
	}
	return lines
}

// supplyElement and supplyNode are what a block that has its supply in its circuit calls it.
const (
	supplyElement = ".supply"
	supplyNode    = ".vcc"
)

// rippleIn adds the ripple of every block that has its supply in this section. transfer is the gain from a source to the jack at a frequency.
func (n *noiseWalk) rippleIn(part *circuit.Netlist, transfer func(input string, f float64) complex128) {
	for _, p := range n.w.Chain.Every() {
		ripple := board.RippleOf(n.w.Chain.Supplies, p.Powered)
		if ripple == 0 || p.Off || !part.HasNode(p.Name+supplyNode) {
			continue
		}
		n.addRipple(p.Name, ripple, func(f float64) float64 { return dsp.Abs2(transfer(p.Name+supplyElement, f)) })
	}
}

// rippleOf adds the ripple of the block whose last stage this is, at that stage's output. gain is the power gain from its outputs to the jack.
func (n *noiseWalk) rippleOf(stage blocks.Stage, gain func(f float64) float64) {
	of := func(stage string) string { return stage[:max(0, strings.LastIndex(stage, "."))] }
	for _, p := range n.w.Chain.Every() {
		ripple := board.RippleOf(n.w.Chain.Supplies, p.Powered)
		if ripple == 0 || of(stage.Name) != p.Name || n.w.Section(p.Name+supplyNode) != nil {
			continue
		}
		last := ""
		for _, other := range n.w.Stages {
			if of(other.Name) == p.Name {
				last = other.Name
			}
		}
		if stage.Name == last {
			rejected := math.Pow(10, -p.Kind.Rejection/10)
			n.addRipple(p.Name, ripple, func(f float64) float64 { return rejected * gain(f) })
		}
	}
}

// addRipple adds a ripple to the shares of a block, given the power gain from there to the jack.
func (n *noiseWalk) addRipple(name string, ripple dsp.Volt, gain func(f float64) float64) {
	element := name + supplyElement
	key := [3]string{owner(n.w.Chain, element), element, "ripple"}
	share := n.shares[key]
	if share == nil {
		share = &Share{Block: key[0], Element: element, Cause: "ripple", Density: make([]float64, len(n.m.centres))}
		n.shares[key] = share
	}
	for _, l := range rippleLines(ripple) {
		share.Lines = append(share.Lines, Line{l.Frequency, l.Power * gain(l.Frequency)})
	}
}
