package deck

import (
	"fmt"
	"math"
	"strings"

	"drywire/dsp"
	"drywire/dsp/circuit"
)

// Builder adds parts to a circuit; circuit.Netlist has methods of these names.
type Builder interface {
	R(name, a, b string, r dsp.Ohm)
	ColdR(name, a, b string, r dsp.Ohm)
	C(name, a, b string, c dsp.Farad)
	L(name, a, b string, l dsp.Henry)
	V(name, a, b string, v dsp.Volt)
	E(name, a, b, p, m string, gain float64)
	G(name, a, b, p, m string, gm float64)
	F(name, a, b, ammeter string, gain float64)
	D(name, a, k string, d circuit.Diode)
	Antiparallel(name, a, b string, forward, reverse circuit.Diode)
	Q(name, c, b, e string, q circuit.BJT)
	T(name, plate, grid, cathode string, t circuit.Triode)
	Limiter(name, a, b, p, m string, gm, most float64)
	Clamp(name, a, b string, lo, hi dsp.Volt)
	// Follower is an amplifier between two rails, from a node that it does not load to one that it
	// drives from ground without resistance.
	Follower(name, in, out string, gain float64, lo, hi dsp.Volt)
}

// part is what becomes of one card, or of some that belong together.
type part struct {
	at    place
	nodes []string
	make  func(v *values) func(Builder)
}

// Build adds the circuit, in the order of its cards, with its knobs at these positions, which are
// in their ranges: between In, Out, circuit.Ground, SupplyNode where it has a supply, and nodes of
// its own, which have no dot in their names. A value that no part has, at positions that Read has
// not tried, is the nearest that one has.
func (c *Circuit) Build(b Builder, knobs map[string]float64) {
	for _, add := range c.resolve(knobs, &faulty{}) {
		add(b)
	}
}

// resolve works out all values at positions of the knobs.
func (c *Circuit) resolve(knobs map[string]float64, f *faulty) (list []func(Builder)) {
	v := &values{f: f, knobs: knobs, known: map[*binding]float64{}, busy: map[*binding]bool{}}
	for _, p := range c.parts {
		list = append(list, p.make(v))
	}
	if len(f.list) > 0 {
		for k := range f.list {
			f.list[k].Text += where(c.Knobs, knobs)
		}
	}
	return list
}

// where says where the knobs are; "" where they are as the deck has them.
func where(knobs []Knob, at map[string]float64) string {
	text := ""
	for _, k := range knobs {
		if at[k.Name] != k.Default {
			text += fmt.Sprintf(", %s=%.3g", k.Name, at[k.Name])
		}
	}
	if text == "" {
		return ""
	}
	return " (at " + text[2:] + ")"
}

// values works expressions out at positions of the knobs.
type values struct {
	f     *faulty
	knobs map[string]float64
	known map[*binding]float64
	busy  map[*binding]bool
}

func (v *values) eval(e *expr, in *scope) (float64, error) {
	return e.value(func(name string, at place) (float64, error) {
		b := in.find(name)
		if b == nil {
			return 0, placed{at, fmt.Sprintf("no parameter %q", clip(name))}
		}
		if b.e == nil {
			return v.knobs[b.knob], nil
		}
		if x, ok := v.known[b]; ok {
			return x, nil
		}
		if v.busy[b] {
			return 0, placed{at, fmt.Sprintf("%s is worked out from itself", clip(name))}
		}
		v.busy[b] = true
		x, err := v.eval(b.e, b.in)
		delete(v.busy, b)
		if err == nil {
			v.known[b] = x
		}
		return x, err
	})
}

// within is an expression's value, which has to lie in a range: else a fault, and the nearest that
// does.
func (v *values) within(e *expr, in *scope, what string, lo, hi float64) float64 {
	x, err := v.eval(e, in)
	if err != nil {
		v.f.at(err.(placed).at, "%v", err)
		return lo
	}
	if x < lo || x > hi {
		v.f.at(e.at, "%s of %.4g; it can be from %.4g to %.4g", what, x, lo, hi)
		return math.Max(lo, math.Min(hi, x))
	}
	return x
}

// leastResistance is what a resistance under it counts as, in ohms, the end of a track for one: as
// the reference simulator has it of 0.
const leastResistance = 1e-3

