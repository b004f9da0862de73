package circuit

import "fmt"

// system is the netlist as matrices: C·dx/dt + G·x = b + B·u - Σ ports. x holds the node voltages, then the
// currents through voltage sources, controlled voltage sources and inductors.
type system struct {
	net    *Netlist
	size   int
	g      matrix[float64]
	b      []float64 // fixed sources
	inputs []int     // rows of the driven sources
	// branch rows
	sourceRow, vcvsRow, inductorRow []int
	ports                           []port
}

// port is where a non-linear device touches the circuit: the voltage from p to m controls it, its current flows
// from a through the device to b. For junctions both pairs are the same.
type port struct{ a, b, p, m int }

func (n *Netlist) system() *system {
	s := &system{net: n}
	row := len(n.nodes)
	next := func(count int) []int {
		rows := make([]int, count)
		for i := range rows {
			rows[i] = row
			row++
		}
		return rows
	}
	s.sourceRow, s.vcvsRow, s.inductorRow = next(len(n.sources)), next(len(n.vcvs)), next(len(n.inductors))
	s.size = row
	s.g = newMatrix[float64](row, row)
	s.b = make([]float64, row)
	for _, r := range n.resistors {
		stampConductance(s.g, r.a, r.b, 1/r.r)
	}
	for i, v := range n.sources {
		stampBranch(s.g, s.sourceRow[i], v.a, v.b)
		s.b[s.sourceRow[i]] = v.dc
		if v.driven {
			s.inputs = append(s.inputs, s.sourceRow[i])
		}
	}
	for i, e := range n.vcvs {
		r := s.vcvsRow[i]
		stampBranch(s.g, r, e.a, e.b)
		addAt(s.g, r, e.p, -e.gain)
		addAt(s.g, r, e.m, e.gain)
	}
	for i, l := range n.inductors {
		stampBranch(s.g, s.inductorRow[i], l.a, l.b)
	}
	for _, g := range n.vccs {
		addAt(s.g, g.a, g.p, g.gm)
		addAt(s.g, g.a, g.m, -g.gm)
		addAt(s.g, g.b, g.p, -g.gm)
		addAt(s.g, g.b, g.m, g.gm)
	}
	for _, f := range n.cccs {
		addAt(s.g, f.a, s.sourceRow[f.sense], f.gain)
		addAt(s.g, f.b, s.sourceRow[f.sense], -f.gain)
	}
	for _, q := range n.bjts {
		e, c := port{q.b, q.e, q.b, q.e}, port{q.b, q.c, q.b, q.c}
		if q.model.PNP {
			e, c = port{q.e, q.b, q.e, q.b}, port{q.c, q.b, q.c, q.b}
		}
		s.ports = append(s.ports, e, c)
	}
	for _, t := range n.triodes {
		s.ports = append(s.ports, port{t.g, t.k, t.g, t.k}, port{t.p, t.k, t.p, t.k})
	}
	for _, d := range n.diodes {
		s.ports = append(s.ports, port{d.a, d.b, d.a, d.b})
	}
	for _, c := range n.clamps {
		s.ports = append(s.ports, port{c.a, c.b, c.a, c.b})
	}
	for _, l := range n.limiters {
		s.ports = append(s.ports, port{l.a, l.b, l.p, l.m})
	}
	for _, p := range n.pairs {
		s.ports = append(s.ports, port{p.a, p.b, p.a, p.b})
	}
	return s
}

func addAt[T scalar](m matrix[T], r, c int, x T) {
	if r != ground && c != ground {
		m.add(r, c, x)
	}
}

func stampConductance[T scalar](m matrix[T], a, b int, g T) {
	addAt(m, a, a, g)
	addAt(m, b, b, g)
	addAt(m, a, b, -g)
	addAt(m, b, a, -g)
}

// stampBranch adds a branch current that leaves a and enters b, and the row v(a)-v(b) = ….
func stampBranch[T scalar](m matrix[T], row, a, b int) {
	addAt(m, a, row, T(1))
	addAt(m, b, row, T(-1))
	addAt(m, row, a, T(1))
	addAt(m, row, b, T(-1))
}

// across is the voltage of x from a to b.
func across[T scalar](x []T, a, b int) T {
	var v T
	if a != ground {
		v += x[a]
	}
	if b != ground {
		v -= x[b]
	}
	return v
}

// inject adds a current that leaves a and enters b to a right-hand side.
func inject[T scalar](rhs []T, a, b int, i T) {
	if a != ground {
		rhs[a] -= i
	}
	if b != ground {
		rhs[b] += i
	}
}

// devices is the non-linear part: port voltages in, port currents and their derivatives out. Derivatives form
// 1×1 blocks, and 2×2 blocks for transistors; g holds for port k its own derivative and x that to the
// transistor's other port.
type devices struct {
	diodes   []diode
	bjts     []bjt
	clamps   []clamp
	limiters []limiter
	pairs    []pair
	triodes  []triode
	firstT   int // port of the first triode; those of the transistors are before
	firstD   int // of the first diode: behind it every port is a device of its own
	firstC   int // of the first clamp
	firstL   int // of the first limiter
	firstP   int // of the first pair
	count    int
	crit     []float64 // critical voltages of the diodes
	weight   []float64 // how much an error in a port's voltage counts
}

