package circuit

import (
	"math"
	"math/cmplx"

	"drywire/dsp"
	"drywire/dsp/circuit/internal/dense"
)

// A large circuit is reduced onto so many directions more at a time, until the responses of two in
// a row are so near to each other, relative to the largest.
const (
	reducedMore = 8
	reducedNear = 1e-9
)

// Reduced is Discrete of a circuit without ports, with only as many states as its responses from 0
// to top take: what they are about a frequency within that band, with their derivatives, spans what
// is kept (a Krylov subspace of the circuit solved there; the projection of Odabasioglu, Celik &
// Pileggi, "PRIMA", IEEE Trans. CAD 17(8), 1998, from memory, on the histories as waves of
// normalized power, in which a step of a passive circuit contracts, and so does its projection).
// It costs of the order of the circuit's size squared, where all modes cost its cube. The states are
// no single capacitor's. It is nil where half of the states do not do, or there are ports; errors
// are those of Discrete.
func (p *OperatingPoint) Reduced(h float64, top dsp.Hertz, probes []string) (*Discrete, error) {
	s := p.sys
	if len(s.ports) > 0 {
		return nil, nil
	}
	nodes := make([]int, len(probes))
	for k, name := range probes {
		i, err := s.nodeIndex(name)
		if err != nil {
			return nil, err
		}
		nodes[k] = i
	}
	at, err := s.step(h)
	if err != nil {
		return nil, err
	}
	// (z-A)⁻¹ is the circuit solved at the frequency that the trapezoidal rule puts at z, real here.
	about := 2 * math.Pi * float64(top) / 4 // 1/s
	within, err := s.step(2 / about)
	if err != nil {
		return nil, err
	}
	b := basis{size: s.size, step: at, within: within, z: (1 + about*h/2) / (1 - about*h/2), nodes: nodes}
	for _, row := range s.inputs {
		e := make([]float64, s.size)
		e[row] = 1
		x := at.lu.Solve(e)
		w := at.next(make([]float64, len(at.states)), x)
		b.w, b.yw = append(b.w, w), append(b.yw, b.read(x))
	}
	for _, w := range b.w {
		b.add(b.resolve(w))
	}
	b.last = len(b.v)
	var before []complex128
	for b.last > 0 && 2*(len(b.v)+reducedMore) <= s.states {
		b.grow(reducedMore)
		d := b.discrete()
		now := d.responses(h, top)
		worst, peak := math.Inf(1), 0.0
		for k, x := range before {
			if k == 0 {
				worst = 0
			}
			worst, peak = max(worst, cmplx.Abs(now[k]-x)), max(peak, cmplx.Abs(x))
		}
		if worst <= reducedNear*peak {
			return d, nil
		}
		before = now
	}
	return nil, nil
}

// sources is the right-hand side that histories are.
func (s *step) sources(histories []float64, size int) []float64 {
	rhs := make([]float64, size)
	for k, r := range s.states {
		if r.row == ground {
			inject(rhs, r.a, r.b, -histories[k])
		} else {
			rhs[r.row] -= histories[k]
		}
	}
	return rhs
}

// next is the histories after a step that began with some and ended with the solution x.
func (s *step) next(histories, x []float64) []float64 {
	out := make([]float64, len(histories))
	for k, r := range s.states {
		v := across(x, r.a, r.b)
		if r.row != ground {
			v = x[r.row]
		}
		out[k] = 2*s.weight[k]*v - histories[k]
	}
	return out
}

// basis is what a circuit is projected onto: orthonormal directions among its histories, each
// divided by the square root of its weight; with what a step makes of them, and what is read.
type basis struct {
	step, within step
	z            float64
	size         int // of the circuit's equations
	nodes        []int
	w, yw        [][]float64 // of each input: what a unit of it gives histories, and probes
	v, av, yv    [][]float64
	last         int // how many directions the last round gave, from which the next one starts
}

func (b *basis) read(x []float64) []float64 {
	y := make([]float64, len(b.nodes))
	for k, n := range b.nodes {
		y[k] = across(x, n, ground)
	}
	return y
}

