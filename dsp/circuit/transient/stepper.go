package transient

import (
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// stepper is the circuit reduced to one length of step.
type stepper struct {
	m, n, ni int
	mp, np   int // m and n, rounded up to what a vector operation takes: what is beyond is zero
	modes    dense.Modes
	diagonal []float64 // np: of the modes' step
	turn     []float64 // np: beside it, in blocks of two
	pus, k   []float64 // mp×(4·ni+n), of inputs and states, and mp×m, column by column
	// np×(m+m+4·ni), column by column: what the second differences of the port currents, they
	// themselves and the inputs bring to the modes.
	drive []float64
	y     [][]float64 // what each probe reads of the port currents, the inputs and the states
	// In a row the second differences of the port currents, they themselves, four samples of every
	// input, and the modal states before: of this step and of the last.
	z, past []float64
	rest    []float64             // room for the modes' step where it is dense
	outS    dense.Matrix[float64] // histories from the modal states before the last step,
	outU    dense.Matrix[float64] // from its inputs,
	outI    dense.Matrix[float64] // from its port currents and from their second differences
	outB    dense.Matrix[float64]
	inS     dense.Matrix[float64] // and back
	inI     dense.Matrix[float64]

	// Of the ports, see workspace; rows of its where there are few.
	p, want, tangent, off, ahead []float64
	fresh                        bool // no step before the last: its error is all there is
	workspace                    *workspace
	none                         []float64 // zeros, where there are many
	jac                          []float64 // the Jacobian's factors
	piv                          []int
}

// inputs and states are parts of z.
func (st *stepper) inputs(z []float64) []float64 { return z[2*st.m : 2*st.m+4*st.ni] }
func (st *stepper) states(z []float64) []float64 { return z[2*st.m+4*st.ni:][:st.n] }

// newStepper makes one length of step, in seconds, of the given microsteps; between is the weights
// of the inputs' last four samples within the step.
func newStepper(point *circuit.OperatingPoint, step float64, micro int, between func(x float64) [4]float64,
	probes []string) (*stepper, error) {
	h, err := point.Discrete(step/float64(micro), probes)
	if err != nil {
		return nil, err
	}
	a, bw, ps, pw, ys, yw := h.A, h.W, h.PS, h.PW, h.YS, h.YW
	ns, m := a.Rows, ps.Rows
	ni := bw.Cols - m
	// Carry the histories g of one microstep before the step's end. Port currents i run straight
	// from their last values to the new ones, inputs along a polynomial through their last four
	// samples u, so that
	//
	//	g = F·s + U·i_last + V·i + C·u,  F = A^(M-1),
	//	s = A·g_last + B·(u, i)_last   the histories at the last step's end
	//
	// and q = F·s + U·i_last, which knows only the past, is the state:
	// q' = A^M·q + (A^M·C + F·B)·u + (A^M·V + F·B + U)·i.
	//
	// What the currents' parabola has beyond the straight line reaches the histories by the same
	// sum, of -x(1-x)/2 times the second difference.
	identity := dense.New[float64](ns, ns)
	for k := 0; k < ns; k++ {
		identity.Set(k, k, 1)
	}
	f1, c1 := identity, dense.New[float64](ns, 4*ni)
	u1, v1, b1 := dense.New[float64](ns, m), dense.New[float64](ns, m), dense.New[float64](ns, m)
	newest := between(1)
	bu, bi := bw.Columns(0, ni), bw.Columns(ni, ni+m)
	for j := 1; j < micro; j++ {
		x := float64(j) / float64(micro)
		f1 = a.Times(f1)
		u1, v1 = a.Times(u1).Plus(bi, 1-x), a.Times(v1).Plus(bi, x)
		c1, b1 = a.Times(c1).Plus(bu.Spread(between(x)), 1), a.Times(b1).Plus(bi, -x*(1-x)/2)
	}
	am := a.Times(f1)
	bn := bu.Spread(newest)

	st := &stepper{m: m, n: ns, ni: ni}
	var to, from dense.Matrix[float64]
	st.modes, to, from = dense.NewModes(a, micro)
	st.mp, st.np = padded(m), (ns+3)/4*4
	st.diagonal, st.turn = make([]float64, st.np), make([]float64, st.np)
	for k := range ns {
		switch pairs := len(st.modes.Re); {
		case st.modes.Dense != nil:
			st.diagonal[k] = 1 // once they have made their step
		case k < 2*pairs:
			st.diagonal[k] = st.modes.Re[k/2]
			st.turn[k] = st.modes.Im[k/2] * float64(1-k%2*2)
		default:
			st.diagonal[k] = st.modes.Real[k-2*pairs]
		}
	}
	st.pus = append(pw.Columns(0, ni).Spread(newest).Plus(ps.Times(c1), 1).ByColumn(st.mp), ps.Times(from).ByColumn(st.mp)...)
	st.drive = append(st.drive, to.Times(am.Times(b1)).ByColumn(st.np)...)
	st.drive = append(st.drive, to.Times(am.Times(v1).Plus(f1.Times(bi), 1).Plus(u1, 1)).ByColumn(st.np)...)
	st.drive = append(st.drive, to.Times(am.Times(c1).Plus(f1.Times(bn), 1)).ByColumn(st.np)...)
	yi, yu, ys := yw.Columns(ni, ni+m).Plus(ys.Times(v1), 1), yw.Columns(0, ni).Spread(newest).Plus(ys.Times(c1), 1), ys.Times(from)
	for k := range probes {
		row := append(append(append([]float64(nil), yi.Row(k)...), yu.Row(k)...), ys.Row(k)...)
		st.y = append(st.y, append(row, make([]float64, -len(row)&7)...))
	}
	st.outS, st.outU = a.Times(from), a.Times(c1).Plus(bn, 1)
	st.outI, st.outB = a.Times(v1).Plus(bi, 1), a.Times(b1)
	st.inS, st.inI = to.Times(f1), to.Times(u1)
	size := 2*m + 4*ni + st.np + 8 // probes read whole vectors
	st.z, st.past, st.rest = make([]float64, size), make([]float64, size), make([]float64, st.np)
	st.jac, st.piv = make([]float64, m*m), make([]int, m)
	k := pw.Columns(ni, ni+m).Plus(ps.Times(v1), 1).ByColumn(st.mp)
	if m > len(row{}) {
		for _, r := range []*[]float64{&st.p, &st.want, &st.tangent, &st.off, &st.ahead} {
			*r = make([]float64, st.mp)[:m]
		}
		st.k, st.none = k, make([]float64, st.mp)
		return st, nil
	}
	st.workspace = newWorkspace(st.mp, m, k)
	sl := st.workspace
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

// times is the product of the columns a, of mp numbers each, and x, in dst, which has room for as
// many.
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

// advance reads the probes and moves the state, given the port currents at the step's end, and
// their second differences, if these are to count.
//
// With them it adds to the state what they brought it over the step: the parabola through the last
// three values in place of the straight line. A small current that is always curved to the same
// side, into a large capacitor, would otherwise move the bias a little with every cycle. It does
// not move the voltages of this step and so cannot make it unstable: where the second differences
// are more than small, the step is divided.
func (st *stepper) advance(out, di, second []float64) {
	m, z := st.m, st.z
	from := m
	if second != nil {
		from = 0
		//lint:ignore S1001 so few that a call of copy takes longer
		for k, x := range second {
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
	if st.modes.Dense != nil {
		copy(st.rest, s)
		st.modes.Step(st.rest[:st.n])
		s = st.rest
	}
	carry(next, s, st.diagonal, st.turn, st.drive[from*st.np:], z[from:at])
}

// histories sets h to the histories of the companion models a microstep before the last step's end,
// at which the port currents were i.
func (st *stepper) histories(h, i []float64) {
	u, s, second := st.inputs(st.past), st.states(st.past), st.past[:st.m]
	for k := range h {
		h[k] = dense.Dot(st.outS.Row(k), s) + dense.Dot(st.outU.Row(k), u) + dense.Dot(st.outI.Row(k), i) + dense.Dot(st.outB.Row(k), second)
	}
}
