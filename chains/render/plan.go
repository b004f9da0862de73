package render

import (
	"sync"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/motion"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/section"
)

// motion computes the frames, once. It wires the chain for every setting that a frame has.
func (p *Plan) motion() (*motion.Motion, error) {
	p.once.Do(func() {
		if len(p.Chain.Turns) > 0 {
			p.moved, p.fault = motion.Find(p.Wiring)
		}
		if p.moved == nil {
			p.moved = &motion.Motion{}
		}
	})
	return p.moved, p.fault
}

// solver runs a section, whether its controls move or not.
type solver interface {
	dsp.Processor
	Linear() bool
	Report() transient.Report
}

// solver prepares a section for an input whose first sample is that of the recording.
func (w *Plan) solver(n *circuit.Netlist, sample int64, probes ...string) (s solver, factor int, err error) {
	m, err := w.motion()
	if err != nil {
		return nil, 0, err
	}
	if moving := m.Sections[n]; moving != nil {
		s, err := section.NewMoving(moving.Circuits, moving.Frames, sample, w.Rate, w.Quality, probes...)
		if err != nil {
			return nil, 0, err
		}
		return s, s.Factor, nil
	}
	fixed, err := section.New(n, w.Rate, w.Quality, probes...)
	if err != nil {
		return nil, 0, err
	}
	return fixed, fixed.Factor, nil
}

// core makes what a stage does to an input whose first sample is that of the recording.
func (w *Plan) core(s blocks.Stage, sample int64) (blocks.Core, error) {
	m, err := w.motion()
	if err != nil {
		return nil, err
	}
	if moving := m.Stages[s.Name]; moving != nil {
		return moving.Core(sample), nil
	}
	return s.New(), nil
}

// Plan is a wiring with what moves in it, which is computed once, when it is first asked for. It
// may be shared as a wiring may.
type Plan struct {
	*wiring.Wiring
	once  sync.Once
	moved *motion.Motion
	fault error

	onceRows sync.Once
	inRows   *rows

	changed []*Plan // those of Chain.Changes, which a Renderer plays
}

// NewPlan is the plan of a render of this wiring, as it is at 0 s where the chain has Changes.
func NewPlan(w *wiring.Wiring) *Plan { return &Plan{Wiring: w} }

// PlanOf wires the chain for recordings of the given rate.
func PlanOf(c *board.Chain, rate dsp.Hertz, q section.Quality) *Plan {
	p := NewPlan(wiring.Of(c, rate, q))
	for _, change := range c.Changes {
		p.changed = append(p.changed, NewPlan(wiring.Of(change.Chain, rate, q)))
	}
	return p
}
