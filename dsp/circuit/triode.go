package circuit

import (
	"fmt"
	"math"
)

// Triode is a valve with grid current: cathode current Ik and grid current Ig follow
//
//	Ik = G·L(Vpk/Mu + Vgk, C)^Gamma,   Ig = Gg·L(Vgk, Cg)^Xi,   Ip = Ik - Ig,
//	L(u, c) = ln(1 + exp(c·u))/c
//
// which the source calls physically motivated: the law of a space charge with a smooth cut-off. Its
// constant grid leakage, some tenths of a µA at most, is left out, and its capacitances are
// elements of their own. Source: "A physically-motivated triode model for circuit simulations",
// DAFx-11, 257-264.
type Triode struct {
	Name             string
	Mu               float64
	G, Gamma, C      float64 // A/V^Gamma, none, 1/V
	Gg, Xi, Cg       float64
	NoiseConductance float64 // of the plate, as a multiple of gm; 0: none
}

type triode struct {
	model Triode
	law   triodeLaw
}

// T is a triode from plate over grid to cathode.
func (n *Netlist) T(name, plate, grid, cathode string, t Triode) {
	for _, v := range []float64{t.Mu, t.G, t.Gamma, t.C, t.Gg, t.Xi, t.Cg} {
		positive(name, v)
	}
	for _, p := range n.parts { // valves of one model share its tables
		if other, ok := p.element.(triode); ok && other.model == t {
			n.add(name, other, plate, grid, cathode)
			return
		}
	}
	law := triodeLaw{newCurve(t.G, t.C, t.Gamma), newCurve(t.Gg, t.Cg, t.Xi), 1 / t.Mu}
	n.add(name, triode{t, law}, plate, grid, cathode)
}

func (e triode) values() []float64 {
	t := e.model
	return []float64{t.Mu, t.G, t.Gamma, t.C, t.Gg, t.Xi, t.Cg, t.NoiseConductance}
}

// gridWeight is by how much less an error in a triode's voltages counts: its currents are curved
// over volts, a junction's over its thermal voltage. The grid current's knee is 1/Cg wide, four
// times 26 mV and more; the plate is felt by 1/Mu of that.
const gridWeight = 0.25

func (e triode) ports(nodes []int) []port {
	p, g, k := nodes[0], nodes[1], nodes[2]
	return []port{junction(g, k, gridWeight, math.Inf(1)), junction(p, k, gridWeight*e.law.imu, math.Inf(1))}
}

func (e triode) laws(run []*part, from int) law {
	return &triodeLaws{from, collect(run, func(e triode) triodeLaw { return e.law })}
}

type triodeLaw struct {
	cathode, grid curve
	imu           float64 // 1/Mu
}

type triodeLaws struct {
	from int // port
	list []triodeLaw
}

// eval is grid and plate current at grid and plate voltage, and their derivatives.
func (l *triodeLaws) eval(at *Ports) {
	for k := range l.list {
		t, g, p := &l.list[k], l.from+2*k, l.from+2*k+1
		vg, vp := at.V[g], at.V[p]
		ik, gk := t.cathode.at(vp*t.imu + vg)
		ig, gg := t.grid.at(vg)
		at.I[g], at.I[p] = ig+gmin*vg, ik-ig+gmin*vp
		at.Own[g], at.Oth[g] = gg+gmin, 0
		at.Oth[p], at.Own[p] = gk-gg, gk*t.imu+gmin
	}
}

func (e triode) noise(at *placed, p *OperatingPoint, _ float64, add addNoise) {
	gm := p.ports.Oth[at.port+1]
	add("shot", at.nodes[0], at.nodes[2], 4*Boltzmann*Temperature*e.model.NoiseConductance*gm)
}

func (e triode) card(d *deckWriter, name string, nodes []string) {
	m, p, g, k := e.model, nodes[0], nodes[1], nodes[2]
	softly := func(u string, c float64) string { return fmt.Sprintf("ln(1+exp(%s*(%s)))/%s", num(c), u, num(c)) }
	vg, vp := fmt.Sprintf("v(%s,%s)", g, k), fmt.Sprintf("v(%s,%s)", p, k)
	u := vp + "/" + num(m.Mu) + "+" + vg
	ig := fmt.Sprintf("%s*pow(%s,%s)", num(m.Gg), softly(vg, m.Cg), num(m.Xi))
	ik := fmt.Sprintf("%s*pow(%s,%s)", num(m.G), softly(u, m.C), num(m.Gamma))
	d.card("B", name+".g", []string{g, k}, "I="+ig)
	d.card("B", name+".p", []string{p, k}, "I="+ik+"-"+ig)
	if d.Noise && m.NoiseConductance > 0 { // that of one ohm, by so much of the transconductance
		slope := func(a, c, e float64, u string) string {
			return fmt.Sprintf("%s*pow(%s,%s)/(1+exp(-%s*(%s)))", num(a*e), softly(u, c), num(e-1), num(c), u)
		}
		own := SPICEName(name) + "_noise"
		d.card("R", name, []string{own, Ground}, "1")
		d.card("B", name+".n", []string{p, k}, fmt.Sprintf("I=v(%s)*sqrt(%s*(%s-%s))", own, num(m.NoiseConductance),
			slope(m.G, m.C, m.Gamma, u), slope(m.Gg, m.Cg, m.Xi, vg)))
	}
}

// curve is a·(ln(1+exp(c·u))/c)^e as a table: between points the cubic that has their values and
// slopes, within 4e-8 of a. Both currents of a triode are such functions of one voltage.
type curve struct {
	a, c, e float64
	table   []curvePoint
}

type curvePoint struct{ y, slope float64 } // A, and A per step

const (
	curveLow   = -8.0 // V: outside the table the law itself is worked out
	curveHigh  = 8.0
	curveSteps = 64 // per volt
)

func newCurve(a, c, e float64) curve {
	k := curve{a: a, c: c, e: e}
	for n := 0; n <= (curveHigh-curveLow)*curveSteps; n++ {
		y, slope := k.exact(curveLow + float64(n)/curveSteps)
		k.table = append(k.table, curvePoint{y, slope / curveSteps})
	}
	return k
}

func (k *curve) exact(u float64) (y, slope float64) {
	x := k.c * u
	if x < -200 {
		return 0, 0
	}
	l := math.Log1p(math.Exp(-math.Abs(x))) + math.Max(x, 0) // ln(1+exp(x))
	y = k.a * math.Pow(l/k.c, k.e)
	return y, y * k.e / l * k.c / (1 + math.Exp(-x))
}

func (k *curve) at(u float64) (y, slope float64) {
	x := (u - curveLow) * curveSteps
	if !(x >= 0 && x < float64(len(k.table)-1)) {
		return k.exact(u)
	}
	n := int(x)
	x -= float64(n)
	p, q := k.table[n], k.table[n+1]
	rise := q.y - p.y
	b := 3*rise - 2*p.slope - q.slope
	c := p.slope + q.slope - 2*rise
	return p.y + x*(p.slope+x*(b+x*c)), (p.slope + x*(2*b+3*x*c)) * curveSteps
}
