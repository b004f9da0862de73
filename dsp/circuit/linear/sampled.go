package linear

import (
	"math"
	"math/cmplx"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
	"drywire/dsp/gemv"
)

// Sampled is a circuit without non-linear elements, as a filter at the recording's own rate. It has
// two parts, which add up to the circuit's own response from 0 to top:
//
// The modes that ring on for longer than some samples run as a recursion with the poles exactly
// where the circuit has them and its impulse response at every sample (impulse invariance).
// Sampling folds their response about half the rate, and faster modes are missing; what that leaves
// of the circuit's response is smooth in frequency, and a FIR filter of some tens of taps, fitted
// by least squares, makes it good. For that it has to look ahead: see Latency.
//
// Above top, which is beyond hearing, the response is near the circuit's, not
// equal. It costs a tenth of a Filter at a multiple of the rate, but what its modes hold is not
// what the capacitors hold: it cannot take over another circuit's state. Its methods are for one
// goroutine.
type Sampled struct {
	step  dsp.Second
	top   dsp.Hertz
	exact exactResponse
	ni    int
	reads []*reading
	late  int

	past          [][]float64 // of each input: what has been, as far as it has an influence yet
	narrow, whole bool        // whether there are filters of single precision, and others
	scratches     []*scratch  // of each input: nil where there is one, which takes any
	steps         int
}

// scratch is room for a segment. Between segments nothing in it counts, so that sections in a row,
// each with one input, share one and it stays in the processor's nearest cache.
type scratch struct {
	line   *gemv.Stretch[float64] // what has been, then the segment
	single *gemv.Stretch[float32] // the same in single precision
	y      []float64              // a segment of one probe, from one input
}

var scratches = sync.Pool{New: func() any {
	size := 2*tapCounts[len(tapCounts)-1] + segment
	return &scratch{gemv.NewStretch[float64](size), gemv.NewStretch[float32](size), make([]float64, segment)}
}}

// reading is the filter of one probe. It is independent of the others, so that a node's voltage
// does not depend on what else is read.
type reading struct {
	ni    int
	n     int
	modes dense.Modes // those that are kept
	in    []float64   // n × ni: what a sample adds to them
	ys    []float64   // n: what is read of them
	taps  [][]float64 // of each input: of the FIR filter, the latest sample's last
	near  []bool      // of each input: whether all taps but the middle one are of single precision
	y0    float64
	late  int

	filters []fir       // of each input
	ringing []gemv.Mode // what runs of the modes: of every input every mode
	s       []float64   // the state of nearly defective modes
}

// fir is a FIR filter at work: of whole taps, or of a gain and what little there is around it.
type fir struct {
	taps []float64
	gain float64
	near []float32 // nil: taps
}

// What a filter is fitted to: an error of so much of the largest response, by as few taps as do it.
const fitError = 1e-6

var tapCounts = []int{1, 7, 11, 15, 19, 21, 23, 25, 27, 29, 31, 33, 35, 37, 39, 41, 43, 47, 63, 95, 127}

// NewSampled makes the filter, for a sampling period of step, accurate up to top. Probes
// name the nodes that are read. It returns ErrNonLinear, or what circuit.Netlist.Operating and
// circuit.OperatingPoint.Discrete do.
func NewSampled(n *circuit.Netlist, step dsp.Second, top dsp.Hertz, probes ...string) (*Sampled, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	if point.Devices().Count > 0 {
		return nil, ErrNonLinear
	}
	f := &Sampled{step: step, top: top}
	if f.exact, err = exactOf(point, step, top, probes); err != nil {
		return nil, err
	}
	f.ni = f.exact.in.Cols
	want, check := f.spectra(fitTurns()), f.spectra(f.checkTurns(top))
	for p, name := range probes {
		r := &reading{ni: f.ni, y0: point.V(name)}
		best := *r
		// The more taps, the less of an error, but for little that does not matter here.
		for low, high := 0, len(tapCounts); low < high; {
			k := (low + high) / 2
			if err := r.keep(&f.exact, p, tapCounts[k]); err != nil {
				return nil, err
			}
			r.fit(p, want, tapCounts[k], 2*math.Pi*float64(top)*float64(step))
			if r.error(p, check) <= fitError {
				best, high = *r, k
				continue
			}
			if low = k + 1; low == len(tapCounts) {
				best = *r // it does not get better than that
			}
		}
		best.prepare()
		f.reads = append(f.reads, &best)
		f.late = max(f.late, best.late)
	}
	f.prepare()
	return f, nil
}

