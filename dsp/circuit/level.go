package circuit

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/integrate/quad"

	"drywire/dsp"
	"drywire/dsp/circuit/internal/dense"
)

// Densities is the noise at nodes, and across the ports of the non-linear elements, at one
// frequency, in V²/Hz: the circuit's own and that of its driven sources, whose densities are given
// by name in V²/Hz. What the driven sources have in common is not known; the sum is the most that
// it can be. It panics where there is no such node or source.
func (a *AC) Densities(f dsp.Hertz, driven map[string]float64, nodes ...string) (at, ports []float64) {
	fac := a.factor(a.matrix(f).Transpose(), f)
	for _, node := range nodes {
		i, err := a.sys.nodeIndex(node)
		if err != nil {
			panic(err)
		}
		at = append(at, a.densityBetween(fac, f, driven, i, ground))
	}
	for _, p := range a.sys.ports {
		ports = append(ports, a.densityBetween(fac, f, driven, p.p, p.m))
	}
	return at, ports
}

func (a *AC) densityBetween(transposed dense.LU[complex128], f dsp.Hertz, driven map[string]float64, plus, minus int) float64 {
	rhs := make([]complex128, a.sys.size)
	inject(rhs, minus, plus, 1)
	y := transposed.Solve(rhs)
	own := 0.0
	a.eachNoise(f, func(_ *placed, _ string, from, to int, density float64) {
		own += dsp.Abs2(across(y, from, to)) * density
	})
	amplitude := 0.0
	for name, density := range driven {
		row, found := a.sys.rows[name]
		if !found {
			panic("circuit: no source " + name)
		}
		amplitude += cmplx.Abs(y[row]) * math.Sqrt(density)
	}
	return own + amplitude*amplitude
}

// Strain is how far noise drives the circuit's elements out of their small-signal range: the share
// by which the power that an element passes on differs from that by its small-signal law, for a
// Gaussian voltage of the given RMS across each port; the largest over the ports, and the owner of
// that element. Under a hundredth the circuit is linear for noise.
//
// Of the current that its law adds to the linear one, a part c is correlated with the voltage and a
// part u is not: the power changes by 2c + c² + u², both relative to the linear current; for an
// element of one port, against the voltage that they make across what the port is connected to.
func (a *AC) Strain(rms []float64) (strain float64, where Part) {
	sys, rest := a.sys, &a.Point.ports
	const points = 9
	x, w := make([]float64, points), make([]float64, points)
	quad.Hermite{}.FixedLocations(x, w, math.Inf(-1), math.Inf(1))
	count := len(sys.ports)
	c, u := make([]float64, count), make([]float64, count)
	at := NewPorts(count)
	for second := range 2 { // a port's law is looked at with its partner at rest
		for i := range x {
			for k, v := range rest.V {
				at.V[k] = v
				if k >= sys.devices.Paired && second == 0 || k < sys.devices.Paired && k%2 == second {
					at.V[k] += math.Sqrt2 * x[i] * rms[k]
				}
			}
			sys.devices.Eval(&at)
			for k, v := range rest.V {
				if d := at.V[k] - v; d != 0 {
					e := at.I[k] - rest.I[k] - rest.Own[k]*d
					c[k] += w[i] / math.Sqrt(math.Pi) * e * d
					u[k] += w[i] / math.Sqrt(math.Pi) * e * e
				}
			}
		}
	}
	for k, p := range sys.ports {
		if rms[k] == 0 {
			continue
		}
		r := 0.0 // Ω, by which an added current is told against the voltage
		if k < sys.devices.Paired {
			r = 1 / math.Abs(rest.Own[k])
		} else {
			for _, f := range []dsp.Hertz{100, 1000, 5000} {
				rhs := make([]complex128, sys.size)
				inject(rhs, p.b, p.a, 1)
				r = max(r, cmplx.Abs(across(a.factor(a.matrix(f), f).Solve(rhs), p.p, p.m)))
			}
		}
		along := r * c[k] / (rms[k] * rms[k])
		apart := r*r*u[k]/(rms[k]*rms[k]) - along*along
		if x := math.Abs(2*along+along*along) + apart; x > strain {
			strain = x
			for _, e := range sys.parts {
				if e.port >= 0 && e.port <= k {
					where = Part{e.name, e.owner}
				}
			}
		}
	}
	return strain, where
}
