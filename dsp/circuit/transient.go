package circuit

import (
	"errors"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/gemv"
)

// Report is how the solver fared since the last Reset.
type Report struct {
	Steps         int64
	Evaluations   int64   // of the devices, over all steps; 0 for a linear circuit
	MaxIterations int     // Newton iterations that the worst step took
	Continued     int64   // steps that plain Newton did not solve and continuation did
	Divided       int64   // steps that were taken again in small steps
	Failures      int64   // steps that did not converge: their voltages are held, bounded, and wrong
	Residual      float64 // the largest error left in a port voltage, estimated from the last Newton step, in volts
}

// Add joins another report to r.
func (r *Report) Add(o Report) {
	r.Steps += o.Steps
	r.Evaluations += o.Evaluations
	r.MaxIterations = max(r.MaxIterations, o.MaxIterations)
	r.Continued += o.Continued
	r.Divided += o.Divided
	r.Failures += o.Failures
	r.Residual = max(r.Residual, o.Residual)
}

// Transient is the circuit over time by the trapezoidal rule, at a fixed step that is divided where the devices
// switch. Everything is counted from the operating point, so that a circuit at rest stays there to the last bit.
//
// Every capacitor and inductor keeps one state, the history of its companion model. With the deviations of
// states s, inputs u, device currents i and port voltages v from the operating point, one step is
//
//	p  = Ps·s + Pu·u              the port voltages that the linear part alone would give
//	v  = p + K·i(v)               solved for v by Newton's method
//	y  = Ys·s + Yu·u + Yi·i       what the probes read
//	s' = A·s + Su·u + Si·i
//
// A is brought to block-diagonal form (its modes), which turns n² products per step into 2n.
//
// Three things make a step of some microseconds as good as one of a tenth of it. The linear part is not carried by one
// trapezoidal step but by microSteps of them, along which the inputs run on a cubic and the device currents straight (what their bend brings is added after
// the step); they are worked out once, when the step is made, so its resonances lie where they belong and its fast modes die.
// A step in which the devices bend (a transistor goes from cut-off to saturation in less than a step) is taken again in four quarters, and a quarter in
// which they still bend in four of its own, the input interpolated by a cubic; this depends on the signal alone, never on how
// it is cut into calls. And see Options.Smooth.
type Transient struct {
	point *OperatingPoint
	dev   devices
	m, n  int // ports, states
	ni    int // inputs
	y0    []float64
	micro float64 // seconds of a microstep

	levels  []*stepper   // the whole step, its quarter, its sixteenth, …
	spans   []int        // how many of the smallest steps each of them is
	current []bool       // which of them hold the present state
	owner   int          // the one that moved last
	weights [][4]float64 // of the cubic, at the end of each smallest step

	v, i     []float64 // last solved port voltages, and device currents, absolute
	own, oth []float64 // derivatives of the currents at the last evaluation
	v0       []float64 // port voltages at the operating point
	weight   []float64 // of errors in the port voltages
	taps     []float64 // the last four samples of every input, the newest last
	line     []float64 // the same within a step: only the inputs at the last small step's end and at this one's
	last     []float64 // device currents at the end of the last step, deviations
	before   []float64 // device currents a step earlier
	width    float64   // the length of the last step, as a share of the whole
	history  []float64 // of the companion models
	smooth   []smoother
	outs     []float64
	quick    func(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) // newton, or its form for few ports
	bend     float64                                                                  // 12 times the tolerance: a parabola's bend over a step is a twelfth of its second difference
	calm     int                                                                      // undivided steps since the last divided one, up to 3
	scratch  newtonScratch
	report   Report
}

// smoother gathers one probe's voltage under the rising and the falling half of the triangle.
type smoother struct {
	y1, y2 float64 // the last two values
	d1, d2 float64 // the last two second differences
	rise   float64 // of the step before, the weight still without its falling half
	a, b   float64 // of this step
}

