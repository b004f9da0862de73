package circuit

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// Taper is how a potentiometer's track follows its dial.
type Taper int

// The tapers of potentiometers.
const (
	Linear  Taper = iota
	Audio         // 15 % of the track at half the dial: common practice, no source
	Reverse       // the audio taper turned round
)

// audioRise makes the exponential taper (k^x-1)/(k-1) pass 15 % at x = 1/2: k = (1/0.15-1)².
const audioRise = (1/0.15 - 1) * (1/0.15 - 1)

// Wiper is the share of the track, 0 to 1, below the wiper for a dial position of 0 to 1.
func (t Taper) Wiper(dial float64) float64 {
	switch t {
	case Audio:
		return min(1, (math.Pow(audioRise, dial)-1)/(audioRise-1))
	case Reverse:
		return 1 - Audio.Wiper(1-dial)
	}
	return dial
}

// endResistance is what is left between a wiper and the end of its track, in ohms: common practice,
// no source.
const endResistance = 1

// Pot is a potentiometer: a track of r from top to bottom with a wiper at position (0 at the
// bottom, 1 at the top of the track, after its taper). An ohm is left at either end; top and bottom
// add up to r.
func (n *Netlist) Pot(name, top, wiper, bottom string, r dsp.Ohm, position float64) {
	share(name, position)
	upper := min(max(endResistance, float64(r)*(1-position)), float64(r)-endResistance)
	n.R(name+".top", top, wiper, dsp.Ohm(upper))
	n.R(name+".bottom", wiper, bottom, r-dsp.Ohm(upper))
}

// Rheostat is a variable resistor between a and b: r times position, 0 to 1, and an ohm at least.
func (n *Netlist) Rheostat(name, a, b string, r dsp.Ohm, position float64) {
	share(name, position)
	n.R(name, a, b, dsp.Ohm(math.Max(endResistance, float64(r)*position)))
}

func share(name string, position float64) {
	if !(position >= 0 && position <= 1) {
		panic(fmt.Sprintf("circuit: %s at %v; want 0 to 1", name, position))
	}
}
