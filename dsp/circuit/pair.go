package circuit

import "math"

// pair is two junctions head to tail between the same two nodes, as one port: half the equations of
// two diodes. Forward conducts from the first node to the second.
type pair struct {
	forward, reverse Diode
	law              pairLaw
}

// Pair is two diodes of one model, head to tail between a and b.
func (n *Netlist) Pair(name, a, b string, d Diode) { n.Antiparallel(name, a, b, d, d) }

// Antiparallel is two diodes head to tail: forward conducts from a to b, reverse from b to a. It
// panics where they have a series resistance. A string of n equal diodes in series is one with n
// times the emission coefficient.
func (n *Netlist) Antiparallel(name, a, b string, forward, reverse Diode) {
	if forward.Rs != 0 || reverse.Rs != 0 {
		panic("circuit: " + name + ": a pair has no series resistance")
	}
	law := pairLaw{newDiodeLaw(name, &forward), newDiodeLaw(name, &reverse)}
	n.add(name, pair{forward, reverse, law}, a, b)
	n.junctionC(name+".cj", a, b, forward.Cj+reverse.Cj)
}

// pairWeight is by how much more an error in a pair's voltage counts: in the feedback of an op-amp,
// with some picofarads beside it, a pair goes over from one diode to the other within a step.
const pairWeight = 4

func (e pair) values() []float64 {
	f, r := e.law.forward, e.law.reverse
	return []float64{f.is, f.nvt, r.is, r.nvt}
}

func (e pair) ports(nodes []int) []port {
	return []port{junction(nodes[0], nodes[1], pairWeight, min(e.law.forward.nvt, e.law.reverse.nvt))}
}

func (e pair) laws(run []*part, from int) law {
	return &pairLaws{from, collect(run, func(e pair) pairLaw { return e.law })}
}

type pairLaw struct{ forward, reverse diodeLaw }

// currents is what each junction carries at v, in its own direction, and the conductance of both.
func (p *pairLaw) currents(v float64) (forward, reverse, g float64) {
	f, df := exponent(v * p.forward.gvt)
	r, dr := exponent(-v * p.reverse.gvt)
	is, ir := p.forward.is, p.reverse.is
	return is * (f - 1), ir * (r - 1), is*df*p.forward.gvt + ir*dr*p.reverse.gvt + 2*gmin
}

type pairLaws struct {
	from int // port
	list []pairLaw
}

func (l *pairLaws) eval(at *Ports) {
	for k := range l.list {
		p := l.from + k
		f, r, g := l.list[k].currents(at.V[p])
		at.I[p], at.Own[p] = f-r+2*gmin*at.V[p], g
	}
}

// limit shortens a Newton step of whichever junction conducts.
func (l *pairLaws) limit(v, old []float64) (limited bool) {
	for k := range l.list {
		p, sign, d := l.from+k, 1., &l.list[k].forward
		if !(v[p] >= 0) {
			sign, d = -1, &l.list[k].reverse
		}
		if x, from := sign*v[p], max(sign*old[p], 0); needsLimiting(x, from, d.nvt, d.crit) {
			v[p], limited = sign*limitJunction(x, from, d.nvt, d.crit), true
		}
	}
	return limited
}

func (e pair) noise(at *placed, p *OperatingPoint, _ float64, add addNoise) {
	forward, reverse, _ := e.law.currents(p.ports.V[at.port])
	add("shot", at.nodes[0], at.nodes[1], 2*Charge*(math.Abs(forward)+math.Abs(reverse)))
}

func (e pair) card(d *deckWriter, name string, nodes []string) {
	d.diode(name+".1", nodes, e.forward)
	d.diode(name+".2", []string{nodes[1], nodes[0]}, e.reverse)
}
