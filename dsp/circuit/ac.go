package circuit

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/circuit/internal/dense"
)

// AC is the circuit's small-signal behaviour about its operating point.
type AC struct {
	Point *OperatingPoint
	sys   *system
	g     dense.Matrix[float64] // conductances, with those of the devices
}

// AC finds the operating point and linearises about it. The error is Operating's.
func (n *Netlist) AC() (*AC, error) {
	p, err := n.Operating()
	if err != nil {
		return nil, err
	}
	return p.AC(), nil
}

// AC linearises the circuit about the point.
func (p *OperatingPoint) AC() *AC {
	g := p.sys.g.Clone()
	p.sys.stampDevices(g, &p.ports)
	return &AC{p, p.sys, g}
}

// matrix is G + jωC about the operating point.
func (a *AC) matrix(f dsp.Hertz) dense.Matrix[complex128] {
	w := 2 * math.Pi * float64(f)
	m := dense.New[complex128](a.sys.size, a.sys.size)
	for k, x := range a.g.V {
		m.V[k] = complex(x, 0)
	}
	for k := range a.sys.net.nodes {
		m.Add(k, k, Shunt)
	}
	for _, r := range a.sys.reactances {
		if r.row == ground {
			stampConductance(m, r.a, r.b, complex(0, w*r.value))
		} else {
			m.Add(r.row, r.row, complex(0, -w*r.value))
		}
	}
	return m
}

func (a *AC) factor(m dense.Matrix[complex128], f dsp.Hertz) dense.LU[complex128] {
	fac, ok := dense.Factor(m)
	if !ok {
		panic(fmt.Sprintf("circuit: singular at %v Hz", f))
	}
	return fac
}

// Transfer is the voltages of nodes for one volt at the voltage source of that name, the others at
// rest. It panics where there is no such source or node.
func (a *AC) Transfer(input string, f dsp.Hertz, nodes ...string) []complex128 {
	rhs := make([]complex128, a.sys.size)
	row, found := a.sys.rows[input]
	if !found {
		panic(fmt.Sprintf("circuit: no source %q", input))
	}
	rhs[row] = 1
	return a.read(a.factor(a.matrix(f), f).Solve(rhs), nodes)
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

// Impedance is what is seen from a node to ground, in ohms, with all sources at rest. It panics
// where there is no such node.
func (a *AC) Impedance(node string, f dsp.Hertz) complex128 {
	i, err := a.sys.nodeIndex(node)
	if err != nil {
		panic(err)
	}
	rhs := make([]complex128, a.sys.size)
	rhs[i] = 1
	return a.factor(a.matrix(f), f).Solve(rhs)[i]
}

// Noise is one source's share of the noise at a node.
type Noise struct {
	Element string // name of the element that makes it
	Owner   string // whom that belongs to
	// "thermal", "shot", "flicker", "input" (an amplifier's voltage) or "current" (of an input)
	Cause   string
	Density float64 // V²/Hz at the node
}

// Noise is the noise at a node, split by source, at one frequency: thermal noise 4kT/R of every
// resistor, shot noise 2qI of every junction current, that of valves, and the input noise of
// amplifiers. Each is carried to the node by the transposed (adjoint) circuit, so one factoring
// serves all. Source: IEEE JSSC 6(4) 204-208, 1971.
func (a *AC) Noise(node string, f dsp.Hertz) []Noise {
	var list []Noise
	for _, s := range a.NoiseSources(f, node) {
		s.Density *= dsp.Abs2(s.Gains[0])
		list = append(list, s.Noise)
	}
	return list
}

// NoiseSource is one source of noise and its gains to several nodes.
type NoiseSource struct {
	Noise              // Density is the source's own: A²/Hz between its nodes, V²/Hz in its branch
	Gains []complex128 // to each node: Ω for a current, 1 for a voltage
}

// NoiseSources is every source of noise of the circuit and its gains to nodes, at one frequency.
// Their order is that of the elements. It panics where there is no such node.
func (a *AC) NoiseSources(f dsp.Hertz, nodes ...string) []NoiseSource {
	fac := a.factor(a.matrix(f).Transpose(), f)
	var list []NoiseSource
	for j, node := range nodes {
		i, err := a.sys.nodeIndex(node)
		if err != nil {
			panic(err)
		}
		rhs := make([]complex128, a.sys.size)
		inject(rhs, ground, i, 1)
		y, at := fac.Solve(rhs), 0
		a.eachNoise(f, func(p *placed, cause string, from, to int, density float64) {
			if j == 0 {
				list = append(list, NoiseSource{Noise{p.name, p.owner, cause, density}, make([]complex128, len(nodes))})
			}
			list[at].Gains[j] = -across(y, from, to)
			at++
		})
	}
	return list
}

// eachNoise goes through the sources of noise at a frequency.
func (a *AC) eachNoise(f dsp.Hertz, do func(p *placed, cause string, from, to int, density float64)) {
	for k := range a.sys.parts {
		p := &a.sys.parts[k]
		if e, ok := p.element.(noiser); ok {
			e.noise(p, a.Point, float64(f), func(cause string, from, to int, density float64) {
				if density > 0 {
					do(p, cause, from, to, density)
				}
			})
		}
	}
}
