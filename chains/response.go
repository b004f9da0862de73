package chains

import (
	"fmt"

	"drywire/blocks"
	"drywire/dsp"
)

// Response is the small-signal transfer from the recording's source to a node, by AC analysis through the sections and the stated responses of
// the stages between them. It is an error where a stage on the way states none (a delay line, a reverb).
func (w *Wiring) Response(node string, f dsp.Hertz) (complex128, error) {
	n := w.Section(node)
	if n == nil {
		return 0, fmt.Errorf("no node %q", node)
	}
	ac, err := n.AC()
	if err != nil {
		return 0, err
	}
	var sum complex128
	for _, input := range n.Inputs() {
		h := ac.Transfer(input, f, node)[0]
		if input != source {
			before, err := w.stageResponse(input, f)
			if err != nil {
				return 0, err
			}
			h *= before
		}
		sum += h
	}
	return sum, nil
}

// stageResponse is the transfer from the recording's source to a node that a stage drives.
func (w *Wiring) stageResponse(drive string, f dsp.Hertz) (complex128, error) {
	for _, s := range w.Stages {
		if len(s.Drive) != 1 || len(s.Sense) != 1 || s.Drive[0] != drive {
			continue
		}
		core, ok := s.Core.(blocks.Responder)
		if !ok {
			return 0, fmt.Errorf("%s states no response", s.Name)
		}
		before, err := w.Response(s.Sense[0], f)
		return before * core.Response(f), err
	}
	return 0, fmt.Errorf("nothing with one input and one output drives %q", drive)
}