// resolve is (z-A)⁻¹ of histories.
func (b *basis) resolve(histories []float64) []float64 {
	rhs := b.step.sources(histories, b.size)
	for k := range rhs {
		rhs[k] /= b.z + 1
	}
	x := b.within.lu.Solve(rhs)
	out := b.step.next(histories, x)
	for k, h := range histories {
		out[k] = (out[k] + 2*h) / (b.z + 1)
	}
	return out
}

// add appends a direction, unless the basis has it.
func (b *basis) add(histories []float64) bool {
	v := make([]float64, len(histories))
	for k, x := range histories {
		v[k] = x / math.Sqrt(b.step.weight[k])
	}
	length := math.Sqrt(dense.Dot(v, v))
	left := length
	for range 2 { // the second time for what rounding left
		for _, o := range b.v {
			a := dense.Dot(o, v)
			for k := range v {
				v[k] -= a * o[k]
			}
		}
		left = math.Sqrt(dense.Dot(v, v))
	}
	if !(left > 1e-12*length) {
		return false
	}
	back := make([]float64, len(v))
	for k := range v {
		v[k] /= left
		back[k] = v[k] * math.Sqrt(b.step.weight[k])
	}
	x := b.step.lu.Solve(b.step.sources(back, b.size))
	a := b.step.next(back, x)
	for k := range a {
		a[k] /= math.Sqrt(b.step.weight[k])
	}
	b.v, b.av, b.yv = append(b.v, v), append(b.av, a), append(b.yv, b.read(x))
	return true
}

// grow adds so many directions, or what there are.
func (b *basis) grow(more int) {
	for want := len(b.v) + more; len(b.v) < want && b.last > 0; {
		from := b.v[len(b.v)-b.last:]
		b.last = 0
		for _, v := range from {
			back := make([]float64, len(v))
			for k := range v {
				back[k] = v[k] * math.Sqrt(b.step.weight[k])
			}
			if b.add(b.resolve(back)) {
				b.last++
			}
		}
	}
}

// discrete is a step of what the circuit is on the basis.
func (b *basis) discrete() *Discrete {
	n, ni, probes := len(b.v), len(b.w), len(b.nodes)
	d := &Discrete{
		dense.New[float64](n, n), dense.New[float64](n, ni), dense.New[float64](0, n),
		dense.New[float64](0, ni), dense.New[float64](probes, n), dense.New[float64](probes, ni),
	}
	for r, v := range b.v {
		for c, a := range b.av {
			d.A.Set(r, c, dense.Dot(v, a))
		}
		for c, w := range b.w {
			for k, x := range w {
				d.W.Add(r, c, v[k]*x/math.Sqrt(b.step.weight[k]))
			}
		}
		for p, y := range b.yv[r] {
			d.YS.Set(p, r, y)
		}
	}
	for c, y := range b.yw {
		for p, x := range y {
			d.YW.Set(p, c, x)
		}
	}
	return d
}

// responses are those of a circuit without ports, of every probe to every input, at frequencies
// from 0 to top.
func (d *Discrete) responses(h float64, top dsp.Hertz) (all []complex128) {
	const points = 24
	n := d.A.Rows
	for k := range points {
		x := complex(0, math.Pi*float64(top)*float64(k)/(points-1)*h)
		z := (1 + x) / (1 - x)
		a, rhs := dense.New[complex128](n, n), dense.New[complex128](n, d.W.Cols)
		for i, v := range d.A.V {
			a.V[i] = complex(-v, 0)
		}
		for i := range n {
			a.Add(i, i, z)
		}
		for i, v := range d.W.V {
			rhs.V[i] = complex(v, 0)
		}
		f, ok := dense.Factor(a)
		if !ok {
			return append(all, cmplx.Inf())
		}
		s := f.SolveMatrix(rhs)
		for p := range d.YS.Rows {
			for i := range d.W.Cols {
				y := complex(d.YW.At(p, i), 0)
				for r, v := range d.YS.Row(p) {
					y += complex(v, 0) * s.At(r, i)
				}
				all = append(all, y)
			}
		}
	}
	return all
}