// prepare makes what the readings run on.
func (f *Sampled) prepare() {
	past := f.late + 3 // a mode looks three samples back
	for _, r := range f.reads {
		for _, taps := range r.taps {
			past = max(past, f.late-r.late+len(taps)-1)
		}
		f.narrow, f.whole = f.narrow || slices.Contains(r.near, true), f.whole || slices.Contains(r.near, false)
	}
	f.scratches = make([]*scratch, f.ni)
	for i := range f.ni {
		f.past = append(f.past, make([]float64, past))
		if f.ni > 1 {
			f.scratches[i] = scratches.New().(*scratch)
		}
	}
}

// prepare makes what runs of what has been found.
func (r *reading) prepare() {
	for i, taps := range r.taps {
		middle := len(taps) - 1 - r.late
		one := fir{taps: taps, gain: taps[middle]}
		if r.near[i] {
			for k, x := range taps {
				if k == middle {
					x = 0
				}
				one.near = append(one.near, float32(x))
			}
		}
		r.filters = append(r.filters, one)
	}
	if r.modes.Dense != nil {
		r.s = make([]float64, r.n)
		return
	}
	for i := range r.ni {
		drives := func(k int) float64 { return r.in[k*r.ni+i] }
		for k, re := range r.modes.Re { // as in keep: x - i·y
			w := complex(r.ys[2*k], r.ys[2*k+1]) * complex(drives(2*k), -drives(2*k+1))
			r.ringing = append(r.ringing, gemv.NewMode(complex(re, r.modes.Im[k]), real(w), -imag(w)))
		}
		for k, pole := range r.modes.Real {
			k += 2 * len(r.modes.Re)
			r.ringing = append(r.ringing, gemv.NewMode(complex(pole, 0), r.ys[k]*drives(k), 0))
		}
	}
}

// What of a response is computed in single precision: taps around a gain that add up to nearShare
// of the largest response at most, as those of a short cable behind a buffer do. They are off by
// less than -200 dB of the signal then, which is what may be between two nodes that are alike. With
// a response under leastPeak, what gemv.Narrow leaves out would be a part of it.
const (
	nearShare = 1e-3
	leastPeak = 1e-3
	leastTap  = 1e-12
)

// narrow rounds the taps around the one in the middle to single precision where that does, and says
// so.
func (r *reading) narrow(taps []float64, peak float64) bool {
	around, middle := 0.0, len(taps)-1-r.late
	for k, x := range taps {
		if k != middle {
			around += math.Abs(x)
		}
	}
	if len(taps) == 1 || peak < leastPeak || around > nearShare*peak {
		return false
	}
	for k, x := range taps {
		if k == middle {
			continue
		}
		if taps[k] = float64(float32(x)); math.Abs(x) < leastTap {
			taps[k] = 0
		}
	}
	return true
}

// exactResponse is the circuit's own, from its trapezoidal steps: the rule is a map of the
// frequency axis onto itself, which can be taken back.
type exactResponse struct {
	h     float64
	modes dense.Modes
	in    dense.Matrix[float64] // modes × inputs
	ys    dense.Matrix[float64] // probes × modes
	yw    dense.Matrix[float64] // probes × inputs
}

// mostModes is how many states a circuit has at most whose modes are all found. Those of a larger
// one are found once it is reduced.
const mostModes = 96

// exactOf finds the modes of a circuit, or of the circuit as reduced.
func exactOf(point *circuit.OperatingPoint, step dsp.Second, top dsp.Hertz, probes []string) (exactResponse, error) {
	h, err := point.Discrete(float64(step), probes)
	if err != nil {
		return exactResponse{}, err
	}
	if h.A.Rows > mostModes {
		if small := reduced(h, step, top); small != nil {
			if e := exactFrom(small, step); e.fades() {
				return e, nil
			}
		}
	}
	return exactFrom(h, step), nil
}

func exactFrom(h *circuit.Discrete, step dsp.Second) exactResponse {
	m, to, from := dense.NewModes(h.A, 1)
	return exactResponse{float64(step), m, to.Times(h.W), h.YS.Times(from), h.YW}
}

// fades reports whether what is left alone fades in every mode, as a circuit without amplifiers
// does when it is reduced, and one with them may not.
func (r *exactResponse) fades() bool {
	if r.modes.Dense != nil {
		return false
	}
	for k, re := range r.modes.Re {
		if !(math.Hypot(re, r.modes.Im[k]) < 1) {
			return false
		}
	}
	for _, x := range r.modes.Real {
		if !(math.Abs(x) < 1+1e-9) { // infinitely fast ones are at -1
			return false
		}
	}
	return true
}

