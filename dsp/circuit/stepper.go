package circuit

import (
	"errors"
	"fmt"
	"math"
)

// ErrSingular is returned where the circuit has no unique solution: a loop of voltage sources, a node that
// nothing touches.
var ErrSingular = errors.New("circuit: singular: a loop of voltage sources, or a node that nothing holds")

// stepper is the circuit reduced to one length of step.
type stepper struct {
	m, n, ni int
	mp, np   int // m and n, rounded up to what a vector operation takes: what is beyond is zero
	modes    modes
	diagonal []float64       // np: of the modes' step
	turn     []float64       // np: beside it, in blocks of two
	pus, k   []float64       // mp×(4·ni+n), of inputs and states, and mp×m, column by column
	drive    []float64       // np×(m+m+4·ni), column by column: what the device currents' bend, they themselves and the inputs bring to the modes
	y        [][]float64     // what each probe reads of the device currents, the inputs and the states
	z, past  []float64       // in a row the currents' bend, the device currents, four samples of every input, and the modal states before: of this step and of the last
	rest     []float64       // room for the modes' step where it is dense
	outS     matrix[float64] // histories from the modal states before the last step, from its inputs,
	outU     matrix[float64]
	outI     matrix[float64] // from its device currents and from their bend
	outB     matrix[float64]
	inS, inI matrix[float64] // and back

	// Of the ports, see slope; rows of its where there are few.
	p, want, tangent, off, ahead []float64
	fresh                        bool // there is no step before the last: off is all that is known
	slope                        *slope
	none                         []float64 // zeros, where there are many
	jac                          []float64 // the Jacobian's factors
	piv                          []int
}

// inputs and states are parts of z.
func (st *stepper) inputs(z []float64) []float64 { return z[2*st.m : 2*st.m+4*st.ni] }
func (st *stepper) states(z []float64) []float64 { return z[2*st.m+4*st.ni:][:st.n] }

// histories is one trapezoidal step of the circuit, reduced to the histories of its companion models: with inputs and device currents in
// w, s' = A·s + W·w; port voltages and probes are P·s + Pw·w and Y·s + Yw·w.
type histories struct {
	a, w   matrix[float64]
	ps, pw matrix[float64]
	ys, yw matrix[float64]
}

// histories eliminates the node voltages and branch currents for a step of h seconds.
func (p *OperatingPoint) histories(h float64, probes []string) (*histories, error) {
	s, n := p.sys, p.sys.net
	// Capacitors between the same two nodes are one.
	type pair struct{ a, b int }
	var caps []capacitor
	at := map[pair]int{}
	for _, c := range n.capacitors {
		if c.a == c.b {
			continue
		}
		key := pair{min(c.a, c.b), max(c.a, c.b)}
		if k, ok := at[key]; ok {
			caps[k].c += c.c
		} else {
			at[key] = len(caps)
			caps = append(caps, c)
		}
	}
	ns := len(caps) + len(n.inductors)
	m, ni := len(s.ports), len(s.inputs)

	g := s.g.clone()
	for k := range n.nodes {
		g.add(k, k, shunt)
	}
	weight := make([]float64, ns) // 2C/T or 2L/T
	for k, c := range caps {
		weight[k] = 2 * c.c / h
		stampConductance(g, c.a, c.b, weight[k])
	}
	for k, l := range n.inductors {
		w := 2 * l.l / h
		weight[len(caps)+k] = w
		r := s.inductorRow[k]
		g.add(r, r, -w)
	}
	f, ok := factor(g)
	if !ok {
		return nil, ErrSingular
	}
	// Right-hand sides: a unit of every state, every input, every port current.
	rhs := newMatrix[float64](s.size, ns+ni+m)
	put := func(r, c int, x float64) {
		if r != ground {
			rhs.add(r, c, x)
		}
	}
	for k, c := range caps { // the history current flows into a, out of b
		put(c.a, k, 1)
		put(c.b, k, -1)
	}
	for k := range n.inductors { // v - (2L/T)·i = -history
		put(s.inductorRow[k], len(caps)+k, -1)
	}
	for k, r := range s.inputs {
		put(r, ns+k, 1)
	}
	for k, pt := range s.ports {
		put(pt.a, ns+ni+k, -1)
		put(pt.b, ns+ni+k, 1)
	}
	x := f.solveMatrix(rhs)
	diff := func(dst []float64, p, q int) {
		for c := range dst {
			if p != ground {
				dst[c] += x.at(p, c)
			}
			if q != ground {
				dst[c] -= x.at(q, c)
			}
		}
	}
	// rows reads off two matrices: what the states give, and what inputs and currents give.
	rows := func(count int, fill func(r int, dst []float64)) (bs, bw matrix[float64]) {
		bs, bw = newMatrix[float64](count, ns), newMatrix[float64](count, ni+m)
		all := make([]float64, ns+ni+m)
		for r := 0; r < count; r++ {
			clear(all)
			fill(r, all)
			copy(bs.row(r), all[:ns])
			copy(bw.row(r), all[ns:])
		}
		return bs, bw
	}
	// New history: capacitor 2·(2C/T)·v - s, inductor 2·(2L/T)·i - s.
	a, bw := rows(ns, func(r int, dst []float64) {
		if r < len(caps) {
			diff(dst, caps[r].a, caps[r].b)
		} else {
			diff(dst, s.inductorRow[r-len(caps)], ground)
		}
		for c := range dst {
			dst[c] *= 2 * weight[r]
		}
		dst[r]--
	})
	ps, pw := rows(m, func(r int, dst []float64) { diff(dst, s.ports[r].p, s.ports[r].m) })
	nodes := make([]int, len(probes))
	for k, name := range probes {
		i, err := s.nodeIndex(name)
		if err != nil {
			return nil, err
		}
		nodes[k] = i
	}
	ys, yw := rows(len(probes), func(r int, dst []float64) { diff(dst, nodes[r], ground) })
	for _, v := range x.v {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w (step %v s)", ErrSingular, h)
		}
	}
	return &histories{a, bw, ps, pw, ys, yw}, nil
}

