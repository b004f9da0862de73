package circuit

import (
	"cmp"
	"fmt"
	"math"

	"drywire/dsp"
)

// BJT is a bipolar transistor: the Ebers-Moll model in its transport form, with emission
// coefficients, Early effect, leakage and junction capacitances (constant). The equations are those
// of the SPICE Gummel-Poon model with the parameters that are not here at their defaults. Zero VAF
// or VAR means infinite.
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
	// Flicker is the corner in Hz at which the flicker noise of the base current, in proportion to
	// it and to 1/f, is as large as its shot noise; 0: it has none.
	Flicker dsp.Hertz
}

type bjt struct {
	model BJT
	law   bjtLaw
}

// Q is a transistor.
func (n *Netlist) Q(name, c, b, e string, q BJT) {
	positive(name, q.Is)
	positive(name, q.BF)
	positive(name, q.BR)
	q.NF, q.NR, q.NE, q.NC = cmp.Or(q.NF, 1), cmp.Or(q.NR, 1), cmp.Or(q.NE, 1.5), cmp.Or(q.NC, 2)
	n.add(name, bjt{q, newBJTLaw(q)}, c, b, e)
	n.junctionC(name+".cje", b, e, q.Cje)
	n.junctionC(name+".cjc", b, c, q.Cjc)
}

// bjtLaw is the transistor's law with its constants computed.
type bjtLaw struct {
	is, ibf, ibr       float64 // Is, 1/BF, 1/BR
	rvf, rvr           float64 // 1/(NF·Vt), 1/(NR·Vt)
	ivaf, ivar         float64 // 1/VAF, 1/VAR
	ise, isc, rve, rvc float64 // leakage and 1/(NE·Vt), 1/(NC·Vt)
	nvtE, critE        float64 // NF·Vt and the critical voltage, of the junction to the emitter
	nvtC, critC        float64 // and to the collector
}

func newBJTLaw(q BJT) bjtLaw {
	k := bjtLaw{
		is: float64(q.Is), ibf: 1 / q.BF, ibr: 1 / q.BR,
		rvf: 1 / (q.NF * ThermalVoltage), rvr: 1 / (q.NR * ThermalVoltage),
		ise: float64(q.Ise), isc: float64(q.Isc), rve: 1 / (q.NE * ThermalVoltage), rvc: 1 / (q.NC * ThermalVoltage),
		nvtE: q.NF * ThermalVoltage, nvtC: q.NR * ThermalVoltage,
	}
	if q.VAF > 0 {
		k.ivaf = 1 / float64(q.VAF)
	}
	if q.VAR > 0 {
		k.ivar = 1 / float64(q.VAR)
	}
	k.critE, k.critC = critical(k.nvtE, k.is), critical(k.nvtC, k.is)
	return k
}

// eval is the law at one pair of junction voltages, base-emitter at the port p and base-collector
// at the next, in the polarity of an NPN. Their currents are Ic+Ib and -Ic:
//
//	Ic = (If-Ir)/qb - Ir/BR - Ilc,   Ib = If/BF + Ile + Ir/BR + Ilc
//	If = Is·(exp(vbe/NF·Vt)-1),  Ir = Is·(exp(vbc/NR·Vt)-1),  1/qb = 1 - vbc/VAF - vbe/VAR
//	Ile = Ise·(exp(vbe/NE·Vt)-1),  Ilc = Isc·(exp(vbc/NC·Vt)-1)
//
// Source: the SPICE Gummel-Poon equations without high-level injection (UCB/ERL M520, 1975).
func (k *bjtLaw) eval(at *Ports, p int) {
	vbe, vbc := at.V[p], at.V[p+1]
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
	at.I[p], at.I[p+1] = ib+ic, -ic
	at.Own[p], at.Oth[p] = ibE+icE, ibC+icC
	at.Oth[p+1], at.Own[p+1] = -icE, -icC
}

func (e bjt) values() []float64 {
	k := e.law
	return []float64{k.is, k.ibf, k.ibr, k.rvf, k.rvr, k.ivaf, k.ivar, k.ise, k.isc, k.rve, k.rvc, flag(e.model.PNP), float64(e.model.Flicker)}
}

func (e bjt) ports(nodes []int) []port {
	pc, pb, pe := nodes[0], nodes[1], nodes[2]
	if e.model.PNP {
		return []port{junction(pe, pb, 1, e.law.nvtE), junction(pc, pb, 1, e.law.nvtC)}
	}
	return []port{junction(pb, pe, 1, e.law.nvtE), junction(pb, pc, 1, e.law.nvtC)}
}

func (e bjt) laws(run []*part, from int) law {
	return &bjtLaws{from, collect(run, func(e bjt) bjtLaw { return e.law })}
}

type bjtLaws struct {
	from int // port
	list []bjtLaw
}

func (l *bjtLaws) eval(at *Ports) {
	for k := range l.list {
		l.list[k].eval(at, l.from+2*k)
	}
}

func (l *bjtLaws) limit(v, old []float64) (limited bool) {
	for k := range l.list {
		q, e, c := &l.list[k], l.from+2*k, l.from+2*k+1
		if needsLimiting(v[e], old[e], q.nvtE, q.critE) {
			v[e], limited = limitJunction(v[e], old[e], q.nvtE, q.critE), true
		}
		if needsLimiting(v[c], old[c], q.nvtC, q.critC) {
			v[c], limited = limitJunction(v[c], old[c], q.nvtC, q.critC), true
		}
	}
	return limited
}

func (e bjt) noise(at *placed, p *OperatingPoint, f float64, add addNoise) {
	ic, ib := -p.ports.I[at.port+1], p.ports.I[at.port]+p.ports.I[at.port+1]
	add("shot", at.nodes[0], at.nodes[2], 2*Charge*math.Abs(ic))
	add("shot", at.nodes[1], at.nodes[2], 2*Charge*math.Abs(ib))
	add("flicker", at.nodes[1], at.nodes[2], 2*Charge*math.Abs(ib)*float64(e.model.Flicker)/f)
}

func (e bjt) card(d *deckWriter, name string, nodes []string) {
	q, kind := e.model, "NPN"
	if q.PNP {
		kind = "PNP"
	}
	model := SPICEName("q_" + q.Name)
	d.card("Q", name, nodes, model)
	p := fmt.Sprintf("%s(IS=%s BF=%s BR=%s NF=%s NR=%s", kind, num(q.Is), num(q.BF), num(q.BR), num(q.NF), num(q.NR))
	opt := func(name string, v float64) {
		if v != 0 {
			p += " " + name + "=" + num(v)
		}
	}
	opt("VAF", float64(q.VAF))
	opt("VAR", float64(q.VAR))
	if q.Ise != 0 {
		opt("ISE", float64(q.Ise))
		opt("NE", q.NE)
	}
	if q.Isc != 0 {
		opt("ISC", float64(q.Isc))
		opt("NC", q.NC)
	}
	if d.Noise || d.flicker {
		opt("KF", 2*Charge*float64(q.Flicker))
	}
	opt("CJE", float64(q.Cje))
	opt("CJC", float64(q.Cjc))
	d.models[model] = p + " MJE=0 MJC=0)"
}
