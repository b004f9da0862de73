package noise

import (
	"math"
	"slices"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/wiring"
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

// rippling is a block of the chain and the ripple on what it is plugged into; nil where there is
// none.
func rippling(c *board.Chain, owner string) (*board.Placed, dsp.Volt) {
	for _, p := range c.Every() {
		if ripple := board.RippleOf(c.Supplies, p.Powered); p.Name == owner && ripple > 0 {
			return &p, ripple
		}
	}
	return nil, 0
}

// rippleIn adds the ripple of every supply that a block has in this section. transfer is the power
// gain from a source to the jack at a frequency.
func (n *noiseWalk) rippleIn(part *circuit.Netlist, transfer func(input string, f float64) float64) {
	for _, source := range part.Supplies() {
		if p, ripple := rippling(n.w.Chain, source.Owner); p != nil {
			n.addRipple(p, ripple, func(f float64) float64 { return transfer(source.Name, f) })
		}
	}
}

// rippleOf adds the ripple that comes in at a stage. gain is the power gain from its outputs to the
// jack.
func (n *noiseWalk) rippleOf(stage blocks.Stage, gain func(f float64) float64) {
	if p, volts := rippleAtStage(n.w.Wiring, stage); p != nil {
		rejected := math.Pow(10, -p.Kind.Rejection/10)
		n.addRipple(p, volts, func(f float64) float64 { return rejected * gain(f) })
	}
}

// rippleAtStage is the block whose ripple comes in at the output of this stage, and how much, RMS,
// is on its supply: it is the block's last, and its circuit has no supply. nil where there is none.
func rippleAtStage(w *wiring.Wiring, stage blocks.Stage) (*board.Placed, dsp.Volt) {
	p, volts := rippling(w.Chain, stage.Owner)
	own := func(e circuit.Part) bool { return e.Owner == stage.Owner }
	if p == nil || slices.ContainsFunc(w.Circuit.Supplies(), own) {
		return nil, 0
	}
	last := ""
	for _, other := range w.Stages {
		if other.Owner == p.Name {
			last = other.Name
		}
	}
	if stage.Name != last {
		return nil, 0
	}
	return p, volts
}

// addRipple adds the ripple of a supply to the shares of a block, given the power gain from there
// to the jack.
func (n *noiseWalk) addRipple(p *board.Placed, ripple dsp.Volt, gain func(f float64) float64) {
	share := n.share(p.Name, p.Name+".supply", "ripple")
	for _, l := range rippleLines(ripple) {
		share.Lines = append(share.Lines, Line{l.Frequency, l.Power * gain(l.Frequency)})
	}
}
