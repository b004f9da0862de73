package circuit

import (
	"math"

	"drywire/dsp"
)

// Physical constants: CODATA 2014, the values that the reference simulator uses, so that both speak of the
// same thermal voltage. Temperature is the usual 27 °C.
const (
	Boltzmann   = 1.38064852e-23                   // J/K
	Charge      = 1.6021766208e-19                 // C
	Temperature = 300.15                           // K
	thermal     = Boltzmann * Temperature / Charge // V
)

// gmin is the conductance across every junction, in siemens, as in the reference simulator. It keeps a cut-off
// junction from leaving a node floating.
const gmin = 1e-12

// Diode is a junction: i = Is·(exp(v/(N·Vt)) - 1).
type Diode struct {
	Name string // for the deck's model card
	Is   dsp.Ampere
	N    float64 // emission coefficient; 0 means 1
	Cj   dsp.Farad
	Rs   dsp.Ohm // series resistance, 0: none
}

// BJT is a bipolar transistor: the Ebers-Moll model in its transport form, with emission coefficients, Early
// effect, leakage and junction capacitances (constant). The equations are those of the SPICE Gummel-Poon model
// with the parameters that are not here at their defaults. Zero VAF, VAR or IKF means infinite.
type BJT struct {
	Name     string
	PNP      bool
	Is       dsp.Ampere
	BF, BR   float64
	NF, NR   float64 // emission coefficients; 0 means 1
	VAF, VAR dsp.Volt
	Ise, Isc dsp.Ampere // leakage
	NE, NC   float64    // its emission coefficients; 0 means 1.5 and 2
	Cje, Cjc dsp.Farad
}

type diode struct {
	name  string
	a, b  int
	model Diode
	nvt   float64 // V
	gvt   float64 // its inverse
}

type bjt struct {
	name    string
	c, b, e int
	model   BJT
	k       bjtLaw
}

// D is a diode from anode a to cathode k.
func (n *Netlist) D(name, a, k string, d Diode) {
	positive(name, float64(d.Is))
	if d.N == 0 {
		d.N = 1
	}
	n.claim(name)
	inner := a
	if d.Rs > 0 {
		inner = name + ".j"
		n.ColdR(name+".rs", a, inner, d.Rs)
	}
	n.diodes = append(n.diodes, diode{name, n.node(inner), n.node(k), d, d.N * thermal, 1 / (d.N * thermal)})
	if d.Cj > 0 {
		n.capacitor(name+".cj", inner, k, float64(d.Cj), true)
	}
}

// Q is a transistor.
func (n *Netlist) Q(name, c, b, e string, q BJT) {
	positive(name, float64(q.Is))
	positive(name, q.BF)
	positive(name, q.BR)
	orElse := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	orElse(&q.NF, 1)
	orElse(&q.NR, 1)
	orElse(&q.NE, 1.5)
	orElse(&q.NC, 2)
	n.claim(name)
	n.bjts = append(n.bjts, bjt{name, n.node(c), n.node(b), n.node(e), q, newBJTLaw(q)})
	if q.Cje > 0 {
		n.capacitor(name+".cje", b, e, float64(q.Cje), true)
	}
	if q.Cjc > 0 {
		n.capacitor(name+".cjc", b, c, float64(q.Cjc), true)
	}
}

// eval is the diode's current and conductance at v volts.
func (d *diode) eval(v float64) (i, g float64) {
	e, de := exponent(v * d.gvt)
	is := float64(d.model.Is)
	return is*(e-1) + gmin*v, is*de*d.gvt + gmin
}

// bjtLaw is the transistor's law with its constants worked out.
type bjtLaw struct {
	is, ibf, ibr         float64 // Is, 1/BF, 1/BR
	rvf, rvr             float64 // 1/(NF·Vt), 1/(NR·Vt)
	ivaf, ivar           float64 // 1/VAF, 1/VAR
	ise, isc, rve, rvc   float64 // leakage and 1/(NE·Vt), 1/(NC·Vt)
	polarity, vcritE, nE float64
	vcritC, nC           float64
}

