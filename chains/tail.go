package chains

import "drywire/dsp"

// Tail is for how long the chain sounds on after the recording has ended, until 60 dB down: the sum of its stages' tails. A Renderer's Tail
// is the same; this one needs no operating point.
func (w *Wiring) Tail() dsp.Second {
	var tail dsp.Second
	moved, _ := w.motion() // where it fails, so does the render
	for _, s := range w.Stages {
		if m := moved.stages[s.Name]; m != nil {
			tail += m.core.Tail()
			continue
		}
		tail += s.Core.Tail()
	}
	return tail
}
