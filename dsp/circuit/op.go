package circuit

import (
	"errors"
	"fmt"
	"math"
)

// OperatingPoint is the circuit at rest: all driven sources at 0 V, capacitors open, inductors shorted.
type OperatingPoint struct {
	Method     string  // "newton", "gmin stepping" or "source stepping": what it took
	Iterations int     // of Newton's method, over all steps
	Residual   float64 // the last Newton step, in volts

	sys  *system
	dev  devices
	x    []float64 // node voltages and branch currents
	v, i []float64 // port voltages and currents
	own  []float64 // derivatives at the point, see devices.eval
	oth  []float64
}

// ErrNoOperatingPoint is returned where no method finds one.
var ErrNoOperatingPoint = errors.New("circuit: no operating point found")

// V is the voltage of a node to ground.
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

// Operating finds the operating point: Newton's method with limited steps, then with a conductance at every node
// that is stepped away, then with sources stepped up from zero.
func (n *Netlist) Operating() (*OperatingPoint, error) {
	s := n.system()
	p := &OperatingPoint{sys: s, dev: n.devices()}
	m := p.dev.count
	p.v, p.i = make([]float64, m), make([]float64, m)
	p.own, p.oth = make([]float64, m), make([]float64, m)

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
				if !p.newton(1, g, p.v) {
					return false
				}
			}
			return p.newton(1, 0, p.v)
		}},
		{"source stepping", func() bool {
			at, step := 0.0, 0.1
			last := make([]float64, m)
			for at < 1 {
				copy(last, p.v)
				to := min(1, at+step)
				if p.newton(to, 0, p.v) {
					at, step = to, step*2
				} else if step /= 4; step < 1e-6 {
					return false
				} else {
					copy(p.v, last)
				}
			}
			return true
		}},
	}
	for _, st := range steppers {
		clear(p.v)
		if st.walk() {
			p.Method = st.name
			return p, nil
		}
	}
	return nil, fmt.Errorf("%w (%d nodes, %d non-linear ports)", ErrNoOperatingPoint, len(n.nodes), m)
}

// shunt keeps a node that only capacitors touch from making the matrix singular: 1 pS to ground.
const shunt = 1e-12

// newton iterates from the port voltages start (nil: from rest) with the fixed sources scaled and an extra
// conductance g from every node to ground.
func (p *OperatingPoint) newton(scale, g float64, start []float64) bool {
	s, m := p.sys, p.dev.count
	v, i := make([]float64, m), make([]float64, m)
	copy(v, start)
	next := make([]float64, m)
	rhs := make([]float64, s.size)
	for it := 0; it < 200; it++ {
		p.Iterations++
		p.dev.eval(v, i, p.own, p.oth)
		a := s.g.clone()
		for k := range s.net.nodes {
			a.add(k, k, shunt+g)
		}
		for k := range rhs {
			rhs[k] = scale * s.b[k]
		}
		p.dev.stamp(s, a, p.own, p.oth)
		for k, pt := range s.ports {
			// The linearised device: i(v) + D·(new-v).
			c := i[k] - p.own[k]*v[k]
			if j := p.dev.partner(k); j >= 0 {
				c -= p.oth[k] * v[j]
			}
			inject(rhs, pt.a, pt.b, c)
		}
		f, ok := factor(a)
		if !ok {
			return false
		}
		x := f.solve(rhs)
		worst := 0.0
		for k, pt := range s.ports {
			next[k] = across(x, pt.p, pt.m)
		}
		limited := p.dev.limit(next, v)
		for k := range next {
			worst = max(worst, math.Abs(next[k]-v[k]))
			v[k] = next[k]
		}
		if math.IsNaN(worst) {
			return false
		}
		if !limited && worst < 1e-12*(1+maxAbs(v)) || m == 0 {
			p.Residual = worst
			p.x = x
			copy(p.v, v)
			p.dev.eval(p.v, p.i, p.own, p.oth)
			return true
		}
	}
	return false
}

func maxAbs(v []float64) float64 {
	m := 0.0
	for _, x := range v {
		m = max(m, math.Abs(x))
	}
	return m
}

// partner is the other port of a transistor's port, or -1.
func (d *devices) partner(k int) int {
	if k >= d.firstD {
		return -1
	}
	return k ^ 1
}

// stamp adds the devices' small-signal conductances.
func (d *devices) stamp(s *system, a matrix[float64], own, other []float64) {
	for k, pt := range s.ports {
		stampTransfer(a, pt, s.ports[k], own[k])
		if j := d.partner(k); j >= 0 {
			stampTransfer(a, pt, s.ports[j], other[k])
		}
	}
}

// stampTransfer adds a current of g times the control voltage of c through the port p.
func stampTransfer[T scalar](a matrix[T], p, c port, g T) {
	addAt(a, p.a, c.p, g)
	addAt(a, p.a, c.m, -g)
	addAt(a, p.b, c.p, -g)
	addAt(a, p.b, c.m, g)
}
