package circuit

import (
	"fmt"

	"drywire/dsp"
)

// clamp is a one-port that conducts like a junction above hi and below lo: the output stage of an
// op-amp that meets its rails. Its junctions are a means of modelling and make no noise.
type clamp struct{ lo, hi float64 } // V

// The clamp's junctions: sharp, so that the rail is where it is said to be.
const (
	clampIs   = 1e-12
	clampNVt  = ThermalVoltage
	clampCrit = 0.6 // V past the rail: where its junction carries some 10 mA
	// clampFar is how far inside its rail, in volts, a clamp's junction carries nothing: 3e-18 A, a
	// millionth of what gmin carries.
	clampFar = 2
)

// Clamp lets the voltage from a to b go no further than lo and hi.
func (n *Netlist) Clamp(name, a, b string, lo, hi dsp.Volt) {
	n.add(name, clamp{float64(lo), float64(hi)}, a, b)
}

func (e clamp) values() []float64 { return []float64{e.lo, e.hi} }

func (e clamp) ports(nodes []int) []port { return []port{junction(nodes[0], nodes[1], 1, clampNVt)} }

func (e clamp) laws(run []*part, from int) law {
	return &clampLaws{from, collect(run, func(e clamp) clamp { return e })}
}

type clampLaws struct {
	from int // port
	list []clamp
}

func (l *clampLaws) eval(at *Ports) {
	for k := range l.list {
		c, p := &l.list[k], l.from+k
		if x := at.V[p]; x <= c.hi-clampFar && x >= c.lo+clampFar { // nearly always
			at.I[p], at.Own[p] = c.idle(x)
		} else {
			at.I[p], at.Own[p] = c.eval(x)
		}
	}
}

// idle is the law between the rails, far from both.
func (c *clamp) idle(v float64) (i, g float64) { return 2*gmin*v - gmin*(c.hi+c.lo), 2 * gmin }

func (c *clamp) eval(v float64) (i, g float64) {
	i, g = c.idle(v)
	if v > c.hi-clampFar {
		e, de := exponent((v - c.hi) * (1 / clampNVt))
		i, g = i+clampIs*e, g+clampIs*de*(1/clampNVt)
	}
	if v < c.lo+clampFar {
		e, de := exponent((c.lo - v) * (1 / clampNVt))
		i, g = i-clampIs*e, g+clampIs*de*(1/clampNVt)
	}
	return i, g
}

func (l *clampLaws) limit(v, old []float64) (limited bool) {
	for k := range l.list {
		c, k := &l.list[k], l.from+k
		if needsLimiting(v[k]-c.hi, old[k]-c.hi, clampNVt, clampCrit) {
			v[k], limited = limitJunction(v[k]-c.hi, old[k]-c.hi, clampNVt, clampCrit)+c.hi, true
		}
		if needsLimiting(c.lo-v[k], c.lo-old[k], clampNVt, clampCrit) {
			v[k], limited = c.lo-limitJunction(c.lo-v[k], c.lo-old[k], clampNVt, clampCrit), true
		}
	}
	return limited
}

func (e clamp) card(d *deckWriter, name string, nodes []string) {
	hi, lo := name+".hi", name+".lo"
	d.card("V", hi, []string{SPICEName(hi), nodes[1]}, "DC", num(e.hi))
	d.card("V", lo, []string{SPICEName(lo), nodes[1]}, "DC", num(e.lo))
	d.card("D", hi, []string{nodes[0], SPICEName(hi)}, "d_clamp")
	d.card("D", lo, []string{SPICEName(lo), nodes[0]}, "d_clamp")
	d.models["d_clamp"] = fmt.Sprintf("D(IS=%s N=1)", num(clampIs))
}
