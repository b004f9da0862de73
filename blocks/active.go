package blocks

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/oversample"
)

// What active blocks share: a high input impedance, a stage, and a low output impedance. Common
// practice, no source, where nothing else is said.
const (
	inputResistance  dsp.Ohm = 1e6
	outputResistance dsp.Ohm = 100
	opAmpNoise               = 8e-9    // V/√Hz at the input: from memory, a common audio op-amp
	opAmpCurrent             = 0.4e-12 // A/√Hz at either input: from memory, one with bipolar inputs; those at a jack have field-effect transistors, and none
	railLoss                 = 1.5     // V that an op-amp's output stays away from either rail
)

// swing is how far, in volts peak, a stage goes to either side of its bias at half the supply.
func swing(supply float64) float64 { return supply/2 - railLoss }

// highInput is the input of an active block: 1 MΩ to ground.
func (b *Bench) highInput() { b.R("rin", "in", circuit.Ground, inputResistance) }

// output adds a stage from the block's input, with 100 Ω between its ideal source and the output
// jack.
func (b *Bench) output(s Stage) { b.outputThrough(s, outputResistance) }

func (b *Bench) outputThrough(s Stage, r dsp.Ohm) {
	s.Sense, s.Drive = []string{"in"}, []string{s.Name}
	b.R("rout", s.Name, "out", r)
	b.Stage(s)
}

// Follower is a stage's core without memory: a gain between two rails. It can be written into a
// deck.
type Follower struct {
	Gain   float64
	Lo, Hi dsp.Volt
	clip   *oversample.Clip
}

func (b *Bench) follower(gain, supply float64) *Follower {
	top := swing(supply)
	return &Follower{Gain: gain, Lo: dsp.Volt(-top), Hi: dsp.Volt(top), clip: b.rails(supply)}
}

// Process implements Core.
func (f *Follower) Process(out, in [][]float64) {
	dst, src := out[0], in[0]
	if f.Gain == 1 {
		f.clip.Process(dst, src)
		return
	}
	for k, x := range src {
		dst[k] = f.Gain * x
	}
	f.clip.Process(dst, dst)
}

// Latency implements Core.
func (f *Follower) Latency() int { return f.clip.Latency() }

// Tail implements Core.
func (f *Follower) Tail() dsp.Second { return 0 }

// Reset implements Core.
func (f *Follower) Reset() { f.clip.Reset() }
