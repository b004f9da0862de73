package circuit

import (
	"fmt"
	"math"
	"math/cmplx"

	"drywire/dsp"
)

// AC is the circuit's small-signal behaviour about its operating point.
type AC struct {
	Point *OperatingPoint
	sys   *system
	g     matrix[float64] // conductances, with those of the devices
}

// AC finds the operating point and linearises about it.
func (n *Netlist) AC() (*AC, error) {
	p, err := n.Operating()
	if err != nil {
		return nil, err
	}
	return p.AC(), nil
}

// AC linearises the circuit about the point.
func (p *OperatingPoint) AC() *AC {
	g := p.sys.g.clone()
	p.dev.stamp(p.sys, g, p.own, p.oth)
	return &AC{p, p.sys, g}
}

// matrix is G + jωC about the operating point.
func (a *AC) matrix(f dsp.Hertz) matrix[complex128] {
	n := a.sys.net
	w := 2 * math.Pi * float64(f)
	m := newMatrix[complex128](a.sys.size, a.sys.size)
	for k, x := range a.g.v {
		m.v[k] = complex(x, 0)
	}
	for k := range n.nodes {
		m.add(k, k, shunt)
	}
	for _, c := range n.capacitors {
		stampConductance(m, c.a, c.b, complex(0, w*c.c))
	}
	for i, l := range n.inductors {
		r := a.sys.inductorRow[i]
		m.add(r, r, complex(0, -w*l.l))
	}
	return m
}

func (a *AC) factor(m matrix[complex128], f dsp.Hertz) lu[complex128] {
	fac, ok := factor(m)
	if !ok {
		panic(fmt.Sprintf("circuit: singular at %v Hz", f))
	}
	return fac
}

// Transfer is the voltages of nodes for one volt at the driven source of that name, the others at rest.
func (a *AC) Transfer(input string, f dsp.Hertz, nodes ...string) []complex128 {
	rhs := make([]complex128, a.sys.size)
	found := false
	for i, s := range a.sys.net.sources {
		if s.name == input {
			rhs[a.sys.sourceRow[i]], found = 1, true
		}
	}
	if !found {
		panic(fmt.Sprintf("circuit: no source %q", input))
	}
	return a.read(a.factor(a.matrix(f), f).solve(rhs), nodes)
}

func (a *AC) read(x []complex128, nodes []string) []complex128 {
	out := make([]complex128, len(nodes))
	for k, name := range nodes {
		i, err := a.sys.nodeIndex(name)
		if err != nil {
			panic(err)
		}
		if i != ground {
			out[k] = x[i]
		}
	}
	return out
}

// Impedance is what is seen from a node to ground, in ohms, with all sources at rest.
func (a *AC) Impedance(node string, f dsp.Hertz) complex128 {
	i, err := a.sys.nodeIndex(node)
	if err != nil {
		panic(err)
	}
	rhs := make([]complex128, a.sys.size)
	rhs[i] = 1
	return a.factor(a.matrix(f), f).solve(rhs)[i]
}

// Noise is one source's share of the noise at a node.
type Noise struct {
	Element string  // name of the element that makes it
	Cause   string  // "thermal", "shot" or "input" (an amplifier's own)
	Density float64 // V²/Hz at the node
}

// Noise is the noise at a node, split by source, at one frequency: thermal noise 4kT/R of every resistor,
// shot noise 2qI of every junction current, and the input noise of amplifiers. Each is carried to the node by the
// transposed (adjoint) circuit, so one factoring serves all. Source: IEEE JSSC 6(4) 204-208, 1971.
func (a *AC) Noise(node string, f dsp.Hertz) []Noise {
	return a.NoiseOfSum([]string{node}, []complex128{1}, f)
}

// NoiseOfSum is the noise of a weighted sum of node voltages, as Noise: what one source makes at several nodes is added before it is squared.
func (a *AC) NoiseOfSum(nodes []string, weights []complex128, f dsp.Hertz) []Noise {
	n := a.sys.net
	fac := a.factor(a.matrix(f).transpose(), f)
	rhs := make([]complex128, a.sys.size)
	for k, node := range nodes {
		i, err := a.sys.nodeIndex(node)
		if err != nil {
			panic(err)
		}
		if i != ground {
			rhs[i] += weights[k]
		}
	}
	y := fac.solve(rhs)
	square := func(z complex128) float64 { r := cmplx.Abs(z); return r * r }
	var list []Noise
	add := func(name, cause string, p, q int, density float64) {
		if density > 0 {
			list = append(list, Noise{name, cause, square(across(y, p, q)) * density})
		}
	}
	for _, r := range n.resistors {
		if r.hot {
			add(r.name, "thermal", r.a, r.b, 4*Boltzmann*Temperature/r.r)
		}
	}
	i := a.Point.i
	for k, d := range n.diodes {
		add(d.name, "shot", d.a, d.b, 2*Charge*math.Abs(i[a.Point.dev.firstD+k]))
	}
	for k, q := range n.bjts {
		p := 2 * k // their ports come first
		ic := -i[p+1]
		ib := i[p] + i[p+1]
		add(q.name, "shot", q.c, q.e, 2*Charge*math.Abs(ic))
		add(q.name, "shot", q.b, q.e, 2*Charge*math.Abs(ib))
	}
	for k, t := range n.triodes {
		gm := a.Point.oth[a.Point.dev.firstT+2*k+1]
		add(t.name, "shot", t.p, t.k, 4*Boltzmann*Temperature*t.model.NoiseConductance*gm)
	}
	for k, p := range n.pairs {
		forward, reverse, _ := p.currents(a.Point.v[a.Point.dev.firstP+k])
		add(p.name, "shot", p.a, p.b, 2*Charge*(math.Abs(forward)+math.Abs(reverse)))
	}
	for _, e := range n.noises {
		list = append(list, Noise{n.sources[e.source].name, "input", square(y[a.sys.sourceRow[e.source]]) * e.density * e.density})
	}
	return list
}