// The ranges of values.
const (
	mostOhms    = 1e12
	leastFarads = 1e-16
	mostFarads  = 1
	leastHenrys = 1e-9
	mostHenrys  = 1e4
	mostVolts   = 1000
	mostAmperes = 10
	mostGain    = 1e9
)

// combine makes parts of elements. Some that are printed as several cards are one part again: two
// diodes head to tail, the two B cards of a triode, the four of what limits an amplifier.
func combine(all []placedElement, f *faulty) (parts []part) {
	touched := map[string]int{}
	for _, e := range all {
		for _, n := range e.nodes {
			touched[n]++
		}
	}
	sources := map[string]bool{}
	for k := 0; k < len(all); k++ {
		e := all[k]
		if p, ok := clampOf(all[k:], touched); ok {
			parts = append(parts, p)
			k += 3
			continue
		}
		if p, ok := pairOf(all[k:]); ok {
			parts = append(parts, p)
			k++
			continue
		}
		if e.law != nil && e.law.form == "grid" {
			if p, ok := triodeOf(all[k:]); ok {
				parts = append(parts, p)
				k++
				continue
			}
			f.at(e.at, "a triode's grid current, and the next card is not the plate's of the same triode")
			continue
		}
		if e.law != nil && e.law.form == "plate" {
			f.at(e.at, "a triode's plate current, and the card before is not the grid's of the same triode")
			continue
		}
		if e.letter == 'v' {
			sources[e.whole] = true
		}
		if e.letter == 'f' && !sources[e.of] {
			f.at(e.ofAt, "%s measures the current of %s, which is no voltage source above it", e.name, strings.ToLower(clip(e.of)))
			continue
		}
		parts = append(parts, single(e))
	}
	return parts
}

// single is the part of one card.
func single(e placedElement) part {
	p := part{at: e.at, nodes: e.nodes}
	name, n, in := e.whole, e.nodes, e.scope
	switch e.letter {
	case 'r':
		p.make = func(v *values) func(Builder) {
			r := dsp.Ohm(math.Max(leastResistance, v.within(e.value, in, "a resistance", 0, mostOhms)))
			return func(b Builder) {
				if e.cold {
					b.ColdR(name, n[0], n[1], r)
				} else {
					b.R(name, n[0], n[1], r)
				}
			}
		}
	case 'c':
		p.make = func(v *values) func(Builder) {
			c := v.within(e.value, in, "a capacitance", leastFarads, mostFarads)
			return func(b Builder) { b.C(name, n[0], n[1], dsp.Farad(c)) }
		}
	case 'l':
		p.make = func(v *values) func(Builder) {
			l := v.within(e.value, in, "an inductance", leastHenrys, mostHenrys)
			return func(b Builder) { b.L(name, n[0], n[1], dsp.Henry(l)) }
		}
	case 'v':
		p.make = func(v *values) func(Builder) {
			x := v.within(e.value, in, "a voltage", -mostVolts, mostVolts)
			return func(b Builder) { b.V(name, n[0], n[1], dsp.Volt(x)) }
		}
	case 'i':
		p.make = func(v *values) func(Builder) {
			x := v.within(e.value, in, "a current", -mostAmperes, mostAmperes)
			one := strings.ToLower(name) + "/volt"
			return func(b Builder) {
				b.V(name, one, circuit.Ground, 1)
				b.G(name+"/G", n[0], n[1], one, circuit.Ground, x)
			}
		}
	case 'e', 'g', 'f':
		p.make = func(v *values) func(Builder) {
			x := v.within(e.value, in, "a gain", -mostGain, mostGain)
			return func(b Builder) {
				switch e.letter {
				case 'e':
					b.E(name, n[0], n[1], n[2], n[3], x)
				case 'g':
					b.G(name, n[0], n[1], n[2], n[3], x)
				default:
					b.F(name, n[0], n[1], e.of, x)
				}
			}
		}
	case 'd':
		p.make = func(v *values) func(Builder) {
			d, rs := e.diode(v)
			return func(b Builder) { b.D(name, behind(b, name, "rs", n[0], rs), n[1], d) }
		}
	case 'q':
		p.make = func(v *values) func(Builder) {
			q, rc, rb, re := e.transistor(v)
			return func(b Builder) {
				b.Q(name, behind(b, name, "rc", n[0], rc), behind(b, name, "rb", n[1], rb), behind(b, name, "re", n[2], re), q)
			}
		}
	case 'b':
		p.nodes = append(append([]string(nil), n...), e.law.nodes...)
		p.make = e.behavioural
	}
	return p
}

