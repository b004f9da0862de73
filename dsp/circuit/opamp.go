package circuit

import (
	"math"

	"drywire/dsp"
)

// OpAmp is an operational amplifier with one pole, slew rate and rails.
type OpAmp struct {
	Gain   float64   // open loop at DC
	GBW    dsp.Hertz // gain-bandwidth product
	Slew   float64   // V/s; 0: as fast as its bandwidth allows
	Rin    dsp.Ohm   // differential
	Rout   dsp.Ohm
	Lo, Hi dsp.Volt // how far the output swings, to ground; both 0: as far as it likes
	Noise  float64  // input noise voltage, V/√Hz
	// Current is the noise current of each input, in A/√Hz.
	Current float64
}

// OpAmp is an op-amp with inputs plus and minus: a transconductance into one pole, clamped at the
// rails, and a unity buffer with an output resistance. It panics where Gain, GBW, Rin or Rout is
// not over 0, or the upper rail is not above the lower.
func (n *Netlist) OpAmp(name, plus, minus, out string, a OpAmp) {
	positive(name, a.Gain)
	positive(name, a.GBW)
	positive(name, a.Rin)
	positive(name, a.Rout)
	rails := a.Lo != 0 || a.Hi != 0
	if rails && !(a.Hi > a.Lo) {
		panic("circuit: " + name + ": the upper rail is not above the lower")
	}
	const c = 1e-9 // F: sets the scale of the inner node, nothing else
	gm := 2 * math.Pi * float64(a.GBW) * c
	pole, buffered := name+".pole", name+".buffered"
	in := plus
	if a.Noise > 0 {
		in = name + ".noisy"
		n.NoiseE(name+".en", plus, in, a.Noise)
	}
	if a.Current > 0 {
		n.NoiseI(name+".ip", plus, Ground, a.Current, 0)
		n.NoiseI(name+".im", minus, Ground, a.Current, 0)
	}
	n.ColdR(name+".rin", in, minus, a.Rin)
	n.ColdR(name+".rp", pole, Ground, dsp.Ohm(a.Gain/gm))
	n.C(name+".cp", pole, Ground, c)
	if a.Slew > 0 {
		n.Limiter(name+".gm", Ground, pole, in, minus, gm, a.Slew*c)
	} else {
		n.G(name+".gm", Ground, pole, in, minus, gm)
	}
	if rails {
		n.Clamp(name+".clamp", pole, Ground, a.Lo, a.Hi)
	}
	n.E(name+".e", buffered, Ground, pole, Ground, 1)
	n.ColdR(name+".rout", buffered, out, a.Rout)
}