func (n *Netlist) devices() devices {
	d := devices{diodes: n.diodes, bjts: n.bjts, clamps: n.clamps, limiters: n.limiters, pairs: n.pairs, triodes: n.triodes}
	d.firstT = 2 * len(d.bjts)
	d.firstD = d.firstT + 2*len(d.triodes)
	d.firstC = d.firstD + len(d.diodes)
	d.firstL = d.firstC + len(d.clamps)
	d.firstP = d.firstL + len(d.limiters)
	d.count = d.firstP + len(d.pairs)
	d.weight = make([]float64, d.count)
	for k := range d.weight {
		d.weight[k] = 1
	}
	for k := range d.pairs {
		d.weight[d.firstP+k] = pairWeight
	}
	for k, t := range d.triodes {
		d.weight[d.firstT+2*k], d.weight[d.firstT+2*k+1] = gridWeight, gridWeight*t.imu
	}
	for _, x := range d.diodes {
		d.crit = append(d.crit, critical(x.nvt, float64(x.model.Is)))
	}
	return d
}

// eval writes the currents at v and the derivatives: own[k] = di[k]/dv[k], and for the two ports k, k+1 of a
// transistor other[k] = di[k]/dv[k+1], other[k+1] = di[k+1]/dv[k].
func (d *devices) eval(v, i, own, other []float64) {
	var o bjtPoint
	p := 0
	for k := range d.bjts {
		d.bjts[k].k.eval(v[p], v[p+1], &o)
		i[p], i[p+1] = o.i1, o.i2
		own[p], own[p+1] = o.g11, o.g22
		other[p], other[p+1] = o.g12, o.g21
		p += 2
	}
	for k := range d.triodes {
		d.triodes[k].eval(v[p], v[p+1], &o)
		i[p], i[p+1] = o.i1, o.i2
		own[p], own[p+1] = o.g11, o.g22
		other[p], other[p+1] = o.g12, o.g21
		p += 2
	}
	for k := range d.diodes {
		i[p], own[p] = d.diodes[k].eval(v[p])
		p++
	}
	for k := range d.clamps {
		c := &d.clamps[k]
		if x := v[p]; x <= c.hi-clampFar && x >= c.lo+clampFar { // nearly always
			i[p], own[p] = c.idle(x)
		} else {
			i[p], own[p] = c.eval(x)
		}
		p++
	}
	for k := range d.limiters {
		i[p], own[p] = d.limiters[k].eval(v[p])
		p++
	}
	for k := range d.pairs {
		i[p], own[p] = d.pairs[k].eval(v[p])
		p++
	}
}

// limit shortens the Newton step from old to v in place and says whether it did.
func (d *devices) limit(v, old []float64) bool {
	limited := false
	p := 0
	for k := range d.bjts {
		law := &d.bjts[k].k
		if runsAway(v[p], old[p], law.nE, law.vcritE) {
			v[p], limited = limitJunction(v[p], old[p], law.nE, law.vcritE), true
		}
		if runsAway(v[p+1], old[p+1], law.nC, law.vcritC) {
			v[p+1], limited = limitJunction(v[p+1], old[p+1], law.nC, law.vcritC), true
		}
		p += 2
	}
	p = d.firstD
	for k := range d.diodes {
		if nvt := d.diodes[k].nvt; runsAway(v[p], old[p], nvt, d.crit[k]) {
			v[p], limited = limitJunction(v[p], old[p], nvt, d.crit[k]), true
		}
		p++
	}
	const clampCrit = 0.6 // V past the rail: where its junction carries some 10 mA
	for k := range d.clamps {
		c := &d.clamps[k]
		if runsAway(v[p]-c.hi, old[p]-c.hi, clampNVt, clampCrit) {
			v[p], limited = limitJunction(v[p]-c.hi, old[p]-c.hi, clampNVt, clampCrit)+c.hi, true
		}
		if runsAway(c.lo-v[p], c.lo-old[p], clampNVt, clampCrit) {
			v[p], limited = c.lo-limitJunction(c.lo-v[p], c.lo-old[p], clampNVt, clampCrit), true
		}
		p++
	}
	p = d.firstP
	for k := range d.pairs {
		if x, hit := d.pairs[k].limit(v[p], old[p]); hit {
			v[p], limited = x, true
		}
		p++
	}
	return limited
}

// reach is, for every port, the inverse of how long a Newton step limit leaves alone wherever it starts, in volts: 0 for ports that it does not know.
func (d *devices) reach() []float64 {
	r := make([]float64, d.count)
	for k := range d.bjts {
		law := &d.bjts[k].k
		r[2*k], r[2*k+1] = 1/(2*law.nE), 1/(2*law.nC)
	}
	for k := range d.diodes {
		r[d.firstD+k] = 1 / (2 * d.diodes[k].nvt)
	}
	for k := range d.clamps {
		r[d.firstC+k] = 1 / (2 * clampNVt)
	}
	for k := range d.pairs {
		r[d.firstP+k] = 1 / (2 * min(d.pairs[k].nf, d.pairs[k].nr))
	}
	return r
}

func (s *system) nodeIndex(name string) (int, error) {
	if name == Ground {
		return ground, nil
	}
	i, ok := s.net.index[name]
	if !ok {
		return 0, fmt.Errorf("circuit: no node %q", name)
	}
	return i, nil
}