// stepper is the circuit reduced to one length of step.
type stepper struct {
	m, n, ni     int
	mp, np       int // m and n, rounded up to what a vector operation takes: what is beyond is zero
	modes        modes
	diagonal     []float64       // np: of the modes' step
	pus, k       []float64       // mp×(4·ni+n), of inputs and states, and mp×m, column by column
	drive        []float64       // np×(4·ni+m+m), column by column: what inputs, device currents and their bend bring to the modes
	ys, yu, yi   []float64       // probes × n, 4·ni, m
	w            []float64       // of the last step: u, i and bend in a row
	u, i, bend   []float64       // the inputs' samples, the device currents and their second differences
	room         []float64       // mp
	rest         []float64       // room for the modes' step where it is dense
	outS, outU   matrix[float64] // histories from the last modal state, from the inputs,
	outI, outB   matrix[float64] // from the device currents and from their bend
	inS, inI     matrix[float64] // and back
	s, last      []float64       // modal states, now and a step ago; behind each, up to np, zeros
	known, past  []float64       // the inputs' samples and, behind them, s; room for them, and last
	tangent, off []float64       // where the last tangent led, and by how much the solution lay off it
	p            []float64       // linear parts of the last solved port voltages
	inverse      []float64       // of the Jacobian, mp×mp column by column
	inverted     bool            // it is the last; else factors are, in jac and piv
	jac          []float64
	piv          []int
}

type newtonScratch struct {
	p, v, next, di, d, f, base, held, target, sum []float64
}

// ErrSingular is returned where the circuit has no unique solution: a loop of voltage sources, a node that
// nothing touches.
var ErrSingular = errors.New("circuit: singular: a loop of voltage sources, or a node that nothing holds")

// Options of a transient.
type Options struct {
	Step dsp.Second
	// Levels is how many times a step may be divided by four where the devices switch: 0 to 3.
	Levels int
	// Tolerance is how far, in volts, a device current that bends within a step may move a port by its bend before the step is
	// divided.
	Tolerance dsp.Volt
	// Smooth makes a probe's output the mean of its voltage weighed by a triangle two steps wide, one step late, in
	// place of its value at one instant. An edge that falls between two steps then leaves its true area behind, and what
	// folds down falls by another 12 dB an octave. The response is that of the triangle, sinc²(f·Step).
	Smooth bool
}

// NewTransient prepares the circuit. Probes name the nodes that are read.
func (n *Netlist) NewTransient(o Options, probes ...string) (*Transient, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	t := &Transient{point: point, dev: point.dev, m: point.dev.count, bend: 12 * float64(o.Tolerance), micro: float64(o.Step) / microSteps}
	if o.Levels < 0 || o.Levels > 3 {
		panic("circuit: a step is divided by four 0 to 3 times")
	}
	if t.m == 0 {
		o.Levels = 0
	}
	for l, parts := 0, 1; l <= o.Levels; l, parts = l+1, 4*parts {
		between := cubic
		if l > 0 {
			between = straight // between points of the cubic
		}
		st, err := point.stepper(float64(o.Step)/float64(parts), microSteps/parts, between, probes)
		if err != nil {
			return nil, err
		}
		t.levels = append(t.levels, st)
		t.spans = append(t.spans, 1<<(2*(o.Levels-l)))
	}
	for j := 1; j <= t.spans[0]; j++ {
		t.weights = append(t.weights, cubic(float64(j)/float64(t.spans[0])))
	}
	t.current = make([]bool, len(t.levels))
	switch t.quick = t.newton; t.m {
	case 2:
		t.quick = t.newton2
	case 3:
		t.quick = t.newton3
	case 4:
		t.quick = t.newton4
	case 5, 6, 7, 8:
		t.quick = t.newton8
	}
	t.n, t.ni = t.levels[0].n, t.levels[0].ni
	for _, name := range probes {
		t.y0 = append(t.y0, point.V(name))
	}
	vec := func() []float64 { return make([]float64, padded(t.m))[:t.m] } // vector operations use the rest
	t.v, t.i, t.own, t.oth, t.v0, t.weight = vec(), vec(), vec(), vec(), vec()[:0], vec()[:0]
	t.taps, t.line = make([]float64, 4*t.ni), make([]float64, 4*t.ni)
	t.last, t.before, t.history = vec(), vec(), make([]float64, t.n)
	if o.Smooth {
		t.smooth = make([]smoother, len(probes))
	}
	t.outs = make([]float64, len(probes))
	t.v0, t.weight = append(t.v0, point.v...), append(t.weight, t.dev.weight...)
	t.scratch = newtonScratch{vec(), vec(), vec(), vec(), vec(), vec(), vec(), vec(), vec(), vec()}
	t.dev.eval(point.v, t.scratch.base, t.own, t.oth)
	t.Reset()
	return t, nil
}

