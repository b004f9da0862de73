package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/oversample"
)

// Raiser is a core with one input and one output that can run at a multiple of the recording's
// rate, at which a signal comes and goes on: so what a non-linear section before it makes above
// half the recording's rate is there for one behind it.
type Raiser interface {
	Core
	// Raise makes the core at factor times the rate, at rest: one signal in, one out. Its latency is
	// in samples of that rate.
	Raise(rate dsp.Hertz, factor int) dsp.Processor
	// NonLinear reports whether it is non-linear at any level, or raises levels to a limit: where there
	// is none of that on either side of a core that does not, it may as well run at the recording's
	// rate.
	NonLinear() bool
}

// Raise implements Raiser.
func (f *Follower) Raise(dsp.Hertz, int) dsp.Processor {
	return &limiting{oversample.NewLimit(f.Gain, float64(f.Lo), float64(f.Hi))}
}

// NonLinear implements Raiser.
func (f *Follower) NonLinear() bool { return math.Abs(f.Gain) > 1 }

// limiting is a limiter with one signal in and one out.
type limiting struct{ *oversample.Limit }

func (l *limiting) Process(out, in [][]float64) { l.Limit.Process(out[0], in[0]) }