func newBJTLaw(q BJT) bjtLaw {
	k := bjtLaw{
		is: float64(q.Is), ibf: 1 / q.BF, ibr: 1 / q.BR,
		rvf: 1 / (q.NF * thermal), rvr: 1 / (q.NR * thermal),
		ise: float64(q.Ise), isc: float64(q.Isc), rve: 1 / (q.NE * thermal), rvc: 1 / (q.NC * thermal),
		polarity: 1,
	}
	if q.VAF > 0 {
		k.ivaf = 1 / float64(q.VAF)
	}
	if q.VAR > 0 {
		k.ivar = 1 / float64(q.VAR)
	}
	if q.PNP {
		k.polarity = -1
	}
	k.nE, k.nC = q.NF*thermal, q.NR*thermal
	k.vcritE, k.vcritC = critical(k.nE, k.is), critical(k.nC, k.is)
	return k
}

// bjtPoint is the transistor at one pair of junction voltages, seen as two ports, base-emitter and
// base-collector, in the polarity of an NPN: port currents i1 (= collector + base current) and i2 (= minus the collector current)
// and their derivatives.
type bjtPoint struct {
	i1, i2             float64
	g11, g12, g21, g22 float64
}

// eval is the law:
//
//	Ic = (If-Ir)/qb - Ir/BR - Ilc,   Ib = If/BF + Ile + Ir/BR + Ilc
//	If = Is·(exp(vbe/NF·Vt)-1),  Ir = Is·(exp(vbc/NR·Vt)-1),  1/qb = 1 - vbc/VAF - vbe/VAR
//	Ile = Ise·(exp(vbe/NE·Vt)-1),  Ilc = Isc·(exp(vbc/NC·Vt)-1)
//
// Source: the SPICE Gummel-Poon equations without high-level injection (UCB/ERL M520, 1975).
func (k *bjtLaw) eval(vbe, vbc float64, o *bjtPoint) {
	ef, def := exponent(vbe * k.rvf)
	er, der := exponent(vbc * k.rvr)
	iF, gF := k.is*(ef-1)+gmin*vbe, k.is*def*k.rvf+gmin
	iR, gR := k.is*(er-1)+gmin*vbc, k.is*der*k.rvr+gmin
	var iLe, gLe, iLc, gLc float64
	if k.ise > 0 {
		e, de := exponent(vbe * k.rve)
		iLe, gLe = k.ise*(e-1), k.ise*de*k.rve
	}
	if k.isc > 0 {
		e, de := exponent(vbc * k.rvc)
		iLc, gLc = k.isc*(e-1), k.isc*de*k.rvc
	}
	early, dE, dC := 1-vbc*k.ivaf-vbe*k.ivar, -k.ivar, -k.ivaf
	if early < 0.01 { // no physical state, only a wild iterate
		early, dE, dC = 0.01, 0, 0
	}
	transport := iF - iR
	ic := transport*early - iR*k.ibr - iLc
	icE := gF*early + transport*dE
	icC := -gR*early + transport*dC - gR*k.ibr - gLc
	ib := iF*k.ibf + iLe + iR*k.ibr + iLc
	ibE := gF*k.ibf + gLe
	ibC := gR*k.ibr + gLc
	o.i1, o.i2 = ib+ic, -ic
	o.g11, o.g12 = ibE+icE, ibC+icC
	o.g21, o.g22 = -icE, -icC
}

// critical is the junction voltage above which Newton steps are shortened.
func critical(nvt, is float64) float64 { return nvt * math.Log(nvt/(math.Sqrt2*is)) }