// microSteps is how many trapezoidal steps carry the linear part over one step: at 192 kHz the frequencies of its
// resonances up to 16 kHz come out within 6e-6.
const microSteps = 64

// cubic is the weights of the samples at -2, -1, 0 and 1 in the cubic through them, at x between 0 and 1.
func cubic(x float64) [4]float64 {
	return [4]float64{
		-x * (x + 1) * (x - 1) / 6,
		x * (x + 2) * (x - 1) / 2,
		-(x + 2) * (x + 1) * (x - 1) / 2,
		(x + 2) * (x + 1) * x / 6,
	}
}

// straight is the weights of the last two of four samples on the line between them, at x between 0 and 1.
func straight(x float64) [4]float64 { return [4]float64{2: 1 - x, 3: x} }

// Point is the operating point from which the circuit starts.
func (t *Transient) Point() *OperatingPoint { return t.point }

// Report is how the solver fared since the last Reset.
func (t *Transient) Report() Report { return t.report }

// Reset puts the circuit back to rest at its operating point.
func (t *Transient) Reset() {
	clear(t.taps)
	clear(t.line)
	clear(t.last)
	clear(t.before)
	clear(t.smooth)
	t.calm = 3
	t.width = 1
	copy(t.v, t.point.v)
	t.dev.eval(t.v, t.i, t.own, t.oth)
	for l, st := range t.levels {
		clear(st.s)
		clear(st.last)
		clear(st.u)
		clear(st.bend)
		t.current[l] = false
	}
	t.reseat(t.levels[0])
	t.owner, t.current[0] = 0, true
	t.report = Report{}
}

// reseat makes the last solution the point from which the stepper predicts.
func (t *Transient) reseat(st *stepper) {
	di := t.last
	kd := st.times(st.k, di, t.scratch.sum)
	for k := range di {
		st.p[k] = t.v[k] - t.point.v[k] - kd[k]
	}
	clear(st.off)
	st.tangentAt(&t.dev, t.own, t.oth)
}

// Step advances by one step: in holds the voltages of the driven sources at its end, out receives the probes
// there (with Smooth, a step before).
func (t *Transient) Step(out, in []float64) {
	t.report.Steps++
	for k, x := range in {
		u := t.taps[4*k : 4*k+4 : 4*k+4]
		u[0], u[1], u[2], u[3] = u[1], u[2], u[3], x
	}
	if t.m == 0 {
		t.levels[0].advance(t.outs, t.taps, nil, nil)
		t.gather(0, 1)
	} else {
		t.cover(0, 0)
	}
	if t.owner == 0 && t.report.Steps%flushEvery == 0 {
		flush(t.levels[0].s)
	}
	t.calm = min(3, t.calm+1)
	if t.smooth != nil {
		for k := range t.smooth {
			q := &t.smooth[k]
			out[k] = t.y0[k] + q.rise + q.b
			q.rise, q.a, q.b = q.a, 0, 0
		}
	} else {
		for k, y := range t.outs {
			out[k] = t.y0[k] + y
		}
	}
}

// cover takes the part of a step that begins after so many of the smallest steps, by the stepper of the level or, where that bends, by four of the
// next.
func (t *Transient) cover(level, from int) {
	st, span, parts := t.levels[level], t.spans[level], t.spans[0]
	u := t.taps
	if level > 0 {
		u = t.line
		w := &t.weights[from+span-1]
		for k := 0; k < len(u); k += 4 {
			x := t.taps[k : k+4 : k+4]
			u[k+2] = x[2]
			if from > 0 {
				w := &t.weights[from-1]
				u[k+2] = (w[0]*x[0] + w[1]*x[1]) + (w[2]*x[2] + w[3]*x[3])
			}
			u[k+3] = (w[0]*x[0] + w[1]*x[1]) + (w[2]*x[2] + w[3]*x[3])
		}
	}
	if !t.current[level] {
		t.move(st, t.levels[t.owner])
		t.reseat(st)
		t.current[level] = true
	}
	h := float64(span) / float64(parts)
	if t.try(st, u, h, level+1 < len(t.levels)) {
		bend := t.scratch.d
		if level > 0 {
			bend = nil
		}
		st.advance(t.outs, u, t.scratch.di, bend)
		t.gather(float64(from)/float64(parts), h)
		t.before, t.last, t.scratch.di = t.last, t.scratch.di, t.before
		for l := range t.current {
			t.current[l] = l == level
		}
		t.width, t.owner = h, level
		return
	}
	if level == 0 {
		t.report.Divided++
		t.calm = -1
	}
	for j := 0; j < 4; j++ {
		t.cover(level+1, from+j*span/4)
	}
}

