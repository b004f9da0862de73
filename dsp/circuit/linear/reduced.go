package linear

import (
	"math"
	"math/cmplx"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// A large circuit is reduced onto so many directions more at a time, until the responses of two in
// a row are so near to each other, relative to the largest.
const (
	reducedMore = 8
	reducedNear = 1e-9
)

// reduced is a circuit without ports with only as many states as its responses from 0 to top take:
// what they are about a frequency within that band, with their derivatives, spans what is kept (a
// Krylov subspace of the circuit solved there, and the projection of Odabasioglu, Celik & Pileggi,
// "PRIMA", IEEE Trans. CAD 17(8), 1998, from memory; here on the histories as waves of normalized
// power, in which a step of a passive circuit contracts, and so does its projection). What is left
// are no single capacitors' states. It is nil where half of the states do not do.
func reduced(d *circuit.Discrete, step dsp.Second, top dsp.Hertz) *circuit.Discrete {
	n := d.A.Rows
	// (z-A)⁻¹ is the circuit solved at the frequency that the trapezoidal rule puts at z, a real one
	about := math.Pi * float64(top) / 4 * float64(step)
	z := (1 + about) / (1 - about)
	a := dense.New[float64](n, n)
	b := basis{d: d, root: make([]float64, n)}
	for r, w := range d.Weight {
		b.root[r] = math.Sqrt(w)
	}
	for r := range n {
		for c, x := range d.A.Row(r) {
			a.Set(r, c, -x*b.root[c]/b.root[r])
		}
		a.Add(r, r, z)
	}
	var ok bool
	if b.solved, ok = dense.Factor(a); !ok {
		return nil
	}
	for i := range d.W.Cols {
		w := make([]float64, n)
		for r := range w {
			w[r] = d.W.At(r, i) / b.root[r]
		}
		b.w = append(b.w, w)
	}
	b.last = b.w
	var before []complex128
	for 2*(len(b.v)+reducedMore) <= n {
		if b.grow(reducedMore); b.last == nil {
			return nil
		}
		small := b.discrete()
		now := responses(small, step, top)
		worst, peak := math.Inf(1), 0.0
		for k, x := range before {
			if k == 0 {
				worst = 0
			}
			worst, peak = max(worst, cmplx.Abs(now[k]-x)), max(peak, cmplx.Abs(x))
		}
		if worst <= reducedNear*peak {
			return small
		}
		before = now
	}
	return nil
}

// basis is what a circuit is projected onto: orthonormal directions among its histories, each
// history divided by the root of its weight.
type basis struct {
	d      *circuit.Discrete
	root   []float64
	solved dense.LU[float64] // z-A
	w      [][]float64       // what a unit of each input gives
	v, av  [][]float64       // the directions, and a step of each
	last   [][]float64       // those from which the next ones come; nil where there are no more
}

// grow adds so many directions at least, or what there are.
func (b *basis) grow(more int) {
	for want := len(b.v) + more; len(b.v) < want && b.last != nil; {
		var next [][]float64
		for _, x := range b.last {
			if v := b.add(b.solved.Solve(x)); v != nil {
				next = append(next, v)
			}
		}
		b.last = next
	}
}

// add makes of v a direction, unless the basis has it.
func (b *basis) add(v []float64) []float64 {
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
		return nil
	}
	back := make([]float64, len(v))
	for k := range v {
		v[k] /= left
		back[k] = v[k] * b.root[k]
	}
	av := make([]float64, len(v))
	for r := range av {
		av[r] = dense.Dot(b.d.A.Row(r), back) / b.root[r]
	}
	b.v, b.av = append(b.v, v), append(b.av, av)
	return v
}

// discrete is a step of what the circuit is on the basis.
func (b *basis) discrete() *circuit.Discrete {
	n, ni, probes := len(b.v), len(b.w), b.d.YS.Rows
	small := &circuit.Discrete{
		A: dense.New[float64](n, n), W: dense.New[float64](n, ni),
		YS: dense.New[float64](probes, n), YW: b.d.YW,
	}
	for r, v := range b.v {
		for c, av := range b.av {
			small.A.Set(r, c, dense.Dot(v, av))
		}
		for c, w := range b.w {
			small.W.Set(r, c, dense.Dot(v, w))
		}
		for p := range probes {
			sum := 0.0
			for k, y := range b.d.YS.Row(p) {
				sum += y * b.root[k] * v[k]
			}
			small.YS.Set(p, r, sum)
		}
	}
	return small
}

// responses are those of a circuit without ports, of every probe to every input, at frequencies
// from 0 to top.
func responses(d *circuit.Discrete, step dsp.Second, top dsp.Hertz) (all []complex128) {
	const points = 24
	n := d.A.Rows
	for k := range points {
		x := complex(0, math.Pi*float64(top)*float64(k)/(points-1)*float64(step))
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