// at is the response to an input, of every probe, at a frequency in radians per second.
func (r *exactResponse) at(input int, w float64) []complex128 {
	x := complex(0, w*r.h/2)
	z := (1 + x) / (1 - x)
	s := r.modes.Resolve(z, r.in.Rows, func(k int) complex128 { return complex(r.in.At(k, input), 0) })
	out := make([]complex128, r.ys.Rows)
	for p := range out {
		out[p] = complex(r.yw.At(p, input), 0)
		for k, y := range r.ys.Row(p) {
			out[p] += complex(y, 0) * s[k]
		}
	}
	return out
}

// keep makes the recursion of the modes that last for longer than half of the taps.
//
// A mode of the trapezoidal rule, b/(z-λ), is the map's image of the circuit's own,
// b·(4/h)/(1+λ)²/(s-a), a = (2/h)·(λ-1)/(λ+1), and a constant. Impulse-invariant, it is
// b·4/(1+λ)²/(1-exp(a·h)/z).
func (r *reading) keep(e *exactResponse, probe, count int) error {
	r.modes, r.in, r.ys = dense.Modes{}, nil, nil
	if e.modes.Dense != nil {
		return r.keepAll(e, probe)
	}
	const forgotten = 1e-8
	var columns []int
	// The block [re im; -im re] does to (x, y) what re + i·im does to x - i·y.
	add := func(k int, g complex128, pair bool) {
		for i := range r.ni {
			if !pair {
				r.in = append(r.in, real(g)*e.in.At(k, i))
				continue
			}
			r.in = append(r.in, real(g*complex(e.in.At(k, i), -e.in.At(k+1, i))))
		}
		columns = append(columns, k)
		if pair {
			for i := range r.ni {
				r.in = append(r.in, -imag(g*complex(e.in.At(k, i), -e.in.At(k+1, i))))
			}
			columns = append(columns, k+1)
		}
	}
	lasting := func(l complex128) (p complex128, ok bool) {
		if cmplx.Abs(1+l) < 1e-9 {
			return 0, false // infinitely fast
		}
		p = cmplx.Exp(2 * (l - 1) / (l + 1))
		return p, math.Pow(cmplx.Abs(p), float64(count)/2) > forgotten
	}
	for k, re := range e.modes.Re {
		l := complex(re, e.modes.Im[k])
		if p, ok := lasting(l); ok {
			r.modes.Re, r.modes.Im = append(r.modes.Re, real(p)), append(r.modes.Im, imag(p))
			add(2*k, 4/((1+l)*(1+l)), true)
		}
	}
	for k, re := range e.modes.Real {
		l := complex(re, 0)
		if p, ok := lasting(l); ok {
			r.modes.Real = append(r.modes.Real, real(p))
			add(2*len(e.modes.Re)+k, 4/((1+l)*(1+l)), false)
		}
	}
	r.n = len(columns)
	for _, k := range columns {
		r.ys = append(r.ys, e.ys.At(probe, k))
	}
	return nil
}

// keepAll is keep where the modes are nearly defective (two equal filters in a row):
// exp(2·(A-1)/(A+1)) for the recursion, all of it.
func (r *reading) keepAll(e *exactResponse, probe int) error {
	n := e.in.Rows
	whole := dense.Matrix[float64]{Rows: n, Cols: n, V: e.modes.Dense}
	plus, minus := whole.Clone(), whole.Clone()
	for k := range n {
		plus.Add(k, k, 1)
		minus.Add(k, k, -1)
	}
	inverse, ok := dense.Factor(plus)
	if !ok {
		return circuit.ErrSingular
	}
	a := inverse.SolveMatrix(minus)
	for k := range a.V {
		a.V[k] *= 2
	}
	var exp mat.Dense
	exp.Exp(mat.NewDense(n, n, a.V))
	r.n, r.modes = n, dense.FullModes(n, exp.RawMatrix().Data)
	r.in, r.ys = inverse.SolveMatrix(inverse.SolveMatrix(e.in)).V, append([]float64(nil), e.ys.Row(probe)...)
	for k := range r.in {
		r.in[k] *= 4
	}
	return nil
}

// spectra is the circuit's response at some frequencies.
type spectra struct {
	turns []float64        // the frequencies, in radians per sample
	at    [][][]complex128 // by frequency, input, probe
}

