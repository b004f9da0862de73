package chains

import "drywire/dsp"

// Tail is for how long the chain sounds on after the recording has ended, until 60 dB down: the sum of its stages' tails. A Renderer's Tail
// is the same; this one needs no operating point.
func (w *Wiring) Tail() dsp.Second {
	var tail dsp.Second
	for _, s := range w.Stages {
		tail += s.Core.Tail()
	}
	return tail
}
