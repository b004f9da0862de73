package transient

import (
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// Alike implements circuit.Stepper.
func (t *Transient) Alike(other circuit.Stepper) bool {
	o, ok := other.(*Transient)
	return ok && t.m == o.m && t.n == o.n && t.ni == o.ni && len(t.outs) == len(o.outs) &&
		len(t.levels) == len(o.levels) && t.micro == o.micro
}

// Adopt implements circuit.Stepper: the voltages at the devices come along as a place for the
// solver to begin. The report stays its own.
func (t *Transient) Adopt(from circuit.Stepper) {
	o := from.(*Transient)
	o.read()
	t.state.Adopt(o.state)
	copy(t.v, o.v)
	t.devices.Eval(&t.atLast)
	for k := range t.last {
		shift := o.base[k] - t.base[k]
		t.last[k], t.before[k] = o.last[k]+shift, o.before[k]+shift
	}
	copy(t.taps, o.taps)
	copy(t.line, o.line)
	for k, q := range o.smooth {
		shift := o.y0[k] - t.y0[k]
		q.y1, q.y2 = q.y1+shift, q.y2+shift
		q.rise += shift / 2 // the rising half of the triangle weighs a half
		t.smooth[k] = q
	}
	copy(t.wide, o.wide) // which nothing that moves has
	t.width, t.calm, t.owner = o.width, o.calm, 0
	clear(t.current)
	t.write()
}

// Join implements circuit.Stepper.
func (t *Transient) Join(other circuit.Stepper, w float64) {
	o := other.(*Transient)
	t.read()
	o.read()
	t.state.Join(o.state, w)
	t.write()
	o.write()
}

// read computes the histories from the modes of the level that moved last.
func (t *Transient) read() {
	if t.written != t.report.Steps { // else it has not moved since
		t.levels[t.owner].histories(t.state.Histories, t.last)
	}
}

// write makes the histories the state of every level.
func (t *Transient) write() {
	for l, st := range t.levels {
		st.enter(st.states(st.z), t.state.Histories, t.last)
		if !t.current[l] {
			t.reseat(st)
			t.current[l] = true
		}
	}
	t.written = t.report.Steps
}

// enter sets the modal states s from histories and port currents.
func (st *stepper) enter(s, histories, i []float64) {
	for k := range s {
		s[k] = dense.Dot(st.inS.Row(k), histories) + dense.Dot(st.inI.Row(k), i)
	}
}