// gather adds the stretch that starts at x (0 to 1) of the step and is h long to the triangle's two halves: the
// voltage runs straight from the last value to this one, or along a parabola where the step before was whole too.
func (t *Transient) gather(x, h float64) {
	for k := range t.smooth {
		q, y := &t.smooth[k], t.outs[k]
		// ∫(y1+(y-y1)·z)·(x+h·z) dz and the same with 1-x-h·z, z from 0 to 1, times h
		mean, tilt := (q.y1+y)/2, (q.y1+2*y)*(1./6)
		d := y - 2*q.y1 + q.y2
		second := d
		rise := h * (x*mean + h*tilt)
		fall := h*mean - rise
		// The second difference stands at this step's beginning; as many as there are carry it on to the middle.
		switch t.calm {
		case 3:
			second += (7*second - 10*q.d1 + 3*q.d2) / 8
		case 2:
			second += (second - q.d1) / 2
		case 1:
		default:
			second = 0
		}
		second *= 1. / 24
		rise, fall = rise-second, fall-second
		q.d1, q.d2 = d, q.d1
		q.a += rise
		q.b += fall
		q.y1, q.y2 = y, q.y1
	}
}

// try solves the ports for one step, h of the whole long, and leaves the deviations of the device currents in scratch.di. With giveUp
// it stops, and reports false, where the devices leave their tangent by more than divideAt or bend by more than the tolerance.
func (t *Transient) try(st *stepper, u []float64, h float64, giveUp bool) bool {
	st.linear(t.scratch.p, u)
	if !t.solve(st, giveUp) {
		return false
	}
	di, base := t.scratch.di, t.scratch.base
	for k := range di {
		di[k] = t.i[k] - base[k]
	}
	if bends := t.bends(st, h); giveUp && bends {
		copy(t.v, t.scratch.held)
		t.dev.eval(t.v, t.i, t.own, t.oth)
		return false
	}
	return true
}

// padded is how many rows of port voltages vector operations work on.
func padded(m int) int {
	if m <= 4 {
		return 4
	}
	return (m + 7) / 8 * 8
}

// linear is the port voltages that the linear part alone would give.
func (st *stepper) linear(p, u []float64) {
	x := st.known[:len(u)+st.n]
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, u := range u {
		x[k] = u
	}
	st.times(st.pus, x, p)
}

// times is the product of the columns a, of mp numbers each, and x, in dst.
func (st *stepper) times(a, x, dst []float64) []float64 {
	dst = dst[:st.mp]
	if st.mp == 4 {
		gemv.Mul4((*[4]float64)(dst), a, 4, x)
		return dst
	}
	for r := 0; r < st.mp; r += 8 {
		gemv.Mul8((*[8]float64)(dst[r:]), a[r:], st.mp, x)
	}
	return dst
}

// bends says whether the device currents bend within the step by more than its straight line may miss, and leaves their second
// differences in scratch.d.
func (t *Transient) bends(st *stepper, h float64) bool {
	bend := t.scratch.d
	r := h / t.width // the last step may have had another length
	scale := 2 * r / (1 + r)
	for k, i := range t.scratch.di {
		last := t.last[k]
		bend[k] = scale * ((i - last) - r*(last-t.before[k]))
	}
	moved := st.times(st.k, bend, t.scratch.sum)
	for k, weight := range t.dev.weight {
		if math.Abs(moved[k])*weight > t.bend {
			return true
		}
	}
	return false
}

