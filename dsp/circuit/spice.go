package circuit

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"drywire/dsp"
)

// Deck is what a SPICE deck of a circuit says beside the circuit.
type Deck struct {
	Title    string
	Comments []string
	// Drive is what each driven source does, by its name: what follows the nodes on a voltage source's card, such as
	// "SIN(0 0.2 330)", or "V=" and an expression in time. A source without an entry rests at 0 V with AC 1.
	Drive  map[string]string
	Lines  []string   // further cards, as they are
	Step   dsp.Second // longest time step
	Stop   dsp.Second // 0: no transient
	RelTol float64    // 0: 1e-5
	Probes []string   // nodes to print
}

// SPICEName is a node's or element's name in a deck: dots and dashes become underscores.
func SPICEName(name string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case '.', '-', ' ', '/':
			return '_'
		}
		return r
	}, name)
}

// Deck prints the circuit as a deck for a SPICE simulator. It runs as printed; abstol and vntol stay at their
// defaults, since tighter ones stall.
func (n *Netlist) Deck(d Deck) string {
	var b strings.Builder
	fmt.Fprintf(&b, "* %s\n", strings.ReplaceAll(d.Title, "\n", " "))
	for _, c := range d.Comments {
		fmt.Fprintf(&b, "* %s\n", c)
	}
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	node := func(i int) string { return SPICEName(n.nodeName(i)) }
	// card writes one element; the letter is added unless the name has it (Vdry).
	card := func(letter, name string, rest ...string) {
		name = SPICEName(name)
		if letter != "V" || !strings.HasPrefix(name, "V") {
			name = letter + name
		}
		fmt.Fprintln(&b, name, strings.Join(rest, " "))
	}
	for _, s := range n.sources {
		switch drive, ok := d.Drive[s.name]; {
		case !s.driven:
			card("V", s.name, node(s.a), node(s.b), "DC", num(s.dc))
		case !ok:
			card("V", s.name, node(s.a), node(s.b), "DC 0 AC 1")
		case strings.HasPrefix(drive, "V="):
			inner := SPICEName(s.name) + "_wave"
			card("V", s.name, node(s.a), inner, "DC 0 AC 1")
			card("B", s.name, inner, node(s.b), drive)
		default:
			card("V", s.name, node(s.a), node(s.b), "DC 0 AC 1", drive)
		}
	}
	for _, r := range n.resistors {
		if r.hot {
			card("R", r.name, node(r.a), node(r.b), num(r.r))
		} else {
			card("R", r.name, node(r.a), node(r.b), num(r.r), "noisy=0")
		}
	}
	for _, c := range n.capacitors {
		if !c.inModel {
			card("C", c.name, node(c.a), node(c.b), num(c.c))
		}
	}
	for _, l := range n.inductors {
		card("L", l.name, node(l.a), node(l.b), num(l.l))
	}
	for _, e := range n.vcvs {
		card("E", e.name, node(e.a), node(e.b), node(e.p), node(e.m), num(e.gain))
	}
	for _, g := range n.vccs {
		card("G", g.name, node(g.a), node(g.b), node(g.p), node(g.m), num(g.gm))
	}
	for _, f := range n.cccs {
		v := SPICEName(n.sources[f.sense].name)
		if !strings.HasPrefix(v, "V") {
			v = "V" + v
		}
		card("F", f.name, node(f.a), node(f.b), v, num(f.gain))
	}
	models := map[string]string{}
	diodeCard := func(name string, a, b int, d Diode) {
		model := SPICEName("d_" + d.Name)
		card("D", name, node(a), node(b), model)
		models[model] = fmt.Sprintf("D(IS=%s N=%s CJO=%s M=0)", num(float64(d.Is)), num(d.N), num(float64(d.Cj)))
	}
	for _, x := range n.pairs {
		diodeCard(x.name+".1", x.a, x.b, x.forward)
		diodeCard(x.name+".2", x.b, x.a, x.reverse)
	}
	for _, x := range n.diodes {
		diodeCard(x.name, x.a, x.b, x.model)
	}
	for _, x := range n.bjts {
		q := x.model
		model := SPICEName("q_" + q.Name)
		card("Q", x.name, node(x.c), node(x.b), node(x.e), model)
		kind := "NPN"
		if q.PNP {
			kind = "PNP"
		}
		p := fmt.Sprintf("%s(IS=%s BF=%s BR=%s NF=%s NR=%s", kind, num(float64(q.Is)), num(q.BF), num(q.BR), num(q.NF), num(q.NR))
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
		opt("CJE", float64(q.Cje))
		opt("CJC", float64(q.Cjc))
		models[model] = p + " MJE=0 MJC=0)"
	}
	for _, c := range n.clamps {
		hi, lo := c.name+".hi", c.name+".lo"
		card("V", hi, SPICEName(hi), node(c.b), "DC", num(c.hi))
		card("V", lo, SPICEName(lo), node(c.b), "DC", num(c.lo))
		card("D", hi, node(c.a), SPICEName(hi), "d_clamp")
		card("D", lo, SPICEName(lo), node(c.a), "d_clamp")
		models["d_clamp"] = fmt.Sprintf("D(IS=%s N=1)", num(clampIs))
	}
	for _, t := range n.triodes {
		m := t.model
		softly := func(u string, c float64) string { return fmt.Sprintf("ln(1+exp(%s*(%s)))/%s", num(c), u, num(c)) }
		vg, vp := fmt.Sprintf("v(%s,%s)", node(t.g), node(t.k)), fmt.Sprintf("v(%s,%s)", node(t.p), node(t.k))
		ig := fmt.Sprintf("%s*pow(%s,%s)", num(m.Gg), softly(vg, m.Cg), num(m.Xi))
		ik := fmt.Sprintf("%s*pow(%s,%s)", num(m.G), softly(vp+"/"+num(m.Mu)+"+"+vg, m.C), num(m.Gamma))
		card("B", t.name+".g", node(t.g), node(t.k), "I="+ig)
		card("B", t.name+".p", node(t.p), node(t.k), "I="+ik+"-"+ig)
	}
	for _, l := range n.limiters {
		card("B", l.name, node(l.a), node(l.b), fmt.Sprintf("I=%s*tanh(%s*v(%s,%s)/%s)", num(l.imax), num(l.gm), node(l.p), node(l.m), num(l.imax)))
	}
	for _, e := range n.noises {
		fmt.Fprintf(&b, "* %s: white noise of %s V/sqrt(Hz) in series\n", SPICEName(n.sources[e.source].name), num(e.density))
	}
	for _, line := range d.Lines {
		fmt.Fprintln(&b, line)
	}
	var names []string
	for name := range models {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		fmt.Fprintf(&b, ".model %s %s\n", name, models[name])
	}
	tol := d.RelTol
	if tol == 0 {
		tol = 1e-5
	}
	fmt.Fprintf(&b, ".options method=trap reltol=%s temp=27 tnom=27\n", num(tol))
	if d.Stop > 0 {
		fmt.Fprintf(&b, ".tran %s %s 0 %s\n", num(float64(d.Step)), num(float64(d.Stop)), num(float64(d.Step)))
	} else {
		fmt.Fprintln(&b, ".op")
	}
	if len(d.Probes) > 0 {
		list := ""
		for _, p := range d.Probes {
			list += " v(" + SPICEName(p) + ")"
		}
		fmt.Fprintln(&b, ".save"+list)
		if d.Stop > 0 {
			fmt.Fprintln(&b, ".print tran"+list)
		}
	}
	fmt.Fprintln(&b, ".end")
	return b.String()
}
