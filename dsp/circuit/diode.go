package circuit

import (
	"fmt"
	"math"

	"drywire/dsp"
)

// Diode is a junction: i = Is·(exp(v/(N·Vt)) - 1).
type Diode struct {
	Name string // for the deck's model card
	Is   dsp.Ampere
	N    float64 // emission coefficient; 0 means 1
	Cj   dsp.Farad
	Rs   dsp.Ohm // series resistance, 0: none
}

type diode struct {
	model Diode
	law   diodeLaw
}

// D is a diode from anode a to cathode k.
func (n *Netlist) D(name, a, k string, d Diode) {
	law := newDiodeLaw(name, &d)
	inner := a
	if d.Rs > 0 {
		inner = name + ".j"
		n.ColdR(name+".rs", a, inner, d.Rs)
	}
	n.add(name, diode{d, law}, inner, k)
	n.junctionC(name+".cj", inner, k, d.Cj)
}

// newDiodeLaw works the constants out and sets what the model leaves open.
func newDiodeLaw(name string, d *Diode) diodeLaw {
	if d.N == 0 {
		d.N = 1
	}
	is, nvt := positive(name, d.Is), d.N*ThermalVoltage
	return diodeLaw{is, nvt, 1 / nvt, critical(nvt, is)}
}

// diodeLaw is the diode's law: Is in A, N·Vt in V and its inverse, and the critical voltage.
type diodeLaw struct{ is, nvt, gvt, crit float64 }

func (e diode) values() []float64 { return []float64{e.law.is, e.law.nvt} }

func (e diode) ports(nodes []int) []port { return []port{junction(nodes[0], nodes[1], 1, e.law.nvt)} }

func (e diode) laws(run []*part, from int) law {
	return &diodeLaws{from, collect(run, func(e diode) diodeLaw { return e.law })}
}

type diodeLaws struct {
	from int // port
	list []diodeLaw
}

func (l *diodeLaws) eval(at *Ports) {
	for k := range l.list {
		d, p := &l.list[k], l.from+k
		v := at.V[p]
		e, de := exponent(v * d.gvt)
		at.I[p], at.Own[p] = d.is*(e-1)+gmin*v, d.is*de*d.gvt+gmin
	}
}

func (l *diodeLaws) limit(v, old []float64) (limited bool) {
	for k := range l.list {
		if d, p := &l.list[k], l.from+k; needsLimiting(v[p], old[p], d.nvt, d.crit) {
			v[p], limited = limitJunction(v[p], old[p], d.nvt, d.crit), true
		}
	}
	return limited
}

func (e diode) noise(at *placed, p *OperatingPoint, _ float64, add addNoise) {
	add("shot", at.nodes[0], at.nodes[1], 2*Charge*math.Abs(p.ports.I[at.port]))
}

func (e diode) card(d *deckWriter, name string, nodes []string) { d.diode(name, nodes, e.model) }

// diode writes a diode's card and its model's.
func (d *deckWriter) diode(name string, nodes []string, m Diode) {
	model := SPICEName("d_" + m.Name)
	d.card("D", name, nodes, model)
	d.models[model] = fmt.Sprintf("D(IS=%s N=%s CJO=%s M=0)", num(m.Is), num(m.N), num(m.Cj))
}