func (f *Sampled) spectra(turns []float64) spectra {
	s := spectra{turns: turns}
	for _, turn := range turns {
		var inputs [][]complex128
		for i := range f.ni {
			inputs = append(inputs, f.exact.at(i, turn/float64(f.step)))
		}
		s.at = append(s.at, inputs)
	}
	return s
}

const fitPoints = 512

// fitTurns is where a filter is fitted: evenly spaced from 0 to half the rate.
func fitTurns() (turns []float64) {
	for k := 0; k <= fitPoints; k++ {
		turns = append(turns, math.Pi*float64(k)/fitPoints)
	}
	return turns
}

// checkTurns is where its error is evaluated, up to the given frequency.
func (f *Sampled) checkTurns(top dsp.Hertz) (turns []float64) {
	const points = 48
	for k := range points {
		turns = append(turns, 2*math.Pi*20*math.Pow(float64(top)/20, float64(k)/(points-1))*float64(f.step))
	}
	return turns
}

// fit finds the taps that fit the residual of the recursion, up to the edge, in radians per
// sample.
func (r *reading) fit(probe int, want spectra, count int, edge float64) {
	r.late = count / 2
	d := designOf(count, edge)
	sums := dense.New[float64](count, r.ni)
	peaks := make([]float64, r.ni)
	for k, turn := range want.turns {
		z := cmplx.Exp(complex(0, turn))
		late := cmplx.Exp(complex(0, -turn*float64(r.late))) * complex(d.weight[k], 0)
		for i := range r.ni {
			whole := want.at[k][i][probe]
			peaks[i] = max(peaks[i], cmplx.Abs(whole))
			spin := late * (whole - r.recursion(i, z))
			for t := range count {
				sums.V[t*sums.Cols+i] += real(spin)
				spin *= z
			}
		}
	}
	x := d.normal.SolveMatrix(sums)
	r.taps, r.near = nil, nil
	for i := range r.ni {
		taps := make([]float64, count)
		for t := range count {
			taps[count-1-t] = x.At(t, i)
		}
		r.taps, r.near = append(r.taps, taps), append(r.near, r.narrow(taps, peaks[i]))
	}
}

// design is what all fits of as many taps, to the same share of the band, have in common: weights
// and the normal equations.
type design struct {
	weight []float64
	normal dense.LU[float64]
}

var designs sync.Map // of [2]float64

func designOf(count int, edge float64) design {
	key := [2]float64{float64(count), edge}
	if d, ok := designs.Load(key); ok {
		return d.(design)
	}
	// Above the edge errors count for a hundred-thousandth: enough for the response to stay near
	// the circuit's.
	const above = 1e-10
	d := design{weight: make([]float64, fitPoints+1)}
	lags := make([]float64, count)
	for k := range d.weight {
		turn := math.Pi * float64(k) / fitPoints
		if d.weight[k] = above; turn <= edge {
			// Evenly weighted, least squares would leave the most next to the edge. This is how
			// dense the zeros of the error are where it is the same everywhere: the equilibrium
			// distribution on the arc from -edge to edge.
			inside := math.Pow(math.Sin(edge/2), 2) - math.Pow(math.Sin(turn/2), 2)
			d.weight[k] = math.Cos(turn/2) / math.Sqrt(max(inside, 1e-3))
		}
		for l := range lags {
			lags[l] += d.weight[k] * math.Cos(turn*float64(l))
		}
	}
	normal := dense.New[float64](count, count)
	for r := range count {
		for c := range count {
			normal.Set(r, c, lags[max(r-c, c-r)])
		}
	}
	var ok bool
	if d.normal, ok = dense.Factor(normal); !ok {
		panic("linear: a fit without a solution")
	}
	designs.Store(key, d)
	return d
}

// recursion is the response of the modes that are kept, undelayed.
func (r *reading) recursion(input int, z complex128) (sum complex128) {
	if r.n == 0 {
		return 0
	}
	for k, x := range r.modes.Resolve(z, r.n, func(k int) complex128 { return z * complex(r.in[k*r.ni+input], 0) }) {
		sum += complex(r.ys[k], 0) * x
	}
	return sum
}

// response is that of recursion and taps, without the delay, at a frequency in radians per sample.
func (r *reading) response(input int, turn float64) complex128 {
	back := cmplx.Exp(complex(0, -turn))
	var sum complex128
	for _, x := range r.taps[input] {
		sum = sum*back + complex(x, 0) // the latest sample's is not delayed
	}
	return r.recursion(input, 1/back) + sum*cmplx.Exp(complex(0, turn*float64(r.late)))
}

