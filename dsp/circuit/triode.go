package circuit

import "math"

// Triode is a valve with grid current: cathode current Ik and grid current Ig follow
//
//	Ik = G·L(Vpk/Mu + Vgk, C)^Gamma,   Ig = Gg·L(Vgk, Cg)^Xi,   L(u, c) = ln(1 + exp(c·u))/c,   Ip = Ik - Ig
//
// which the source calls physically motivated: the law of a space charge with a smooth cut-off. Its constant grid leakage, some tenths of a µA at most, is left
// out, and its capacitances are elements of their own. Source: "A physically-motivated triode model for circuit simulations", DAFx-11, 257-264.
type Triode struct {
	Name             string
	Mu               float64
	G, Gamma, C      float64 // A/V^Gamma, none, 1/V
	Gg, Xi, Cg       float64
	NoiseConductance float64 // the plate's noise is that of a conductance of so many times gm; 0: none
}

type triode struct {
	name    string
	p, g, k int
	model   Triode
	cathode curve
	grid    curve
	imu     float64
}

// T is a triode from plate over grid to cathode.
func (n *Netlist) T(name, plate, grid, cathode string, t Triode) {
	for _, v := range []float64{t.Mu, t.G, t.Gamma, t.C, t.Gg, t.Xi, t.Cg} {
		positive(name, v)
	}
	n.claim(name)
	x := triode{name: name, p: n.node(plate), g: n.node(grid), k: n.node(cathode), model: t, imu: 1 / t.Mu}
	for _, other := range n.triodes { // valves of one model share its tables
		if other.model == t {
			x.cathode, x.grid = other.cathode, other.grid
		}
	}
	if x.cathode.table == nil {
		x.cathode, x.grid = newCurve(t.G, t.C, t.Gamma), newCurve(t.Gg, t.Cg, t.Xi)
	}
	n.triodes = append(n.triodes, x)
}

// eval is grid and plate current at grid and plate voltage, and their derivatives, as those of a device of two ports.
func (t *triode) eval(vg, vp float64, o *bjtPoint) {
	ik, gk := t.cathode.at(vp*t.imu + vg)
	ig, gg := t.grid.at(vg)
	o.i1, o.i2 = ig+gmin*vg, ik-ig+gmin*vp
	o.g11, o.g12 = gg+gmin, 0
	o.g21, o.g22 = gk-gg, gk*t.imu+gmin
}

// curve is a·(ln(1+exp(c·u))/c)^e as a table: between points the cubic that has their values and slopes, within 4e-8 of a. Both currents of a
// triode are such functions of one voltage.
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

func (t *triode) terminals() []*int { return []*int{&t.p, &t.g, &t.k} }

// A triode bends over volts where a junction bends over its thermal voltage: by how much less its ports count where errors are judged. The grid current's
// knee is 1/Cg wide, four times 26 mV and more; the plate is felt by 1/Mu of that.
const gridWeight = 0.25