// runsAway says whether a Newton step of a junction from old to v is to be shortened: it ends above the critical voltage, and is longer than the exponential is straight.
func runsAway(v, old, nvt, crit float64) bool { return !(v <= crit || math.Abs(v-old) <= 2*nvt) } // or is not a number

// limitJunction shortens a Newton step of a junction that runs away: above the critical voltage the step is taken in current, not in voltage. Source: the junction
// limiting of SPICE2 (UCB/ERL M520, 1975).
func limitJunction(v, old, nvt, crit float64) float64 {
	if old <= 0 {
		return nvt * math.Log(v/nvt)
	}
	arg := 1 + (v-old)/nvt
	if arg <= 0 {
		return crit
	}
	return old + nvt*math.Log(arg)
}

// clamp is a one-port that conducts like a junction above hi and below lo: the output stage of an op-amp that
// meets its rails.
type clamp struct {
	name   string
	a, b   int
	lo, hi float64 // V
}

// The clamp's junctions: sharp, so that the rail is where it is said to be.
const (
	clampIs  = 1e-12
	clampNVt = thermal
)

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

// clampFar is how far inside its rail, in volts, a clamp's junction carries nothing: 3e-18 A, a millionth of what gmin carries.
const clampFar = 2

// limiter is a transconductance that saturates: i = Imax·tanh(gm·v/Imax), sensed from p to m, flowing from a to b.
// It gives an op-amp its slew rate.
type limiter struct {
	name       string
	a, b, p, m int
	gm, imax   float64
}

func (l *limiter) eval(v float64) (i, g float64) {
	t := math.Tanh(l.gm * v / l.imax)
	return l.imax * t, l.gm * (1 - t*t)
}

// OpAmp is an operational amplifier with one pole, slew rate and rails.
type OpAmp struct {
	Gain   float64   // open loop at DC
	GBW    dsp.Hertz // gain-bandwidth product
	Slew   float64   // V/s; 0: as fast as its bandwidth allows
	Rin    dsp.Ohm   // differential
	Rout   dsp.Ohm
	Lo, Hi dsp.Volt // how far the output swings, to ground; both 0: as far as it likes
	Noise  float64  // input noise voltage, V/√Hz
}

// OpAmp is an op-amp with inputs plus and minus: a transconductance into one pole, clamped at the rails, and a
// unity buffer with an output resistance.
func (n *Netlist) OpAmp(name, plus, minus, out string, a OpAmp) {
	positive(name, a.Gain)
	positive(name, float64(a.GBW))
	positive(name, float64(a.Rin))
	positive(name, float64(a.Rout))
	rails := a.Lo != 0 || a.Hi != 0
	if rails && !(a.Hi > a.Lo) {
		panic("circuit: " + name + ": the upper rail is not above the lower")
	}
	const c = 1e-9 // F: sets the scale of the inner node, nothing else
	gm := 2 * math.Pi * float64(a.GBW) * c
	pole, buffered := name+".pole", name+".buffered"
	in := plus
	if a.Noise > 0 {
		in = name + ".noisy"
		n.NoiseE(name+".en", plus, in, a.Noise)
	}
	n.ColdR(name+".rin", in, minus, a.Rin)
	n.ColdR(name+".rp", pole, Ground, dsp.Ohm(a.Gain/gm))
	n.C(name+".cp", pole, Ground, c)
	if a.Slew > 0 {
		n.claim(name + ".gm")
		n.limiters = append(n.limiters, limiter{name + ".gm", ground, n.node(pole), n.node(in), n.node(minus), gm, a.Slew * c})
	} else {
		n.G(name+".gm", Ground, pole, in, minus, gm)
	}
	if rails {
		n.claim(name + ".clamp")
		n.clamps = append(n.clamps, clamp{name + ".clamp", n.node(pole), ground, float64(a.Lo), float64(a.Hi)})
	}
	n.E(name+".e", buffered, Ground, pole, Ground, 1)
	n.ColdR(name+".rout", buffered, out, a.Rout)
}