// behind is a node behind a resistance of a device's model; the node itself where there is none.
func behind(b Builder, name, which, node string, r float64) string {
	if r < leastResistance {
		return node
	}
	inner := strings.ToLower(name) + "/" + which
	b.R(name+"/"+strings.ToUpper(which), node, inner, dsp.Ohm(r))
	return inner
}

// param is a parameter of the element's model in its range, or what it is where the card has none.
func (e placedElement) param(v *values, name string, usual, lo, hi float64) float64 {
	x := e.model.param(name)
	if x == nil {
		return usual
	}
	return v.within(x, e.from, strings.ToUpper(name), lo, hi)
}

// diode is the model of a diode, and its series resistance. Defaults are those of SPICE.
func (e placedElement) diode(v *values) (circuit.Diode, float64) {
	return circuit.Diode{
		Name: e.model.name,
		Is:   dsp.Ampere(e.param(v, "is", 1e-14, 1e-30, 1)), N: e.param(v, "n", 1, 0.1, 100),
		Cj: dsp.Farad(e.param(v, "cjo", 0, 0, 1e-6)),
	}, e.param(v, "rs", 0, 0, 1e6)
}

// transistor is the model of a transistor, and the resistances of its collector, base and emitter.
func (e placedElement) transistor(v *values) (q circuit.BJT, rc, rb, re float64) {
	amps := func(name string, usual, lo float64) dsp.Ampere { return dsp.Ampere(e.param(v, name, usual, lo, 1)) }
	early := func(name string) dsp.Volt { return dsp.Volt(e.param(v, name, 0, 0, 1e9)) }
	farads := func(name string) dsp.Farad { return dsp.Farad(e.param(v, name, 0, 0, 1e-6)) }
	emission := func(name string, usual float64) float64 { return e.param(v, name, usual, 0.1, 100) }
	q = circuit.BJT{
		Name: e.model.name, PNP: e.model.kind == "pnp",
		Is: amps("is", 1e-16, 1e-30), BF: e.param(v, "bf", 100, 1e-3, 1e6), BR: e.param(v, "br", 1, 1e-6, 1e6),
		NF: emission("nf", 1), NR: emission("nr", 1), VAF: early("vaf"), VAR: early("var"),
		Ise: amps("ise", 0, 0), Isc: amps("isc", 0, 0), NE: emission("ne", 1.5), NC: emission("nc", 2),
		Cje: farads("cje"), Cjc: farads("cjc"),
		Flicker: dsp.Hertz(e.param(v, "kf", 0, 0, 1) / (2 * circuit.Charge)),
	}
	ohms := func(name string) float64 { return e.param(v, name, 0, 0, 1e6) }
	return q, ohms("rc"), ohms("rb"), ohms("re")
}

// numbers is the numbers of a law, of which some have to be the same.
func (e placedElement) numbers(v *values) []float64 {
	x := make([]float64, len(e.law.c))
	for k, c := range e.law.c {
		x[k] = v.within(c, e.scope, "a number", -1e15, 1e15)
	}
	for _, same := range e.law.again {
		if x[same[0]] != x[same[1]] {
			v.f.at(e.law.c[same[1]].at, "%.4g, where the same is %.4g before", x[same[1]], x[same[0]])
		}
	}
	return x
}

// behavioural is a limiter or a follower.
func (e placedElement) behavioural(v *values) func(Builder) {
	x, n, sense := e.numbers(v), e.nodes, e.law.nodes
	if e.law.form == "limit" {
		if !(x[0] > 0 && x[1] > 0) {
			v.f.at(e.at, "a slew rate's current and transconductance are above 0")
			x[0], x[1] = math.Max(x[0], 1e-12), math.Max(x[1], 1e-12)
		}
		return func(b Builder) { b.Limiter(e.whole, n[0], n[1], sense[0], sense[1], x[1], x[0]) }
	}
	if !(x[0] > 0 && x[1] < 0) {
		v.f.at(e.at, "an amplifier's rails, %.4g V and %.4g V, are not on either side of 0 V", x[1], x[0])
		x[0], x[1] = math.Max(x[0], 1e-3), math.Min(x[1], -1e-3)
	}
	return func(b Builder) {
		b.Follower(e.whole, sense[0], n[0], x[2], dsp.Volt(x[1]), dsp.Volt(x[0]))
	}
}

