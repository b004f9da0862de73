// Package transient runs a circuit with non-linear elements over time: the trapezoidal rule,
// Newton's method on the non-linear ports alone, and steps that are divided where the elements
// switch.
//
// Start reading at Transient, then newton.go (the solver; its arithmetic is in ports.go and, for
// processors with vectors, in assembly) and stepper.go (the linear part, for one length of step).
// state.go transfers the state to another circuit.
package transient

import (
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// Report is the solver's convergence since the last Reset.
type Report struct {
	Steps         int64
	Evaluations   int64   // of the devices, over all steps; 0 for a linear circuit
	MaxIterations int     // Newton iterations that the worst step took
	Continued     int64   // steps that plain Newton did not solve and continuation did
	Divided       int64   // steps that were taken again in small steps
	Failures      int64   // steps not converged: their voltages are held, bounded, and wrong
	Residual      float64 // V: the largest left in a port voltage, by the last Newton step
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

// Transient is the circuit over time by the trapezoidal rule, at a fixed step that is divided where
// the devices switch. Everything is counted from the operating point, so that a circuit at rest
// stays there to the last bit. Its methods are for one goroutine.
//
// Every capacitor and inductor keeps one state, the history of its companion model. With the
// deviations of states s, inputs u, port currents i and port voltages v from the operating point,
// one step is
//
//	p  = Ps·s + Pu·u              the port voltages that the linear part alone would give
//	v  = p + K·i(v)               solved for v by Newton's method
//	y  = Ys·s + Yu·u + Yi·i       what the probes read
//	s' = A·s + Su·u + Si·i
//
// A is brought to block-diagonal form (its modes), which turns n² products per step into 2n.
//
// Three things make a step of some microseconds as good as one of a tenth of it. The linear part is
// not carried by one trapezoidal step but by microSteps of them, along which the inputs run on a
// cubic and the port currents straight (what their second differences bring is added after the
// step); they are computed once, when the step is made, so its resonances lie where they belong
// and its stiff modes are damped. A step over which a port current is curved (a transistor goes
// from cut-off to saturation in less than a step) is taken again in four quarters, and a quarter
// over which it still is in four of its own, the input interpolated by a cubic; this depends on the
// signal alone, never on how it is cut into calls. And see Options.Smooth.
type Transient struct {
	point   *circuit.OperatingPoint
	devices *circuit.Devices
	m, n    int // ports, states
	ni      int // inputs
	y0      []float64
	rest    []float64 // port voltages at the operating point
	micro   float64   // seconds of a microstep

	levels  []*stepper   // the whole step, its quarter, its sixteenth, …
	spans   []int        // how many of the smallest steps each of them is
	lengths []float64    // the same as a share of the whole step
	current []bool       // which of them hold the present state
	owner   int          // the one that moved last
	weights [][4]float64 // of the cubic, at the beginning and at the end of each smallest step
	splines *splined     // what the inputs run on in place of the cubic; or nil

	taps  []float64 // the last four samples of every input, the newest last
	line  []float64 // the same within a step: only the last two count
	width float64   // the length of the last step, as a share of the whole
	// Of the companion models: what passes from level to level, or from circuit to circuit; and the
	// count of steps at which it was written back.
	state     *circuit.State
	written   int64
	smooth    []smoother
	wide      []widener // of the last probes
	outs      []float64
	mostError float64 // V: 12 times the tolerance, see settle
	calm      int     // undivided steps since the last divided one, up to 3
	report    Report

	// Of the ports, see ports; rows of its where there are few.
	v, next, i, own, oth, base, d, di, second, last, before []float64
	few                                                     bool // as many as rows hold
	rows                                                    *ports
	atLast, atNext                                          circuit.Ports // of v and next
	sum, scratch, target, reached                           []float64     // room
	u, y                                                    []float64     // of Process
}

// smoother gathers one probe's voltage under the rising and the falling half of the triangle.
type smoother struct {
	y1, y2 float64 // the last two values
	d1, d2 float64 // the last two second differences
	rise   float64 // of the step before, the weight still without its falling half
	a, b   float64 // of this step
	held   float64 // with Options.Wide: the last output
}

// Options of a transient.
type Options struct {
	Step dsp.Second
	// Levels is how many times a step may be divided by four where the devices switch: 0 to 3.
	Levels int
	// Tolerance is the local truncation error, in volts at a port, above which a step is divided:
	// what the second differences of the port currents leave of a straight line.
	Tolerance dsp.Volt
	// Smooth makes a probe's output the mean of its voltage weighed by a triangle two steps wide,
	// one step late, in place of its value at one instant. An edge that falls between two steps
	// then leaves its true area behind, and what folds down falls by another 12 dB an octave. The
	// response is that of the triangle, sinc²(f·Step).
	Smooth bool
	// Wide is for how many of the last probes the mean is weighed by a cubic B-spline, four steps
	// wide and two late, in place of the triangle: sinc⁴(f·Step). What folds down falls by twice as
	// many decibels. For what goes on at this rate. Only with Smooth.
	Wide int
	// Spline says that samples of the inputs are coefficients of a quintic B-spline, on which the
	// inputs run, two steps late, in place of the cubic through the last four samples: for inputs
	// that reach far up to half the rate, of which the cubic would make as much above it.
	Spline bool
}

// New prepares a circuit. Probes name the nodes that are read. It panics where Options.Levels is
// not 0 to 3; its errors are those of circuit.Netlist.Operating and
// circuit.OperatingPoint.Discrete.
func New(n *circuit.Netlist, o Options, probes ...string) (*Transient, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	t := &Transient{
		point: point, devices: point.Devices(), m: point.Devices().Count, rest: point.PortVoltages(),
		mostError: 12 * float64(o.Tolerance), micro: float64(o.Step) / microSteps,
	}
	if o.Levels < 0 || o.Levels > 3 {
		panic("transient: a step is divided by four 0 to 3 times")
	}
	if t.m == 0 {
		o.Levels = 0
	}
	for l, parts := 0, 1; l <= o.Levels; l, parts = l+1, 4*parts {
		between := cubic
		if o.Spline {
			between = thirds
		}
		if l > 0 {
			between = straight // between points of the cubic
		}
		st, err := newStepper(point, float64(o.Step)/float64(parts), microSteps/parts, between, probes)
		if err != nil {
			return nil, err
		}
		t.levels = append(t.levels, st)
		t.spans, t.lengths = append(t.spans, 1<<(2*(o.Levels-l))), append(t.lengths, 1/float64(parts))
	}
	for j := 0; j <= t.spans[0]; j++ {
		t.weights = append(t.weights, cubic(float64(j)/float64(t.spans[0])))
	}
	t.current = make([]bool, len(t.levels))
	t.n, t.ni = t.levels[0].n, t.levels[0].ni
	for _, name := range probes {
		t.y0 = append(t.y0, point.V(name))
	}
	t.taps, t.line = make([]float64, 4*t.ni), make([]float64, 4*t.ni)
	if o.Spline {
		t.splines = newSplined(t.ni, t.spans[0])
	}
	t.state = point.State(t.micro)
	t.u, t.y = make([]float64, t.ni), make([]float64, len(probes))
	if o.Smooth {
		t.smooth, t.wide = make([]smoother, len(probes)-o.Wide), make([]widener, o.Wide)
	}
	t.outs = make([]float64, len(probes))
	t.makeRows()
	t.devices.Eval(&circuit.Ports{V: t.rest, I: t.base, Own: t.own, Oth: t.oth})
	t.Reset()
	return t, nil
}

// makeRows makes a row for everything that has a number for every port.
func (t *Transient) makeRows() {
	few := new(ports)
	room := make([]float64, 4*padded(t.m))
	for k, r := range []*[]float64{&t.sum, &t.scratch, &t.target, &t.reached} {
		*r = room[k*padded(t.m):][:t.m]
	}
	for _, r := range []struct {
		own  *[]float64
		room *row
	}{{&t.v, &few.v}, {&t.next, &few.next}, {&t.i, &few.i}, {&t.own, &few.own}, {&t.oth, &few.oth},
		{&t.base, &few.base}, {&t.d, &few.d}, {&t.di, &few.di}, {&t.second, &few.second}, {&t.last, &few.last}, {&t.before, &few.before}} {
		if t.m > len(r.room) {
			*r.own = make([]float64, padded(t.m))[:t.m]
			continue
		}
		*r.own = r.room[:t.m]
	}
	t.atLast = circuit.Ports{V: t.v, I: t.i, Own: t.own, Oth: t.oth}
	t.atNext = circuit.Ports{V: t.next, I: t.i, Own: t.own, Oth: t.oth}
	if t.few = t.m <= len(row{}); t.few {
		t.rows = few
		copy(few.v0[:], t.rest)
		copy(few.weight[:], t.devices.Weight)
		copy(few.limitInverse[:], t.devices.LimitInverse)
	}
}

// microSteps is how many trapezoidal steps carry the linear part over one step: at 192 kHz the
// frequencies of its resonances up to 16 kHz come out within 6e-6.
const microSteps = 64

// cubic is the weights of the samples at -2, -1, 0 and 1 in the cubic through them, at x between 0
// and 1.
func cubic(x float64) [4]float64 {
	return [4]float64{
		-x * (x + 1) * (x - 1) / 6,
		x * (x + 2) * (x - 1) / 2,
		-(x + 2) * (x + 1) * (x - 1) / 2,
		(x + 2) * (x + 1) * x / 6,
	}
}

// straight is the weights of the last two of four samples on the line between them, at x between 0
// and 1.
func straight(x float64) [4]float64 { return [4]float64{2: 1 - x, 3: x} }

// Point is the operating point from which the circuit starts.
func (t *Transient) Point() *circuit.OperatingPoint { return t.point }

// Report is the solver's convergence since the last Reset.
func (t *Transient) Report() Report { return t.report }

// Reset puts the circuit back to rest at its operating point.
func (t *Transient) Reset() {
	clear(t.taps)
	clear(t.line)
	clear(t.last)
	clear(t.before)
	clear(t.smooth)
	clear(t.wide)
	if t.splines != nil {
		clear(t.splines.coefficients)
	}
	t.calm = 3
	t.width = 1
	copy(t.v, t.rest)
	t.devices.Eval(&t.atLast)
	for l, st := range t.levels {
		clear(st.z)
		clear(st.past)
		// with the rows that are no port: what is not a number times zero is not a number there
		if sl := st.workspace; sl != nil {
			sl.p, sl.off, sl.ahead = row{}, row{}, row{}
		}
		t.current[l] = false
	}
	t.reseat(t.levels[0])
	t.owner, t.current[0] = 0, true
	t.report, t.written = Report{}, -1
}

// reseat makes the last solution the point from which the stepper predicts.
func (t *Transient) reseat(st *stepper) {
	kd := st.times(st.k, t.last, t.sum)
	for k := range st.p {
		st.p[k] = t.v[k] - t.rest[k] - kd[k]
	}
	st.forgetErrors()
	t.linearise(st)
}

// Latency is 1 with Options.Smooth, 1 more with Options.Wide, for all probes, and 2 more with
// Options.Spline.
func (t *Transient) Latency() int {
	late := min(1, len(t.smooth)+len(t.wide)) + min(1, len(t.wide))
	if t.splines != nil {
		late += splineLate
	}
	return late
}

// Step advances by one step: in holds the voltages of the driven sources at its end, out receives
// the probes there (or so many steps before as Latency says).
func (t *Transient) Step(out, in []float64) {
	t.report.Steps++
	if t.splines != nil {
		t.splines.next(t.taps, in)
	} else {
		for k, x := range in {
			u := t.taps[4*k : 4*k+4 : 4*k+4]
			u[0], u[1], u[2], u[3] = u[1], u[2], u[3], x
		}
	}
	if t.m == 0 {
		st := t.levels[0]
		copy(st.inputs(st.z), t.taps)
		st.advance(t.outs, nil, nil)
		t.gather(0, 1)
	} else {
		t.integrate(0, 0)
	}
	if t.owner == 0 && t.report.Steps%dense.FlushEvery == 0 {
		dense.Flush(t.levels[0].states(t.levels[0].z))
	}
	t.calm = min(3, t.calm+1)
	if t.smooth != nil {
		for k := range t.smooth {
			q := &t.smooth[k]
			y := t.y0[k] + q.rise + q.b
			if len(t.wide) > 0 { // as late as these
				y, q.held = q.held, y
			}
			out[k] = y
			q.rise, q.a, q.b = q.a, 0, 0
		}
		for k := range t.wide {
			j := len(t.smooth) + k
			out[j] = t.y0[j] + t.wide[k].take()
		}
	} else {
		for k, y := range t.outs {
			out[k] = t.y0[k] + y
		}
	}
}

// integrate takes the part of a step that begins after so many of the smallest steps, by the
// stepper of the level or, where that rejects it, by four of the next.
func (t *Transient) integrate(level, from int) {
	st, span, h := t.levels[level], t.spans[level], t.lengths[level]
	u := t.taps
	if level > 0 && t.splines != nil {
		u = t.line
		t.splines.line(u, from, from+span)
	} else if level > 0 {
		u = t.line
		b, w := &t.weights[from], &t.weights[from+span]
		for k := 0; k < len(u); k += 4 {
			x := t.taps[k : k+4 : k+4]
			u[k+2] = (b[0]*x[0] + b[1]*x[1]) + (b[2]*x[2] + b[3]*x[3])
			u[k+3] = (w[0]*x[0] + w[1]*x[1]) + (w[2]*x[2] + w[3]*x[3])
		}
	}
	if !t.current[level] {
		t.move(st, t.levels[t.owner])
		t.reseat(st)
		t.current[level] = true
	}
	if t.attempt(st, u, h, level+1 < len(t.levels)) {
		second := t.second
		if level > 0 {
			second = nil
		}
		st.advance(t.outs, t.di, second)
		t.gather(float64(from)*t.lengths[len(t.lengths)-1], h)
		copy(t.v, t.next)
		copy(t.before, t.last)
		copy(t.last, t.di)
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
		t.integrate(level+1, from+j*span/4)
	}
}

// gather adds the stretch that starts at x (0 to 1) of the step and is h long to the triangle's two
// halves: the voltage runs straight from the last value to this one, or along a parabola where the
// step before was whole too.
func (t *Transient) gather(x, h float64) {
	for k := range t.smooth {
		q, y := &t.smooth[k], t.outs[k]
		// ∫(y1+(y-y1)·z)·(x+h·z) dz and the same with 1-x-h·z, z from 0 to 1, times h
		mean, tilt := (q.y1+y)/2, (q.y1+2*y)*(1./6)
		d := y - 2*q.y1 + q.y2
		second := d
		rise := h * (x*mean + h*tilt)
		fall := h*mean - rise
		// The second difference stands at this step's beginning; as many as there are carry it on
		// to the middle.
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
	for k := range t.wide {
		t.wide[k].gather(t.outs[len(t.smooth)+k], x, h, t.calm)
	}
}

// attempt solves the ports for one step, h of the whole long, and leaves the deviations of the port
// currents and their second differences. With giveUp it rejects the step, and says false, where the
// prediction is off by more than divideAt or the truncation error is over the tolerance.
func (t *Transient) attempt(st *stepper, u []float64, h float64, giveUp bool) bool {
	into := st.inputs(st.z)
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, x := range u {
		into[k] = x
	}
	if !t.solve(st, giveUp) {
		return false
	}
	if moved := t.settle(st, h); giveUp && moved > t.mostError {
		t.devices.Eval(&t.atLast)
		return false
	}
	return true
}

// move transfers the state of one stepper to another. Both have histories of the same microstep.
func (t *Transient) move(dst, src *stepper) {
	src.histories(t.state.Histories, t.last)
	dst.enter(dst.states(dst.z), t.state.Histories, t.last)
}

// Process runs the circuit over signals of its driven sources, a step a sample, and gives one of
// every probe.
func (t *Transient) Process(out, in [][]float64) {
	u, y := t.u, t.y
	for j := range dsp.Frames(out, in) {
		for k := range u {
			u[k] = in[k][j]
		}
		t.Step(y, u)
		for k, x := range y {
			out[k][j] = x
		}
	}
}
