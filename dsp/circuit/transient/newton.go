package transient

import (
	"math"

	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// Newton's method on the ports.
const (
	// portTolerance is the error in volts that a solved port voltage may keep: 1 nV is 4e-8 of the
	// thermal voltage, a current error of -148 dB.
	portTolerance = 1e-9
	maxNewton     = 30
	maxHalvings   = 12
	// divideAt is the first Newton correction, in volts, beyond which a step is divided.
	divideAt = 20e-3
	// sharpness is 1/(2·Vt), of the sharpest junction: a Newton step of dv leaves an error of about
	// dv²·sharpness volts.
	sharpness = 1 / (2 * circuit.ThermalVoltage)
)

type outcome int

const (
	solved outcome = iota
	left           // too far from the prediction
	lost           // no convergence
	going          // not yet
)

// judge says what becomes of a step whose Newton correction is so large, in volts, at its worst
// port.
func (t *Transient) judge(worst float64, giveUp bool) outcome {
	if giveUp && worst > divideAt {
		return left
	}
	if !(worst < beyondSense) { // or not a number
		return lost
	}
	rest := worst * worst * sharpness
	if rest > portTolerance {
		return going
	}
	if rest > t.report.Residual {
		t.report.Residual = rest
	}
	return solved
}

// solve finds the port voltages of a step whose inputs and states are in the stepper's z: all but
// the last correction, which is for settle. It starts from the last solution moved along its
// tangent, plus the predictor's expected error. It is false only where it gave up, see attempt.
func (t *Transient) solve(st *stepper, giveUp bool) bool {
	limited := t.predict(st) && t.devices.Limit(t.next, t.v)
	if giveUp && limited {
		return false
	}
	it, outcome := t.iterate(st, giveUp)
	switch outcome {
	case left:
		st.forgetErrors()
		t.devices.Eval(&t.atLast)
		return false
	case solved:
		t.report.MaxIterations = max(t.report.MaxIterations, it)
	default:
		t.report.MaxIterations = maxNewton
		t.continuation(st)
	}
	return true
}

// predict sets next to where the last Jacobian leads. It is false where that is so near that
// limiting is inactive.
func (t *Transient) predict(st *stepper) (far bool) {
	known := st.z[2*st.m : 2*st.m+4*st.ni+st.n]
	if t.few {
		return t.rows.predict(st.workspace, st.pus, known) > 1
	}
	st.times(st.pus, known, st.want)
	d := t.d
	for k := range d {
		d[k] = st.want[k] - st.p[k]
	}
	st.solveJacobian(d)
	for k := range d {
		st.tangent[k] = t.v[k] + d[k]
		t.next[k] = st.tangent[k] + st.ahead[k]
	}
	return true
}

// iterate is Newton's method from next on.
func (t *Transient) iterate(st *stepper, giveUp bool) (int, outcome) {
	if !t.few {
		return t.newton(st, maxNewton, giveUp)
	}
	for it := 1; it <= maxNewton; it++ {
		t.report.Evaluations++
		t.devices.Eval(&t.atNext)
		worst := t.rows.correct(st.workspace)
		if worst < 0 {
			return it, lost // newton exchanges rows
		}
		if outcome := t.judge(worst, giveUp); outcome != going {
			return it, outcome
		}
		t.apply()
	}
	return maxNewton, lost
}

// apply makes a correction that is not the last, limited. It says whether it was.
func (t *Transient) apply() bool {
	to := t.scratch
	for k, x := range t.d {
		to[k] = t.next[k] + x
	}
	limited := t.devices.Limit(to, t.next)
	copy(t.next, to)
	return limited
}

// newton is iterate for any number of ports, with the rows of the Jacobian exchanged for the
// largest pivots.
func (t *Transient) newton(st *stepper, limit int, giveUp bool) (int, outcome) {
	d := t.d
	for it := 1; it <= limit; it++ {
		t.report.Evaluations++
		t.devices.Eval(&t.atNext)
		// F = p + K·(i-base) + v0 - v
		for k := range t.di {
			t.di[k] = t.i[k] - t.base[k]
		}
		kd := st.times(st.k, t.di, t.sum)
		for k := range d {
			d[k] = st.want[k] + t.rest[k] - t.next[k] + kd[k]
		}
		st.jacobian(t.devices, t.own, t.oth)
		if !st.factorJacobian() {
			return it, lost
		}
		st.solveJacobian(d)
		worst := 0.0
		for k, x := range d {
			if x = math.Abs(x) * t.devices.Weight[k]; !(x <= beyondSense) {
				x = math.Inf(1)
			}
			worst = larger(worst, x)
		}
		outcome := t.judge(worst, giveUp)
		if outcome == solved {
			// Junction limiting may still reject it.
			copy(t.scratch, t.next)
			for k, x := range d {
				t.scratch[k] += x
			}
			if t.devices.Limit(t.scratch, t.next) {
				copy(t.next, t.scratch)
				continue
			}
		}
		if outcome != going {
			st.invertJacobian()
			return it, outcome
		}
		t.apply()
	}
	return limit, lost
}

// continuation goes from the last solved p to the new one in steps that newton can take. Where it
// does not arrive, next stays where it was.
func (t *Transient) continuation(st *stepper) {
	copy(t.target, st.want)
	copy(t.reached, t.v)
	at, step := 0.0, 0.25
	for halvings := 0; at < 1; {
		ahead := min(1, at+step)
		for k, p := range st.p {
			st.want[k] = p + ahead*(t.target[k]-p)
		}
		copy(t.next, t.reached)
		if _, outcome := t.newton(st, 4*maxNewton, false); outcome == solved {
			for k, x := range t.d {
				t.reached[k] = t.next[k] + x
			}
			at = ahead
			step *= 2
			continue
		}
		step /= 4
		if halvings++; halvings > maxHalvings {
			t.report.Failures++
			copy(t.next, t.v)
			copy(t.reached, t.v)
			t.devices.Eval(&t.atNext)
			t.linearise(st)
			for k := range t.d {
				t.di[k], t.d[k] = t.i[k]-t.base[k], 0
			}
			break
		}
	}
	if at >= 1 {
		t.report.Continued++
	}
	copy(st.want, t.target)
	st.forgetErrors()
	copy(st.tangent, t.reached) // there was no prediction
}

// linearise makes the stepper ready to follow the tangent at the present derivatives of the
// devices.
func (t *Transient) linearise(st *stepper) {
	if t.few && t.rows.correct(st.workspace) >= 0 {
		return
	}
	st.jacobian(t.devices, t.own, t.oth)
	if st.factorJacobian() {
		st.invertJacobian()
	}
}

// forgetErrors discards the predictor's error history.
func (st *stepper) forgetErrors() {
	clear(st.off)
	clear(st.ahead)
	st.fresh = true
}

// settle makes the last correction and leaves the deviations of the port currents and their second
// differences over this step, h of the whole long, and the last, which may have had another length.
// It returns by how many volts, weighed, these move a port: 12 times the local truncation error.
func (t *Transient) settle(st *stepper, h float64) float64 {
	r := h / t.width
	scale := 2 * r / (1 + r)
	moved := 0.0
	if t.few {
		moved = t.rows.settle(st.workspace, r, scale)
	} else {
		for k, x := range t.d {
			t.next[k] += x
			off := t.next[k] - st.tangent[k]
			st.off[k], st.ahead[k] = off, off+(off-st.off[k])
		}
		advance(t.devices, t.di, t.d, t.own, t.oth)
		for k := range t.di {
			t.second[k] = scale * ((t.di[k] - t.last[k]) - r*(t.last[k]-t.before[k]))
		}
		copy(st.p, st.want)
		for k, x := range st.times(st.k, t.second, t.sum)[:t.m] {
			moved = larger(moved, math.Abs(x)*t.devices.Weight[k])
		}
	}
	if st.fresh {
		copy(st.ahead, st.off)
		st.fresh = false
	}
	return moved
}

// advance moves the currents along their tangent by the voltages d.
func advance(dev *circuit.Devices, i, d, own, oth []float64) {
	for k := range d {
		i[k] += own[k] * d[k]
	}
	for k := 0; k < dev.Paired; k += 2 {
		i[k] += oth[k] * d[k+1]
		i[k+1] += oth[k+1] * d[k]
	}
}

// jacobian fills I - K·D, row by row.
func (st *stepper) jacobian(dev *circuit.Devices, own, oth []float64) {
	m, k, j := st.m, st.k, st.jac
	for c := 0; c < m; c++ {
		col, g := k[c*st.mp:c*st.mp+m], own[c]
		for r, x := range col {
			j[r*m+c] = -x * g
		}
		j[c*m+c]++
	}
	for c := 0; c < dev.Paired; c += 2 {
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
	for k := 0; k < m; k++ {
		if at := st.piv[k]; at != k {
			d[k], d[at] = d[at], d[k]
		}
	}
	for k := 1; k < m; k++ {
		d[k] -= dense.Dot(a[k*m:k*m+k], d[:k])
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

// invertJacobian makes the inverse from the factors, for steppers that predict by it.
func (st *stepper) invertJacobian() {
	if st.workspace == nil {
		return
	}
	var room row
	column := room[:st.m]
	for c := range column {
		clear(column)
		column[c] = 1
		st.solveJacobian(column)
		copy(st.workspace.inverse[c*st.mp:], column)
	}
}
