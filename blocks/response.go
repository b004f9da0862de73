package blocks

import "drywire/dsp"

// Responder is a core that knows its own transfer: for signals small enough to be left alone by its limits, about rest, with its
// Latency taken back. The conformance kit holds it against what the core does.
type Responder interface {
	Response(f dsp.Hertz) complex128
}

// Response implements Responder.
func (f *Follower) Response(dsp.Hertz) complex128 { return complex(f.Gain, 0) }
