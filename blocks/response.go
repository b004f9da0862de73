package blocks

import "drywire/dsp"

// Responder is a core that knows its own transfer: for signals small enough to be left alone by its
// limits, about rest, with its Latency taken back. The conformance kit holds it against what the
// core does.
type Responder interface {
	Response(f dsp.Hertz) complex128
}

// Finite is a core that is nothing but an impulse response, of so many samples of which the first
// lead come before its Latency is taken back. All of its Response at once is one transform of it.
type Finite interface {
	Impulse() (h []float64, lead int)
}

// Response implements Responder.
func (f *Follower) Response(dsp.Hertz) complex128 { return complex(f.Gain, 0) }

// Detecting is a core whose Response is another one where a detector in it, or a threshold, meets
// more than so much noise.
type Detecting interface {
	// Quiet is the RMS of noise at its input, in V, up to which the core is as at rest.
	Quiet() dsp.Volt
}

// noisePeak is the highest peak of a Gaussian noise against its RMS that is met within minutes: 5.5
// is passed by one sample in 26 million (the error function), and 6 by one in 500 million.
const noisePeak = 6
