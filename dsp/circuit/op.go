package circuit

import (
	"errors"
	"fmt"
	"math"

	"drywire/dsp/circuit/internal/dense"
)

// OperatingPoint is the circuit at rest: all driven sources at 0 V, capacitors open, inductors
// shorted.
type OperatingPoint struct {
	Method     string  // "newton", "gmin stepping" or "source stepping": what it took
	Iterations int     // of Newton's method, over all steps
	Residual   float64 // the last Newton step, in volts

	sys   *system
	x     []float64 // node voltages and branch currents
	ports Ports
}

// ErrNoOperatingPoint is returned where no method finds one.
var ErrNoOperatingPoint = errors.New("circuit: no operating point found")

// Devices is the non-linear part of the circuit.
func (p *OperatingPoint) Devices() *Devices { return &p.sys.devices }

// PortVoltages is the voltages that control the non-linear elements, in the order of their ports;
// not a copy.
func (p *OperatingPoint) PortVoltages() []float64 { return p.ports.V }

// V is the voltage of a node to ground. It panics where there is no such node.
func (p *OperatingPoint) V(node string) float64 {
	i, err := p.sys.nodeIndex(node)
	if err != nil {
		panic(err)
	}
	if i == ground {
		return 0
	}
	return p.x[i]
}

// Operating finds the operating point: Newton's method with limited steps, then with a conductance
// at every node that is stepped away, then with sources stepped up from zero. It returns
// ErrNoOperatingPoint where none of these arrives.
func (n *Netlist) Operating() (*OperatingPoint, error) {
	s := n.system()
	p := &OperatingPoint{sys: s}
	m := s.devices.Count
	p.ports = NewPorts(m)

	if p.newton(1, 0, nil) {
		p.Method = "newton"
		return p, nil
	}
	steppers := []struct {
		name string
		walk func() bool
	}{
		{"gmin stepping", func() bool {
			for g := 1e-1; g > gmin; g /= 10 {
				if !p.newton(1, g, p.ports.V) {
					return false
				}
			}
			return p.newton(1, 0, p.ports.V)
		}},
		{"source stepping", func() bool {
			at, step := 0.0, 0.1
			last := make([]float64, m)
			for at < 1 {
				copy(last, p.ports.V)
				to := min(1, at+step)
				if p.newton(to, 0, p.ports.V) {
					at, step = to, step*2
				} else if step /= 4; step < 1e-6 {
					return false
				} else {
					copy(p.ports.V, last)
				}
			}
			return true
		}},
	}
	for _, st := range steppers {
		clear(p.ports.V)
		if st.walk() {
			p.Method = st.name
			return p, nil
		}
	}
	return nil, fmt.Errorf("%w (%d nodes, %d non-linear ports)", ErrNoOperatingPoint, len(n.nodes), m)
}

// Shunt is the conductance from every node to ground, in siemens. It keeps a node that only
// capacitors touch from making the matrix singular.
const Shunt = 1e-12

// newton iterates from the port voltages start (nil: from rest) with the fixed sources scaled and
// an extra conductance g from every node to ground.
func (p *OperatingPoint) newton(scale, g float64, start []float64) bool {
	s, m := p.sys, p.sys.devices.Count
	at := NewPorts(m)
	v := at.V
	copy(v, start)
	next := make([]float64, m)
	rhs := make([]float64, s.size)
	for it := 0; it < 200; it++ {
		p.Iterations++
		s.devices.Eval(&at)
		a := s.g.Clone()
		for k := range s.net.nodes {
			a.Add(k, k, Shunt+g)
		}
		for k := range rhs {
			rhs[k] = scale * s.b[k]
		}
		s.stampDevices(a, &at)
		for k, pt := range s.ports {
			// The linearised device: i(v) + D·(new-v).
			c := at.I[k] - at.Own[k]*v[k]
			if j := s.devices.partner(k); j >= 0 {
				c -= at.Oth[k] * v[j]
			}
			inject(rhs, pt.a, pt.b, c)
		}
		f, ok := dense.Factor(a)
		if !ok {
			return false
		}
		x := f.Solve(rhs)
		worst := 0.0
		for k, pt := range s.ports {
			next[k] = across(x, pt.p, pt.m)
		}
		limited := s.devices.Limit(next, v)
		for k := range next {
			worst = max(worst, math.Abs(next[k]-v[k]))
			v[k] = next[k]
		}
		if math.IsNaN(worst) {
			return false
		}
		if !limited && worst < 1e-12*(1+dense.MaxAbs(v)) || m == 0 {
			p.Residual = worst
			p.x = x
			p.ports = at
			s.devices.Eval(&p.ports)
			return true
		}
	}
	return false
}
