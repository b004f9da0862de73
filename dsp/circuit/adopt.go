package circuit

// Carry hands what a real circuit keeps while a control of it is turned, the voltages of its capacitors and the currents of its inductors, from one circuit to
// another of the same elements with other values. It allocates only when it is made.
type Carry struct {
	t *Transient // one of the two
	f *Filter

	rest    []float64 // see OperatingPoint.rest
	weight  []float64
	history []float64 // deviations from rest
	joined  int64     // the count of steps at which history was put into the transient
}

// Carry prepares a transient.
func (t *Transient) Carry() *Carry {
	c := &Carry{t: t, history: make([]float64, t.n), joined: -1}
	c.rest, c.weight = t.point.rest(t.micro)
	return c
}

// Carry prepares a filter.
func (f *Filter) Carry() *Carry {
	c := &Carry{f: f, history: make([]float64, f.n)}
	c.rest, c.weight = f.point.rest(float64(f.step) / filterSteps)
	return c
}

// rest is what the history of every companion model (2C/h·v + i of a capacitor, 2L/h·i + v of an inductor) is at the operating point, where no current
// flows through a capacitor and no voltage is across an inductor; and its weight, 2C/h or 2L/h. The order is that of histories.
func (p *OperatingPoint) rest(h float64) (rest, weight []float64) {
	type pair struct{ a, b int }
	at := map[pair]int{}
	for _, c := range p.sys.net.capacitors {
		if c.a == c.b {
			continue
		}
		key := pair{min(c.a, c.b), max(c.a, c.b)}
		w := 2 * c.c / h
		if k, ok := at[key]; ok {
			rest[k] += w * rest[k] / weight[k]
			weight[k] += w
			continue
		}
		at[key] = len(rest)
		rest, weight = append(rest, w*across(p.x, c.a, c.b)), append(weight, w)
	}
	for k, l := range p.sys.net.inductors {
		w := 2 * l.l / h
		rest, weight = append(rest, w*p.x[p.sys.inductorRow[k]]), append(weight, w)
	}
	return rest, weight
}

// Alike says whether one circuit can take over the state of the other: the same elements, at the same step, with the same nodes read.
func (c *Carry) Alike(other *Carry) bool {
	if c.t != nil && other.t != nil {
		t, o := c.t, other.t
		return t.m == o.m && t.n == o.n && t.ni == o.ni && len(t.outs) == len(o.outs) && len(t.levels) == len(o.levels) && t.micro == o.micro
	}
	if c.f != nil && other.f != nil {
		f, o := c.f, other.f
		return f.n == o.n && f.ni == o.ni && f.ny == o.ny && f.step == o.step
	}
	return false
}

// Adopt takes over all that another circuit has: its state, the inputs and, as a place for the solver to begin, the voltages at the devices. The transient's
// report stays its own.
func (c *Carry) Adopt(from *Carry) {
	from.get()
	for k, g := range from.history {
		c.history[k] = (g+from.rest[k])*(c.weight[k]/from.weight[k]) - c.rest[k]
	}
	if c.f != nil {
		copy(c.f.taps, from.f.taps)
		c.f.steps = from.f.steps
		c.put()
		return
	}
	t, o := c.t, from.t
	copy(t.v, o.v)
	t.dev.eval(t.v, t.i, t.own, t.oth)
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
	t.width, t.calm, t.owner = o.width, o.calm, 0
	clear(t.current)
	c.put()
}

// Join gives two circuits that have run side by side one state: what lies between theirs, w of the way from the first to the second. Where the values of a
// circuit move, the rate of change of its state is between those of the two, and so, over a short time, is the state.
func Join(a, b *Carry, w float64) {
	a.get()
	b.get()
	for k := range a.history {
		x, y := (a.history[k]+a.rest[k])/a.weight[k], (b.history[k]+b.rest[k])/b.weight[k]
		x += w * (y - x)
		a.history[k], b.history[k] = x*a.weight[k]-a.rest[k], x*b.weight[k]-b.rest[k]
	}
	a.put()
	b.put()
}

// get reads the histories.
func (c *Carry) get() {
	if c.f != nil {
		for k := range c.history {
			c.history[k] = dot(c.f.from.row(k), c.f.s)
		}
		return
	}
	t := c.t
	if c.joined == t.report.Steps {
		return // it has not moved since
	}
	t.levels[t.owner].histories(c.history, t.last)
}

// put writes them.
func (c *Carry) put() {
	if c.f != nil {
		for k := range c.f.s {
			c.f.s[k] = dot(c.f.to.row(k), c.history)
		}
		return
	}
	t := c.t
	for l, st := range t.levels {
		s := st.states(st.z)
		for k := range s {
			s[k] = dot(st.inS.row(k), c.history) + dot(st.inI.row(k), t.last)
		}
		if !t.current[l] {
			t.reseat(st)
			t.current[l] = true
		}
	}
	c.joined = t.report.Steps
}

// Reset forgets what was carried; the circuit itself is reset by its own method.
func (c *Carry) Reset() { c.joined = -1 }
