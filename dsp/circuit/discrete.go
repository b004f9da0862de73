package circuit

import (
	"errors"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit/internal/dense"
)

// ErrSingular is returned where the circuit has no unique solution: a loop of voltage sources, a
// node that nothing touches.
var ErrSingular = errors.New("circuit: singular: a loop of voltage sources, or a node that nothing holds")

// Discrete is one trapezoidal step of the circuit, reduced to the histories s of its companion
// models (2C/h·v + i of a capacitor, 2L/h·i + v of an inductor): with inputs and port currents, in
// this order, in w,
//
//	s' = A·s + W·w,   port voltages = PS·s + PW·w,   probes = YS·s + YW·w
//
// all of it counted from the operating point.
type Discrete struct {
	A, W   dense.Matrix[float64]
	PS, PW dense.Matrix[float64]
	YS, YW dense.Matrix[float64]
	Weight []float64 // of each history: 2C/h or 2L/h
}

// Discrete eliminates the node voltages and branch currents for a step of h seconds. Probes name
// the nodes that are read. It returns ErrSingular, or an error that names a node which is not
// there.
func (p *OperatingPoint) Discrete(h float64, probes []string) (*Discrete, error) {
	s := p.sys
	ns, m, ni := s.states, len(s.ports), len(s.inputs)
	states := make([]reactance, ns)
	for _, r := range s.reactances {
		if k := r.state; k >= 0 {
			r.value += states[k].value
			// capacitors between the same two nodes are one, as the first has them
			if states[k].value > 0 {
				r.a, r.b = states[k].a, states[k].b
			}
			states[k] = r
		}
	}
	g := s.g.Clone()
	for k := range s.net.nodes {
		g.Add(k, k, Shunt)
	}
	weight := make([]float64, ns) // 2C/h or 2L/h
	for k, r := range states {
		weight[k] = 2 * r.value / h
		if r.row == ground {
			stampConductance(g, r.a, r.b, weight[k])
		} else {
			g.Add(r.row, r.row, -weight[k])
		}
	}
	f, ok := dense.Factor(g)
	if !ok {
		return nil, ErrSingular
	}
	// Right-hand sides: a unit of every state, every input, every port current.
	rhs := dense.New[float64](s.size, ns+ni+m)
	for k, r := range states {
		if r.row == ground { // the history current flows into a, out of b
			addAt(rhs, r.a, k, 1)
			addAt(rhs, r.b, k, -1)
		} else { // v - (2L/h)·i = -history
			addAt(rhs, r.row, k, -1)
		}
	}
	for k, r := range s.inputs {
		addAt(rhs, r, ns+k, 1)
	}
	for k, pt := range s.ports {
		addAt(rhs, pt.a, ns+ni+k, -1)
		addAt(rhs, pt.b, ns+ni+k, 1)
	}
	x := f.SolveMatrix(rhs)
	diff := func(dst []float64, p, q int) {
		for c := range dst {
			if p != ground {
				dst[c] += x.At(p, c)
			}
			if q != ground {
				dst[c] -= x.At(q, c)
			}
		}
	}
	// rows reads off two matrices: what the states give, and what inputs and currents give.
	rows := func(count int, fill func(r int, dst []float64)) (bs, bw dense.Matrix[float64]) {
		bs, bw = dense.New[float64](count, ns), dense.New[float64](count, ni+m)
		all := make([]float64, ns+ni+m)
		for r := 0; r < count; r++ {
			clear(all)
			fill(r, all)
			copy(bs.Row(r), all[:ns])
			copy(bw.Row(r), all[ns:])
		}
		return bs, bw
	}
	// New history: capacitor 2·(2C/h)·v - s, inductor 2·(2L/h)·i - s.
	a, bw := rows(ns, func(r int, dst []float64) {
		if states[r].row == ground {
			diff(dst, states[r].a, states[r].b)
		} else {
			diff(dst, states[r].row, ground)
		}
		for c := range dst {
			dst[c] *= 2 * weight[r]
		}
		dst[r]--
	})
	ps, pw := rows(m, func(r int, dst []float64) { diff(dst, s.ports[r].p, s.ports[r].m) })
	nodes := make([]int, len(probes))
	for k, name := range probes {
		i, err := s.nodeIndex(name)
		if err != nil {
			return nil, err
		}
		nodes[k] = i
	}
	ys, yw := rows(len(probes), func(r int, dst []float64) { diff(dst, nodes[r], ground) })
	for _, v := range x.V {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w (step %v s)", ErrSingular, h)
		}
	}
	return &Discrete{a, bw, ps, pw, ys, yw, weight}, nil
}

// Stepper runs a circuit, a step at a time. While a control of a real circuit is turned, it keeps
// the voltages of its capacitors and the currents of its inductors; Adopt and Join transfer these
// from one circuit to another of the same elements with other values.
type Stepper interface {
	dsp.Processor
	// Step takes a voltage of every driven source and gives one of every probe, later by Latency.
	Step(out, in []float64)
	// Alike reports whether this one can take over the other's state: the same elements, step and
	// number of probes.
	Alike(other Stepper) bool
	// Adopt copies all of another one, which is Alike: its state, its inputs and the predictor of
	// its solver.
	Adopt(from Stepper)
	// Join gives two that have run side by side one state: what lies between theirs, a share w of
	// the way to the other's. Where the values of a circuit move, the rate of change of its state
	// is between those of the two, and so, over a short time, is the state.
	Join(other Stepper, w float64)
}

// State is the histories of a circuit at work, as deviations from the operating point, and what
// carries them over to other values of the same elements.
type State struct {
	Histories    []float64
	rest, weight []float64 // the histories at the operating point; 2C/h or 2L/h
}

// State is that of a step of h seconds, at rest.
func (p *OperatingPoint) State(h float64) *State {
	n := p.sys.states
	s := &State{make([]float64, n), make([]float64, n), make([]float64, n)}
	for _, r := range p.sys.reactances {
		w, k := 2*r.value/h, r.state
		switch {
		case k < 0:
		case r.row != ground:
			s.rest[k], s.weight[k] = w*p.x[r.row], w
		case s.weight[k] > 0:
			s.rest[k] += w * s.rest[k] / s.weight[k]
			s.weight[k] += w
		default:
			s.rest[k], s.weight[k] = w*across(p.x, r.a, r.b), w
		}
	}
	return s
}

// Adopt sets the histories to those that the voltages and currents of another circuit give here.
func (s *State) Adopt(from *State) {
	for k, g := range from.Histories {
		s.Histories[k] = (g+from.rest[k])*(s.weight[k]/from.weight[k]) - s.rest[k]
	}
}

// Join sets the histories of both to what lies a share w of the way from these voltages and
// currents to the other's.
func (s *State) Join(o *State, w float64) {
	for k := range s.Histories {
		x, y := (s.Histories[k]+s.rest[k])/s.weight[k], (o.Histories[k]+o.rest[k])/o.weight[k]
		x += w * (y - x)
		s.Histories[k], o.Histories[k] = x*s.weight[k]-s.rest[k], x*o.weight[k]-o.rest[k]
	}
}
