package circuit

import "drywire/dsp"

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
	lengths []float64    // the same as a share of the whole step
	current []bool       // which of them hold the present state
	owner   int          // the one that moved last
	weights [][4]float64 // of the cubic, at the end of each smallest step

	taps     []float64 // the last four samples of every input, the newest last
	line     []float64 // the same within a step: only the inputs at the last small step's end and at this one's
	width    float64   // the length of the last step, as a share of the whole
	history  []float64 // of the companion models
	smooth   []smoother
	outs     []float64
	bendMost float64 // 12 times the tolerance: a parabola's bend over a step is a twelfth of its second difference
	calm     int     // undivided steps since the last divided one, up to 3
	report   Report

	// Of the ports, see ports; rows of its where there are few.
	v, next, i, own, oth, base, d, di, bend, last, before []float64
	few                                                   bool // as many as rows hold
	rows                                                  *ports
	sum, scratch, target, reached                         []float64 // room
}

// smoother gathers one probe's voltage under the rising and the falling half of the triangle.
type smoother struct {
	y1, y2 float64 // the last two values
	d1, d2 float64 // the last two second differences
	rise   float64 // of the step before, the weight still without its falling half
	a, b   float64 // of this step
}

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
	t := &Transient{point: point, dev: point.dev, m: point.dev.count, bendMost: 12 * float64(o.Tolerance), micro: float64(o.Step) / microSteps}
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
		t.spans, t.lengths = append(t.spans, 1<<(2*(o.Levels-l))), append(t.lengths, 1/float64(parts))
	}
	for j := 1; j <= t.spans[0]; j++ {
		t.weights = append(t.weights, cubic(float64(j)/float64(t.spans[0])))
	}
	t.current = make([]bool, len(t.levels))
	t.n, t.ni = t.levels[0].n, t.levels[0].ni
	for _, name := range probes {
		t.y0 = append(t.y0, point.V(name))
	}
	t.taps, t.line, t.history = make([]float64, 4*t.ni), make([]float64, 4*t.ni), make([]float64, t.n)
	if o.Smooth {
		t.smooth = make([]smoother, len(probes))
	}
	t.outs = make([]float64, len(probes))
	t.makeRows()
	t.dev.eval(point.v, t.base, t.own, t.oth)
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
	}{{&t.v, &few.v}, {&t.next, &few.next}, {&t.i, &few.i}, {&t.own, &few.own}, {&t.oth, &few.oth}, {&t.base, &few.base}, {&t.d, &few.d}, {&t.di, &few.di},
		{&t.bend, &few.bend}, {&t.last, &few.last}, {&t.before, &few.before}} {
		if t.m > len(r.room) {
			*r.own = make([]float64, padded(t.m))[:t.m]
			continue
		}
		*r.own = r.room[:t.m]
	}
	if t.few = t.m <= len(row{}); t.few {
		t.rows = few
		copy(few.v0[:], t.point.v)
		copy(few.weight[:], t.dev.weight)
		copy(few.reach[:], t.dev.reach())
	}
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
		clear(st.z)
		clear(st.past)
		if sl := st.slope; sl != nil { // with the rows that are no port: what is not a number times zero is not a number there
			sl.p, sl.off, sl.ahead = row{}, row{}, row{}
		}
		t.current[l] = false
	}
	t.reseat(t.levels[0])
	t.owner, t.current[0] = 0, true
	t.report = Report{}
}

// reseat makes the last solution the point from which the stepper predicts.
func (t *Transient) reseat(st *stepper) {
	kd := st.times(st.k, t.last, t.sum)
	for k := range st.p {
		st.p[k] = t.v[k] - t.point.v[k] - kd[k]
	}
	st.straighten()
	t.slopeAt(st)
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
		st := t.levels[0]
		copy(st.inputs(st.z), t.taps)
		st.advance(t.outs, nil, nil)
		t.gather(0, 1)
	} else {
		t.cover(0, 0)
	}
	if t.owner == 0 && t.report.Steps%flushEvery == 0 {
		flush(t.levels[0].states(t.levels[0].z))
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
	st, span, h := t.levels[level], t.spans[level], t.lengths[level]
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
	if t.try(st, u, h, level+1 < len(t.levels)) {
		bend := t.bend
		if level > 0 {
			bend = nil
		}
		st.advance(t.outs, t.di, bend)
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

// try solves the ports for one step, h of the whole long, and leaves the deviations of the device currents and their bend. With giveUp
// it stops, and reports false, where the devices leave their tangent by more than divideAt or bend by more than the tolerance.
func (t *Transient) try(st *stepper, u []float64, h float64, giveUp bool) bool {
	into := st.inputs(st.z)
	//lint:ignore S1001 so few that a call of copy takes longer
	for k, x := range u {
		into[k] = x
	}
	if !t.solve(st, giveUp) {
		return false
	}
	if moved := t.settle(st, h); giveUp && moved > t.bendMost {
		t.dev.eval(t.v, t.i, t.own, t.oth)
		return false
	}
	return true
}

// move hands the state of one stepper to another. Both count their histories in the same microsteps.
func (t *Transient) move(dst, src *stepper) {
	src.histories(t.history, t.last)
	s := dst.states(dst.z)
	for k := range s {
		s[k] = dot(dst.inS.row(k), t.history) + dot(dst.inI.row(k), t.last)
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