// pairOf is two diodes head to tail, one card behind the other.
func pairOf(all []placedElement) (p part, ok bool) {
	if len(all) < 2 {
		return p, false
	}
	f, r := all[0], all[1]
	if f.letter != 'd' || r.letter != 'd' || f.nodes[0] != r.nodes[1] || f.nodes[1] != r.nodes[0] || f.model.param("rs") != nil || r.model.param("rs") != nil {
		return p, false
	}
	return part{at: f.at, nodes: append(append([]string(nil), f.nodes...), r.nodes...), make: func(v *values) func(Builder) {
		forward, _ := f.diode(v)
		reverse, _ := r.diode(v)
		return func(b Builder) { b.Antiparallel(f.whole, f.nodes[0], f.nodes[1], forward, reverse) }
	}}, true
}

// clampOf is two sources and two diodes of the model d_clamp, as an amplifier's rails are printed.
func clampOf(all []placedElement, touched map[string]int) (p part, ok bool) {
	if len(all) < 4 {
		return p, false
	}
	hi, lo, up, down := all[0], all[1], all[2], all[3]
	if hi.letter != 'v' || lo.letter != 'v' || up.letter != 'd' || down.letter != 'd' || up.of != "d_clamp" || down.of != "d_clamp" {
		return p, false
	}
	high, low, node, to := hi.nodes[0], lo.nodes[0], up.nodes[0], hi.nodes[1]
	is, n := up.model.param("is"), up.model.param("n")
	if up.nodes[1] != high || down.nodes[0] != low || down.nodes[1] != node || lo.nodes[1] != to || touched[high] != 2 || touched[low] != 2 ||
		len(up.model.params) != 2 || is == nil || is.op != "num" || is.num != 1e-12 || n == nil || n.op != "num" || n.num != 1 {
		return p, false
	}
	return part{at: hi.at, nodes: []string{node, to}, make: func(v *values) func(Builder) {
		top := v.within(hi.value, hi.scope, "a voltage", -mostVolts, mostVolts)
		bottom := v.within(lo.value, lo.scope, "a voltage", -mostVolts, mostVolts)
		if !(top > bottom) {
			v.f.at(hi.at, "the upper rail, %.4g V, is not above the lower, %.4g V", top, bottom)
			top = bottom + 1e-3
		}
		return func(b Builder) { b.Clamp(hi.whole, node, to, dsp.Volt(bottom), dsp.Volt(top)) }
	}}, true
}

// triodeOf is the grid's and the plate's current of one triode.
func triodeOf(all []placedElement) (p part, ok bool) {
	if len(all) < 2 || all[1].law == nil || all[1].law.form != "plate" {
		return p, false
	}
	g, a := all[0], all[1]
	plate, grid, cathode, s := a.nodes[0], g.nodes[0], g.nodes[1], a.law.nodes
	if a.nodes[1] != cathode || s[0] != plate || s[1] != cathode || s[2] != grid || s[3] != cathode || s[4] != grid || s[5] != cathode || g.scope != a.scope {
		return p, false
	}
	return part{at: g.at, nodes: []string{plate, grid, cathode}, make: func(v *values) func(Builder) {
		x, y := g.numbers(v), a.numbers(v)
		for k, of := range []int{5, 6, 7, 8} {
			if x[k] != y[of] {
				v.f.at(a.law.c[of].at, "%.4g, where the grid's card has %.4g", y[of], x[k])
			}
		}
		for _, k := range []int{0, 1, 2, 4, 5, 6, 8} {
			if !(y[k] > 0 && y[k] < 1e9) {
				v.f.at(a.law.c[k].at, "a triode has no %.4g here", y[k])
				y[k] = 1
			}
		}
		t := circuit.Triode{Name: "triode", Mu: y[2], G: y[0], Gamma: y[4], C: y[1], Gg: y[5], Xi: y[8], Cg: y[6]}
		return func(b Builder) { b.T(g.whole, plate, grid, cathode, t) }
	}}, true
}