// stepper makes one length of step, in seconds, of so many microsteps; between is the weights of the inputs' last four samples within
// the step.
func (p *OperatingPoint) stepper(step float64, micro int, between func(x float64) [4]float64, probes []string) (*stepper, error) {
	h, err := p.histories(step/float64(micro), probes)
	if err != nil {
		return nil, err
	}
	a, bw, ps, pw, ys, yw := h.a, h.w, h.ps, h.pw, h.ys, h.yw
	ns, m := a.rows, ps.rows
	ni := bw.cols - m
	// Carry the histories g of one microstep before the step's end. Device currents i run straight from their last values to the new
	// ones, inputs along a polynomial through their last four samples u, so that
	//
	//	g = F·s + U·i_last + V·i + C·u,  F = A^(M-1),  with s = A·g_last + B·(u, i)_last the histories at the last step's end
	//
	// and q = F·s + U·i_last, which knows only the past, is the state: q' = A^M·q + (A^M·C + F·B)·u + (A^M·V + F·B + U)·i.
	//
	// What the currents' parabola has beyond the straight line reaches the histories by the same sum, of -x(1-x)/2 times the second difference.
	identity := newMatrix[float64](ns, ns)
	for k := 0; k < ns; k++ {
		identity.set(k, k, 1)
	}
	f1, c1 := identity, newMatrix[float64](ns, 4*ni)
	u1, v1, b1 := newMatrix[float64](ns, m), newMatrix[float64](ns, m), newMatrix[float64](ns, m)
	newest := [4]float64{3: 1}
	bu, bi := bw.columns(0, ni), bw.columns(ni, ni+m)
	for j := 1; j < micro; j++ {
		x := float64(j) / float64(micro)
		f1 = a.times(f1)
		u1, v1 = a.times(u1).plus(bi, 1-x), a.times(v1).plus(bi, x)
		c1, b1 = a.times(c1).plus(bu.taps(between(x)), 1), a.times(b1).plus(bi, -x*(1-x)/2)
	}
	am := a.times(f1)
	bn := bu.taps(newest)

	st := &stepper{m: m, n: ns, ni: ni}
	var to, from matrix[float64]
	st.modes, to, from = newModes(a, micro)
	st.mp, st.np = padded(m), (ns+3)/4*4
	st.diagonal, st.turn = make([]float64, st.np), make([]float64, st.np)
	for k := range ns {
		switch pairs := len(st.modes.re); {
		case st.modes.dense != nil:
			st.diagonal[k] = 1 // once they have made their step
		case k < 2*pairs:
			st.diagonal[k] = st.modes.re[k/2]
			st.turn[k] = st.modes.im[k/2] * float64(1-k%2*2)
		default:
			st.diagonal[k] = st.modes.real[k-2*pairs]
		}
	}
	st.pus = append(pw.columns(0, ni).taps(newest).plus(ps.times(c1), 1).byColumn(st.mp), ps.times(from).byColumn(st.mp)...)
	st.drive = append(st.drive, to.times(am.times(b1)).byColumn(st.np)...)
	st.drive = append(st.drive, to.times(am.times(v1).plus(f1.times(bi), 1).plus(u1, 1)).byColumn(st.np)...)
	st.drive = append(st.drive, to.times(am.times(c1).plus(f1.times(bn), 1)).byColumn(st.np)...)
	yi, yu, ys := yw.columns(ni, ni+m).plus(ys.times(v1), 1), yw.columns(0, ni).taps(newest).plus(ys.times(c1), 1), ys.times(from)
	for k := range probes {
		row := append(append(append([]float64(nil), yi.row(k)...), yu.row(k)...), ys.row(k)...)
		st.y = append(st.y, append(row, make([]float64, -len(row)&7)...))
	}
	st.outS, st.outU = a.times(from), a.times(c1).plus(bn, 1)
	st.outI, st.outB = a.times(v1).plus(bi, 1), a.times(b1)
	st.inS, st.inI = to.times(f1), to.times(u1)
	size := 2*m + 4*ni + st.np + 8 // probes read whole vectors
	st.z, st.past, st.rest = make([]float64, size), make([]float64, size), make([]float64, st.np)
	st.jac, st.piv = make([]float64, m*m), make([]int, m)
	k := pw.columns(ni, ni+m).plus(ps.times(v1), 1).byColumn(st.mp)
	if m > len(row{}) {
		for _, r := range []*[]float64{&st.p, &st.want, &st.tangent, &st.off, &st.ahead} {
			*r = make([]float64, st.mp)[:m]
		}
		st.k, st.none = k, make([]float64, st.mp)
		return st, nil
	}
	st.slope = newSlope(st.mp, m, k)
	sl := st.slope
	st.k = sl.k[:]
	st.p, st.want, st.tangent, st.off, st.ahead = sl.p[:m], sl.want[:m], sl.tangent[:m], sl.off[:m], sl.ahead[:m]
	return st, nil
}

