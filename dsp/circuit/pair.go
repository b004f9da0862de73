package circuit

// pair is two junctions head to tail between the same two nodes, as one port: half the equations of two diodes.
type pair struct {
	name             string
	a, b             int
	forward, reverse Diode   // forward conducts from a to b
	nf, nr           float64 // V
	gf, gr           float64 // their inverses, 1/V
	vf, vr           float64 // critical voltages
}

// Pair is two diodes of one model, head to tail between a and b.
func (n *Netlist) Pair(name, a, b string, d Diode) { n.Antiparallel(name, a, b, d, d) }

// Antiparallel is two diodes head to tail: forward conducts from a to b, reverse from b to a. Series resistance is no part of it. A string of so
// many equal diodes in series is one of so many times the emission coefficient.
func (n *Netlist) Antiparallel(name, a, b string, forward, reverse Diode) {
	n.claim(name)
	for _, d := range []*Diode{&forward, &reverse} {
		positive(name, float64(d.Is))
		if d.N == 0 {
			d.N = 1
		}
		if d.Rs != 0 {
			panic("circuit: " + name + ": a pair has no series resistance")
		}
	}
	n.pairs = append(n.pairs, pair{name, n.node(a), n.node(b), forward, reverse, forward.N * thermal, reverse.N * thermal,
		1 / (forward.N * thermal), 1 / (reverse.N * thermal), critical(forward.N*thermal, float64(forward.Is)), critical(reverse.N*thermal, float64(reverse.Is))})
	if c := float64(forward.Cj + reverse.Cj); c > 0 {
		n.capacitor(name+".cj", a, b, c, true)
	}
}

// pairWeight is by how much more an error in a pair's voltage counts: in the feedback of an op-amp, with some picofarads beside it, a pair
// turns over from one diode to the other within a step.
const pairWeight = 4

func (p *pair) currents(v float64) (forward, reverse, g float64) {
	f, df := exponent(v * p.gf)
	r, dr := exponent(-v * p.gr)
	is, ir := float64(p.forward.Is), float64(p.reverse.Is)
	return is * (f - 1), ir * (r - 1), is*df*p.gf + ir*dr*p.gr + 2*gmin
}

func (p *pair) eval(v float64) (i, g float64) {
	f, r, g := p.currents(v)
	return f - r + 2*gmin*v, g
}

// limit shortens a Newton step of whichever junction conducts.
func (p *pair) limit(v, old float64) (float64, bool) {
	sign, nvt, crit := 1., p.nf, p.vf
	if !(v >= 0) {
		sign, nvt, crit = -1, p.nr, p.vr
	}
	x, from := sign*v, max(sign*old, 0)
	if !runsAway(x, from, nvt, crit) {
		return v, false
	}
	return sign * limitJunction(x, from, nvt, crit), true
}

func (p *pair) terminals() []*int { return []*int{&p.a, &p.b} }
