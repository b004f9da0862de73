package chains

import "drywire/dsp"

// Tail is for how long the chain sounds on after the recording has ended, until 60 dB down: the sum of its stages' tails. A Renderer's Tail
// is the same; this one needs no operating point.
func (p *Plan) Tail() dsp.Second {
	var tail dsp.Second
	moved, _ := p.motion() // where it fails, so does the render
	for _, s := range p.Stages {
		if m := moved.stages[s.Name]; m != nil {
			tail += m.tail()
			continue
		}
		tail += s.Shape().Tail()
	}
	return tail
}