// padded is how many rows of port voltages vector operations work on.
func padded(m int) int {
	if m <= 4 {
		return 4
	}
	return (m + 7) / 8 * 8
}

// times is the product of the columns a, of mp numbers each, and x, in dst, which has room for as many.
func (st *stepper) times(a, x, dst []float64) []float64 {
	if none := st.none; none != nil {
		carry(dst[:st.mp], none, none, none, a, x)
		return dst
	}
	clear(dst)
	for k, v := range x {
		for r, c := range a[k*st.mp:][:len(dst)] {
			dst[r] += c * v
		}
	}
	return dst
}

// advance reads the probes and moves the state, given the device currents at the step's end, and their bend, if it is to count.
//
// With their bend, the second differences of the device currents, it adds to the state what that brought it over the step: the parabola through the last three
// values in place of the straight line. A small current that always bends to the same side, into a large capacitor, would otherwise
// move the bias a little with every cycle. It does not move the voltages of this step and so cannot make it unstable: where the currents bend by more than
// a little, the step is divided.
func (st *stepper) advance(out, di, bend []float64) {
	m, z := st.m, st.z
	from := m
	if bend != nil {
		from = 0
		//lint:ignore S1001 so few that a call of copy takes longer
		for k, x := range bend {
			z[k] = x
		}
	}
	for k, x := range di {
		z[m+k] = x
	}
	for k, y := range st.y {
		out[k] = product(y, z[m:])
	}
	st.z, st.past = st.past, z
	if st.n == 0 {
		return
	}
	at := 2*m + 4*st.ni
	s, next := z[at:at+st.np], st.z[at:at+st.np]
	if st.modes.dense != nil {
		copy(st.rest, s)
		st.modes.step(st.rest[:st.n])
		s = st.rest
	}
	carry(next, s, st.diagonal, st.turn, st.drive[from*st.np:], z[from:at])
}

// histories sets h to the histories of the companion models a microstep before the last step's end, at which the device currents were i.
func (st *stepper) histories(h, i []float64) {
	u, s, bend := st.inputs(st.past), st.states(st.past), st.past[:st.m]
	for k := range h {
		h[k] = dot(st.outS.row(k), s) + dot(st.outU.row(k), u) + dot(st.outI.row(k), i) + dot(st.outB.row(k), bend)
	}
}
