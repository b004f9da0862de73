package wiring

import (
	"fmt"
	"slices"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Response is the small-signal transfer from the recording's source to a node, by AC analysis
// through the sections and the stated responses of the stages between them. It is an error where a
// stage on the way states none (a delay line, a reverb).
func (w *Wiring) Response(node string, f dsp.Hertz) (complex128, error) {
	return NewResponder(w).At(node, f)
}

// Responder computes responses, with the operating point of each section found once.
type Responder struct {
	w  *Wiring
	ac map[*circuit.Netlist]*circuit.AC
	// whether a stage that states no response may stand for the source; nil: none may
	Begin func(owner string) bool
}

// NewResponder is a Responder of a wiring, for one goroutine.
func NewResponder(w *Wiring) *Responder {
	return &Responder{w: w, ac: map[*circuit.Netlist]*circuit.AC{}}
}

// At is the transfer from the recording's source to a node. The error is of a node that is not
// there, or of a section or stage without a response.
func (r *Responder) At(node string, f dsp.Hertz) (complex128, error) {
	n := r.w.Section(node)
	if n == nil {
		return 0, fmt.Errorf("no node %q", node)
	}
	ac := r.ac[n]
	if ac == nil {
		var err error
		if ac, err = n.AC(); err != nil {
			return 0, err
		}
		r.ac[n] = ac
	}
	var sum complex128
	for _, input := range n.Inputs() {
		h := ac.Transfer(input, f, node)[0]
		if h == 0 { // another part of the section, which does not reach the node
			continue
		}
		if input != Source {
			before, err := r.stage(input, f)
			if err != nil {
				return 0, err
			}
			h *= before
		}
		sum += h
	}
	return sum, nil
}

// stage is the transfer from the recording's source to a node that a stage drives.
func (r *Responder) stage(drive string, f dsp.Hertz) (complex128, error) {
	for _, s := range r.w.Stages {
		if r.Begin != nil && len(s.Drive) > 1 && slices.Contains(s.Drive, drive) && r.Begin(s.Owner) {
			return 1, nil // what the outputs of a block in stereo have in common
		}
		if len(s.Drive) != 1 || s.Drive[0] != drive {
			continue
		}
		if _, ok := s.Shape().(averaging); ok {
			var sum complex128
			for _, node := range s.Sense {
				h, err := r.At(node, f)
				if err != nil {
					return 0, err
				}
				sum += h / complex(float64(len(s.Sense)), 0)
			}
			return sum, nil
		}
		core, ok := s.Shape().(blocks.Responder)
		if !ok && r.Begin != nil && r.Begin(s.Owner) {
			return 1, nil
		}
		if !ok {
			return 0, fmt.Errorf("%s states no response", s.Name)
		}
		if len(s.Sense) != 1 {
			break
		}
		before, err := r.At(s.Sense[0], f)
		return before * core.Response(f), err
	}
	return 0, fmt.Errorf("nothing with one input and one output drives %q", drive)
}
