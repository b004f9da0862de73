package circuit

// A circuit whose controls are turned while it sounds is a row of circuits that differ in their values, and of which each takes over from another what a
// real one keeps while a wiper moves: the charge of its capacitors and the current of its inductors.

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

// exchange turns histories that are counted from one circuit's operating point into those from another's, in place.
func exchange(history []float64, from, to *OperatingPoint, h float64) {
	was, wasWeight := from.rest(h)
	is, isWeight := to.rest(h)
	for k := range history {
		history[k] = (history[k]+was[k])*(isWeight[k]/wasWeight[k]) - is[k]
	}
}

// Alike says whether the filter may take over the state of another: the same elements with other values, at the same rate.
func (f *Filter) Alike(other *Filter) bool {
	return f.n == other.n && f.ni == other.ni && f.ny == other.ny && f.step == other.step
}

// Adopt takes over the voltage of every capacitor, the current of every inductor and the inputs from a filter that is Alike. It allocates, and is no
// part of a loop over samples.
func (f *Filter) Adopt(from *Filter) {
	h := float64(f.step) / filterSteps
	history := make([]float64, f.n)
	for k := range history {
		history[k] = dot(from.from.row(k), from.s)
	}
	exchange(history, from.point, f.point, h)
	for k := range f.s {
		f.s[k] = dot(f.to.row(k), history)
	}
	copy(f.taps, from.taps)
	f.steps = from.steps
}

// Alike says whether the transient may take over the state of another: the same elements with other values, at the same step.
func (t *Transient) Alike(other *Transient) bool {
	return t.m == other.m && t.n == other.n && t.ni == other.ni && len(t.outs) == len(other.outs) && len(t.levels) == len(other.levels) && t.micro == other.micro
}

// Adopt takes over the voltage of every capacitor, the current of every inductor, the inputs and, as a place to begin, the voltages at the devices from a
// transient that is Alike. It allocates, and is no part of a loop over samples. The report stays the transient's own.
func (t *Transient) Adopt(from *Transient) {
	history, src := make([]float64, t.n), from.levels[from.owner]
	for k := range history {
		history[k] = dot(src.outS.row(k), src.last) + dot(src.outU.row(k), src.u) + dot(src.outI.row(k), from.last) + dot(src.outB.row(k), src.bend)
	}
	exchange(history, from.point, t.point, t.micro)
	copy(t.history, history)
	copy(t.v, from.v)
	t.dev.eval(t.v, t.i, t.own, t.oth)
	for k := range t.last {
		shift := from.scratch.base[k] - t.scratch.base[k]
		t.last[k], t.before[k] = from.last[k]+shift, from.before[k]+shift
	}
	copy(t.taps, from.taps)
	copy(t.line, from.line)
	for k, q := range from.smooth {
		shift := from.y0[k] - t.y0[k]
		q.y1, q.y2 = q.y1+shift, q.y2+shift
		q.rise += shift / 2 // the rising half of the triangle weighs a half
		t.smooth[k] = q
	}
	t.width, t.calm = from.width, from.calm
	for l, st := range t.levels {
		for k := range st.s {
			st.s[k] = dot(st.inS.row(k), history) + dot(st.inI.row(k), t.last)
		}
		copy(st.u, from.taps)
		t.reseat(st)
		t.current[l] = true
	}
	t.owner = 0
}