// move hands the state of one stepper to another. Both count their histories in the same microsteps.
func (t *Transient) move(dst, src *stepper) {
	for k := range t.history {
		t.history[k] = dot(src.outS.row(k), src.last) + dot(src.outU.row(k), src.u) + dot(src.outI.row(k), t.last) + dot(src.outB.row(k), src.bend)
	}
	for k := range dst.s {
		dst.s[k] = dot(dst.inS.row(k), t.history) + dot(dst.inI.row(k), t.last)
	}
}

// advance reads the probes and moves the state, given the inputs' samples and the device currents at the step's end.
//
// With their bend, the second differences of the device currents, it adds to the state what that brought it over the step: the parabola through the last three
// values in place of the straight line. A small current that always bends to the same side, into a large capacitor, would otherwise
// move the bias a little with every cycle. It does not move the voltages of this step and so cannot make it unstable: where the currents bend by more than
// a little, the step is divided.
func (st *stepper) advance(out, u, di, bend []float64) {
	n, m := st.n, st.m
	s := st.s
	for k := range out {
		out[k] = dot(st.ys[k*n:k*n+n], s) + dot(st.yu[k*len(u):(k+1)*len(u)], u) + dot(st.yi[k*m:k*m+m], di)
	}
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, x := range u {
		st.u[k] = x
	}
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, x := range di {
		st.i[k] = x
	}
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, x := range bend {
		st.bend[k] = x
	}
	w := st.w[:len(u)+len(di)+len(bend)]
	if n == 0 {
		return
	}
	st.s, st.last = st.last, s
	st.known, st.past = st.past, st.known
	if st.modes.dense != nil {
		copy(st.rest, s)
		st.modes.step(st.rest[:n])
		s = st.rest[:st.np]
	}
	next := st.s[:st.np]
	gemv.Recur(next, st.diagonal, s[:st.np], st.drive, w)
	for k, im := range st.modes.im { // the diagonal does not know that pairs turn
		next[2*k] += im * s[2*k+1]
		next[2*k+1] -= im * s[2*k]
	}
}

// Process runs a circuit with one driven source over in; dst receives the first probe.
func (t *Transient) Process(dst, in []float64) {
	var u, y [1]float64
	for k, x := range in {
		u[0] = x
		t.Step(y[:], u[:])
		dst[k] = y[0]
	}
}

func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var x, y float64
	k := 0
	for ; k+1 < len(a); k += 2 {
		x += a[k] * b[k]
		y += a[k+1] * b[k+1]
	}
	if k < len(a) {
		x += a[k] * b[k]
	}
	return x + y
}

// Newton's method on the ports.
const (
	// portTolerance is the error in volts that a solved port voltage may keep: 1 nV is 4e-8 of the thermal voltage,
	// a current error of -148 dB.
	portTolerance = 1e-9
	maxNewton     = 30
	maxHalvings   = 12
	// divideAt is the first Newton correction, in volts, beyond which a step is divided.
	divideAt = 20e-3
)

// solve finds the port voltages for the linear parts p in the scratch, starting from the last solution moved along its tangent.
// It is false only where it gave up, see try.
func (t *Transient) solve(st *stepper, giveUp bool) bool {
	w := &t.scratch
	p := w.p
	// Predict: the last Jacobian tells how v follows p.
	d := w.d
	for k := range d {
		d[k] = p[k] - st.p[k]
	}
	st.solveJacobian(d)
	for k := range d {
		w.v[k] = t.v[k] + d[k] + st.off[k]
		st.tangent[k] = t.v[k] + d[k]
	}
	limited := t.dev.limit(w.v, t.v)
	if giveUp && limited {
		return false
	}
	it, outcome := t.quick(st, p, w.v, maxNewton, giveUp)
	if outcome == left {
		clear(st.off)
		t.dev.eval(t.v, t.i, t.own, t.oth)
		return false
	}
	if outcome == solved {
		t.report.MaxIterations = max(t.report.MaxIterations, it)
		for k, v := range w.v {
			st.off[k] = v - st.tangent[k]
		}
		t.v, w.v, w.held = w.v, w.held, t.v
		st.p, w.p = w.p, st.p
		return true
	}
	clear(st.off)
	copy(w.held, t.v)
	t.report.MaxIterations = maxNewton
	// Continuation: walk from the last solved p to the new one in steps that Newton can take.
	at, step := 0.0, 0.25
	for halvings := 0; at < 1; {
		to := min(1, at+step)
		for k := range p {
			w.target[k] = st.p[k] + to*(p[k]-st.p[k])
		}
		copy(w.v, t.v)
		if _, outcome := t.newton(st, w.target, w.v, 4*maxNewton, false); outcome == solved {
			copy(t.v, w.v)
			at = to
			step *= 2
			continue
		}
		step /= 4
		if halvings++; halvings > maxHalvings {
			t.report.Failures++
			copy(t.v, w.held)
			t.dev.eval(t.v, t.i, t.own, t.oth)
			st.tangentAt(&t.dev, t.own, t.oth)
			copy(st.p, p)
			return true
		}
	}
	copy(st.p, p)
	t.report.Continued++
	return true
}