// error is the largest departure from what is wanted, as a share of the largest of that.
func (r *reading) error(probe int, want spectra) float64 {
	worst := 0.0
	for i := range r.ni {
		peak, off := 0.0, 0.0
		for k, turn := range want.turns {
			x := want.at[k][i][probe]
			peak = max(peak, cmplx.Abs(x))
			off = max(off, cmplx.Abs(r.response(i, turn)-x))
		}
		if peak > 0 {
			worst = max(worst, off/peak)
		}
	}
	return worst
}

// Latency is the delay in samples.
func (f *Sampled) Latency() int { return f.late }

// Reset puts the filter to rest.
func (f *Sampled) Reset() {
	for _, r := range f.reads {
		clear(r.s)
		for k := range r.ringing {
			r.ringing[k].Reset()
		}
	}
	for _, past := range f.past {
		clear(past)
	}
	f.steps = 0
}

// segment is how many samples are worked on at a time; it has no influence on the output. At its
// end, counted from the start, states that have faded are made zero.
const segment = 512

// Process takes a signal for every input and gives one for every probe, later by Latency.
func (f *Sampled) Process(out, in [][]float64) {
	n := dsp.Frames(out, in)
	if f.ni == 1 {
		f.scratches[0] = scratches.Get().(*scratch)
		defer scratches.Put(f.scratches[0])
	}
	for at := 0; at < n; {
		count := min(segment-f.steps, n-at)
		for i, d := range f.scratches { // first of all, since an output may be an input
			past := f.past[i]
			gemv.Write(d.line, 0, past, f.whole)
			gemv.Write(d.line, len(past), in[i][at:at+count], f.whole)
			if f.narrow {
				gemv.Narrow(d.single, 0, d.line.From(0)[:len(past)+count])
			}
			copy(past, d.line.From(count))
		}
		for p, r := range f.reads {
			f.read(r, out[p][at:at+count])
		}
		at += count
		if f.steps += count; f.steps == segment {
			f.steps = 0
			for _, r := range f.reads {
				dense.Flush(r.s)
				for k := range r.ringing {
					r.ringing[k].Flush(dense.FlushUnder)
				}
			}
		}
	}
}

// read gives one probe.
func (f *Sampled) read(r *reading, out []float64) {
	bias, y := r.y0, out
	if f.ni == 0 { // nothing drives it
		for j := range out {
			out[j] = bias
		}
		return
	}
	middle := len(f.past[0]) - f.late // of the sample that is as late as the FIR filters' middle
	for i, one := range r.filters {
		d := f.scratches[i]
		if i > 0 {
			bias, y = 0, d.y[:len(out)]
		}
		if from := middle + r.late + 1 - len(one.taps); one.near != nil {
			gemv.SlideNear(y, d.line.From(middle), one.gain, bias, d.single, from, one.near)
		} else {
			gemv.Slide(y, d.line, from, one.taps, bias)
		}
		if i > 0 {
			for j, x := range y {
				out[j] += x
			}
		}
	}
	if r.modes.Dense != nil {
		for j := range out {
			r.modes.Step(r.s)
			for k := range r.s {
				for i, d := range f.scratches {
					r.s[k] += r.in[k*r.ni+i] * d.line.From(middle)[j]
				}
			}
			out[j] += dense.Dot(r.ys, r.s)
		}
		return
	}
	each := len(r.ringing) / r.ni
	for i, d := range f.scratches {
		gemv.AddModes(r.ringing[i*each:(i+1)*each], out, d.line.From(middle-3))
	}
}

// Response is what the filter does to a sine at one input, at every probe, as sampled: closed form
// from its coefficients, without the delay of Latency.
func (f *Sampled) Response(input int, freq dsp.Hertz) (out []complex128) {
	for _, r := range f.reads {
		out = append(out, r.response(input, 2*math.Pi*float64(freq)*float64(f.step)))
	}
	return out
}

// Error is the largest departure of the filter from the circuit's own response up to the given
// frequency, as a share of the circuit's largest response at that probe: 1e-4 is -80 dB.
func (f *Sampled) Error(top dsp.Hertz) float64 {
	want, worst := f.spectra(f.checkTurns(top)), 0.0
	for p, r := range f.reads {
		worst = max(worst, r.error(p, want))
	}
	return worst
}