type outcome int

const (
	solved outcome = iota
	left           // the devices left their tangent
	lost           // no convergence
	going          // not yet
)

// newton iterates from v. Once solved, t.i holds currents that satisfy the linear part to rounding.
func (t *Transient) newton(st *stepper, p, v []float64, limit int, giveUp bool) (int, outcome) {
	w := &t.scratch
	d := w.d
	sharp := t.dev.sharpness()
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.dev.eval(v, t.i, t.own, t.oth)
		// F = p + K·(i-base) + v0 - v
		di := w.di
		for k := range di {
			di[k] = t.i[k] - w.base[k]
		}
		kd := st.times(st.k, di, w.sum)
		for k := range d {
			d[k] = p[k] + t.point.v[k] - v[k] + kd[k]
		}
		st.jacobian(&t.dev, t.own, t.oth)
		if !st.factorJacobian() {
			return it, lost
		}
		st.inverted = false
		st.solveJacobian(d)
		worst := 0.0
		for k, x := range d {
			w.next[k] = v[k] + x
			worst = max(worst, math.Abs(x)*t.dev.weight[k])
		}
		if giveUp && worst > divideAt {
			return it, left
		}
		if !(worst < 1e12) {
			return it, lost
		}
		if !t.dev.limit(w.next, v) {
			if rest := worst * worst * sharp; rest <= portTolerance {
				t.report.Residual = max(t.report.Residual, rest)
				t.dev.advance(t.i, d, t.own, t.oth)
				copy(v, w.next)
				return it, solved
			}
		}
		copy(v, w.next)
	}
	return limit, lost
}

// advance moves the currents along their tangent by the voltages d.
func (dev *devices) advance(i, d, own, oth []float64) {
	for k := range d {
		i[k] += own[k] * d[k]
	}
	for k := 0; k < dev.firstD; k += 2 {
		i[k] += oth[k] * d[k+1]
		i[k+1] += oth[k+1] * d[k]
	}
}

// tangentAt makes ready to follow the tangent at these derivatives.
func (st *stepper) tangentAt(dev *devices, own, oth []float64) {
	if st.mp == 8 && st.invert8(own, oth) {
		return
	}
	st.inverted = false
	st.jacobian(dev, own, oth)
	st.factorJacobian()
}

// jacobian fills I - K·D, row by row.
func (st *stepper) jacobian(dev *devices, own, oth []float64) {
	m, k, j := st.m, st.k, st.jac
	for c := 0; c < m; c++ {
		col, g := k[c*st.mp:c*st.mp+m], own[c]
		for r, x := range col {
			j[r*m+c] = -x * g
		}
		j[c*m+c]++
	}
	for c := 0; c < dev.firstD; c += 2 {
		col, next := k[c*st.mp:c*st.mp+m], k[(c+1)*st.mp:(c+1)*st.mp+m]
		for r := range col {
			j[r*m+c] -= next[r] * oth[c+1]
			j[r*m+c+1] -= col[r] * oth[c]
		}
	}
}

// factorJacobian factors the Jacobian in place with partial pivoting.
func (st *stepper) factorJacobian() bool {
	m, a := st.m, st.jac
	for k := 0; k < m; k++ {
		at, best := k, math.Abs(a[k*m+k])
		for r := k + 1; r < m; r++ {
			if x := math.Abs(a[r*m+k]); x > best {
				at, best = r, x
			}
		}
		if !(best > 1e-300) {
			return false
		}
		st.piv[k] = at
		rk := a[k*m : k*m+m]
		if at != k {
			ra := a[at*m : at*m+m]
			for c := range rk {
				rk[c], ra[c] = ra[c], rk[c]
			}
		}
		inv := 1 / rk[k]
		rk[k] = inv
		for r := k + 1; r < m; r++ {
			row := a[r*m : r*m+m]
			q := row[k] * inv
			row[k] = q
			for c := k + 1; c < m; c++ {
				row[c] -= q * rk[c]
			}
		}
	}
	return true
}

// solveJacobian solves J·x = d in place.
func (st *stepper) solveJacobian(d []float64) {
	m, a := st.m, st.jac
	if st.inverted {
		copy(d, st.times(st.inverse, d, st.room))
		return
	}
	switch {
	case m == 2 && *(*[2]int)(st.piv) == [2]int{0, 1}:
		st.solve2(d)
		return
	case m == 3 && *(*[3]int)(st.piv) == [3]int{0, 1, 2}:
		st.solve3(d)
		return
	case m == 4 && *(*[4]int)(st.piv) == [4]int{0, 1, 2, 3}:
		st.solve4(d)
		return
	}
	for k := 0; k < m; k++ {
		if at := st.piv[k]; at != k {
			d[k], d[at] = d[at], d[k]
		}
	}
	for k := 1; k < m; k++ {
		d[k] -= dot(a[k*m:k*m+k], d[:k])
	}
	for k := m - 1; k >= 0; k-- {
		row := a[k*m : k*m+m]
		x := d[k]
		for c := k + 1; c < m; c++ {
			x -= row[c] * d[c]
		}
		d[k] = x * row[k]
	}
}

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
	st.mp, st.np = padded(m), (ns+7)/8*8
	st.diagonal = make([]float64, st.np)
	for k := range ns {
		switch pairs := len(st.modes.re); {
		case st.modes.dense != nil:
			st.diagonal[k] = 1 // once they have made their step
		case k < 2*pairs:
			st.diagonal[k] = st.modes.re[k/2]
		default:
			st.diagonal[k] = st.modes.real[k-2*pairs]
		}
	}
	st.ys = ys.times(from).v
	st.pus = append(pw.columns(0, ni).taps(newest).plus(ps.times(c1), 1).byColumn(st.mp), ps.times(from).byColumn(st.mp)...)
	st.k = make([]float64, st.mp*st.mp)
	copy(st.k, pw.columns(ni, ni+m).plus(ps.times(v1), 1).byColumn(st.mp))
	st.yu, st.yi = yw.columns(0, ni).taps(newest).plus(ys.times(c1), 1).v, yw.columns(ni, ni+m).plus(ys.times(v1), 1).v
	st.drive = append(st.drive, to.times(am.times(c1).plus(f1.times(bn), 1)).byColumn(st.np)...)
	st.drive = append(st.drive, to.times(am.times(v1).plus(f1.times(bi), 1).plus(u1, 1)).byColumn(st.np)...)
	st.drive = append(st.drive, to.times(am.times(b1)).byColumn(st.np)...)
	st.outS, st.outU = a.times(from), a.times(c1).plus(bn, 1)
	st.outI, st.outB = a.times(v1).plus(bi, 1), a.times(b1)
	st.inS, st.inI = to.times(f1), to.times(u1)
	st.w = make([]float64, 4*ni+m+m)
	st.u, st.i, st.bend = st.w[:4*ni], st.w[4*ni:4*ni+m], st.w[4*ni+m:]
	st.known, st.past, st.rest = make([]float64, 4*ni+st.np), make([]float64, 4*ni+st.np), make([]float64, st.np)
	st.s, st.last = st.known[4*ni:][:ns], st.past[4*ni:][:ns]
	st.off, st.tangent = make([]float64, m), make([]float64, m)
	st.p, st.jac, st.piv = make([]float64, st.mp)[:m], make([]float64, m*m), make([]int, m)
	st.inverse, st.room = make([]float64, st.mp*st.mp), make([]float64, st.mp)
	return st, nil
}
