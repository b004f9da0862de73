package circuit

import (
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/mat"

	"drywire/dsp"
	"drywire/dsp/gemv"
)

// Sampled is a circuit without non-linear devices, as a filter at the recording's own rate. It has two parts, which add up to the circuit's own response from 0 to
// top:
//
// The modes that ring on for longer than some samples run as a recursion, each kicked by every sample as an impulse would kick it, with the poles exactly where the
// circuit has them. Sampling folds their response about half the rate, and faster modes are missing; what that leaves of the circuit's response is smooth in
// frequency, and a FIR filter of some tens of taps, fitted by least squares, makes it good. For that it has to look ahead: see Latency.
//
// Above top, where a recording has nothing that is heard, the response is near the circuit's, not equal. It costs a tenth of a Filter at a multiple of the rate,
// but what its modes hold is not what the capacitors hold: it cannot take over another circuit's state.
type Sampled struct {
	step  dsp.Second
	top   dsp.Hertz
	exact exactResponse

	n, ni, ny int
	modes     modes       // those that are kept
	in        []float64   // n × ni: what a sample adds to them
	ys        []float64   // ny × n
	taps      [][]float64 // ny × ni: of the FIR filters, the latest sample's last
	y0        []float64
	late      int

	s     []float64
	line  [][]float64 // of each input: as many samples as there are taps, but one, then those of this segment
	y     []float64   // a segment of one probe, or of a mode
	other []float64   // of the other mode of a pair
	steps int
}

// What a filter is fitted to: an error of so much of the largest response, by as few taps as do it.
const fitError = 1e-6

var tapCounts = []int{1, 8, 16, 24, 32, 48, 64, 96, 128}

// NewSampled makes the filter, to be right up to top. Probes name the nodes that are read.
func (n *Netlist) NewSampled(step dsp.Second, top dsp.Hertz, probes ...string) (*Sampled, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	if point.dev.count > 0 {
		return nil, ErrNonLinear
	}
	h, err := point.histories(float64(step), probes)
	if err != nil {
		return nil, err
	}
	f := &Sampled{step: step, top: top, ni: h.w.cols, ny: len(probes)}
	m, to, from := newModes(h.a, 1)
	f.exact = exactResponse{float64(step), m, to.times(h.w), h.ys.times(from), h.yw}
	for _, name := range probes {
		f.y0 = append(f.y0, point.V(name))
	}
	want := newSpectra(f)
	for _, count := range tapCounts {
		if err := f.keep(count); err != nil {
			return nil, err
		}
		if f.fit(want, count); f.Error(top) <= fitError {
			break
		}
	}
	f.s = make([]float64, f.n)
	f.y, f.other = make([]float64, segment+gemvWidth), make([]float64, segment)
	for range f.ni {
		f.line = append(f.line, make([]float64, len(f.taps[0])-1+segment+gemvWidth))
	}
	return f, nil
}

// exactResponse is the circuit's own, from its trapezoidal steps: the rule is a map of the frequency axis onto itself, which can be taken back.
type exactResponse struct {
	h     float64
	modes modes
	in    matrix[float64] // modes × inputs
	ys    matrix[float64] // probes × modes
	yw    matrix[float64] // probes × inputs
}

// at is the response to an input, of every probe, at a frequency in radians per second.
func (r *exactResponse) at(input int, w float64) []complex128 {
	x := complex(0, w*r.h/2)
	z := (1 + x) / (1 - x)
	s := r.modes.resolve(z, r.in.rows, func(k int) complex128 { return complex(r.in.at(k, input), 0) })
	out := make([]complex128, r.ys.rows)
	for p := range out {
		out[p] = complex(r.yw.at(p, input), 0)
		for k, y := range r.ys.row(p) {
			out[p] += complex(y, 0) * s[k]
		}
	}
	return out
}

// keep makes the recursion of the modes that last for longer than half of so many taps.
//
// A mode of the trapezoidal rule, b/(z-λ), is the map's image of the circuit's own, b·(4/h)/(1+λ)²/(s-a), a = (2/h)·(λ-1)/(λ+1), and a constant. As an impulse kicks
// it, it is b·4/(1+λ)²/(1-exp(a·h)/z).
func (f *Sampled) keep(count int) error {
	e := &f.exact
	f.modes, f.in, f.ys = modes{}, nil, nil
	if e.modes.dense != nil {
		return f.keepAll()
	}
	const forgotten = 1e-8
	var columns []int
	add := func(k int, g complex128, pair bool) { // the block [re im; -im re] does to (x, y) what re + i·im does to x - i·y
		for i := range f.ni {
			if !pair {
				f.in = append(f.in, real(g)*e.in.at(k, i))
				continue
			}
			f.in = append(f.in, real(g*complex(e.in.at(k, i), -e.in.at(k+1, i))))
		}
		columns = append(columns, k)
		if pair {
			for i := range f.ni {
				f.in = append(f.in, -imag(g*complex(e.in.at(k, i), -e.in.at(k+1, i))))
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
	for k, re := range e.modes.re {
		l := complex(re, e.modes.im[k])
		if p, ok := lasting(l); ok {
			f.modes.re, f.modes.im = append(f.modes.re, real(p)), append(f.modes.im, imag(p))
			add(2*k, 4/((1+l)*(1+l)), true)
		}
	}
	for k, re := range e.modes.real {
		l := complex(re, 0)
		if p, ok := lasting(l); ok {
			f.modes.real = append(f.modes.real, real(p))
			add(2*len(e.modes.re)+k, 4/((1+l)*(1+l)), false)
		}
	}
	f.n = len(columns)
	for p := range f.ny {
		for _, k := range columns {
			f.ys = append(f.ys, e.ys.at(p, k))
		}
	}
	return nil
}

// keepAll is keep where the modes cannot be told apart (two equal filters in a row): exp(2·(A-1)/(A+1)) for the recursion, all of it.
func (f *Sampled) keepAll() error {
	e := &f.exact
	n := e.in.rows
	plus, minus := matrix[float64]{n, n, append([]float64(nil), e.modes.dense...)}, matrix[float64]{n, n, append([]float64(nil), e.modes.dense...)}
	for k := range n {
		plus.add(k, k, 1)
		minus.add(k, k, -1)
	}
	inverse, ok := factor(plus)
	if !ok {
		return ErrSingular
	}
	a := inverse.solveMatrix(minus)
	for k := range a.v {
		a.v[k] *= 2
	}
	var exp mat.Dense
	exp.Exp(mat.NewDense(n, n, a.v))
	f.n, f.modes = n, modes{dense: exp.RawMatrix().Data, tmp: make([]float64, n)}
	f.in, f.ys = inverse.solveMatrix(inverse.solveMatrix(e.in)).v, e.ys.v
	for k := range f.in {
		f.in[k] *= 4
	}
	return nil
}

// spectra is the circuit's response at evenly spaced frequencies from 0 to half the rate.
type spectra struct {
	at    [][][]complex128 // by frequency, input, probe
	turns []float64        // radians per sample
}

const fitPoints = 512

func newSpectra(f *Sampled) spectra {
	var s spectra
	for k := 0; k <= fitPoints; k++ {
		turn := math.Pi * float64(k) / fitPoints
		s.turns = append(s.turns, turn)
		var inputs [][]complex128
		for i := range f.ni {
			inputs = append(inputs, f.exact.at(i, turn/float64(f.step)))
		}
		s.at = append(s.at, inputs)
	}
	return s
}

// fit finds so many taps that make good what the recursion leaves.
func (f *Sampled) fit(want spectra, count int) {
	f.late = count / 2
	f.taps = make([][]float64, f.ny*f.ni)
	edge := 2 * math.Pi * float64(f.top) * float64(f.step)
	d := designOf(count, edge)
	sums := newMatrix[float64](count, f.ny*f.ni)
	for k, turn := range want.turns {
		z := cmplx.Exp(complex(0, turn))
		for i := range f.ni {
			got := f.recursion(i, z)
			for p := range f.ny {
				left := want.at[k][i][p] - got[p]
				spin := cmplx.Exp(complex(0, -turn*float64(f.late))) * complex(d.weight[k], 0) * left
				for t := range count {
					sums.v[t*sums.cols+p*f.ni+i] += real(spin)
					spin *= z
				}
			}
		}
	}
	x := d.normal.solveMatrix(sums)
	for c := range f.taps {
		f.taps[c] = make([]float64, count)
		for t := range count {
			f.taps[c][count-1-t] = x.at(t, c)
		}
	}
}

// design is what all fits of as many taps, to the same share of the band, have in common: weights and the normal equations.
type design struct {
	weight []float64
	normal lu[float64]
}

var designs sync.Map // of [2]float64

func designOf(count int, edge float64) design {
	key := [2]float64{float64(count), edge}
	if d, ok := designs.Load(key); ok {
		return d.(design)
	}
	// Above the edge errors count for a ten-thousandth: enough for the response to stay near the circuit's.
	const above = 1e-8
	d := design{weight: make([]float64, fitPoints+1)}
	lags := make([]float64, count)
	for k := range d.weight {
		turn := math.Pi * float64(k) / fitPoints
		if d.weight[k] = 1; turn > edge {
			d.weight[k] = above
		}
		for l := range lags {
			lags[l] += d.weight[k] * math.Cos(turn*float64(l))
		}
	}
	normal := newMatrix[float64](count, count)
	for r := range count {
		for c := range count {
			normal.set(r, c, lags[max(r-c, c-r)])
		}
	}
	var ok bool
	if d.normal, ok = factor(normal); !ok {
		panic("circuit: a fit without a solution")
	}
	designs.Store(key, d)
	return d
}

// recursion is the response of the modes that are kept, undelayed.
func (f *Sampled) recursion(input int, z complex128) []complex128 {
	s := f.modes.resolve(z, f.n, func(k int) complex128 { return z * complex(f.in[k*f.ni+input], 0) })
	out := make([]complex128, f.ny)
	for p := range out {
		for k, x := range s {
			out[p] += complex(f.ys[p*f.n+k], 0) * x
		}
	}
	return out
}

// Latency is the delay in samples.
func (f *Sampled) Latency() int { return f.late }

// Reset puts the filter to rest.
func (f *Sampled) Reset() {
	clear(f.s)
	for _, line := range f.line {
		clear(line)
	}
	f.steps = 0
}

// segment is how many samples are worked on at a time, gemvWidth how many outputs a FIR filter gives at once; neither has an influence on the output.
const (
	segment   = flushEvery
	gemvWidth = 8
)

// Process takes a signal for every input and gives one for every probe, later by Latency.
func (f *Sampled) Process(out, in [][]float64) {
	n := 0
	if len(in) > 0 {
		n = len(in[0])
	} else if len(out) > 0 {
		n = len(out[0])
	}
	for at := 0; at < n; {
		count := min(segment-f.steps, n-at)
		past := len(f.taps[0]) - 1
		for i, line := range f.line {
			copy(line[past:], in[i][at:at+count])
		}
		for p := range out {
			f.probe(p, out[p][at:at+count])
		}
		f.advance(out, at, count)
		for _, line := range f.line {
			copy(line, line[count:count+past])
		}
		at += count
		if f.steps += count; f.steps == segment {
			f.steps = 0
			flush(f.s)
		}
	}
}

// probe is what the FIR filters give at one probe.
func (f *Sampled) probe(p int, out []float64) {
	for k := range f.y {
		f.y[k] = f.y0[p]
	}
	for i, line := range f.line {
		taps := f.taps[p*f.ni+i]
		for j := 0; j < len(out); j += gemvWidth {
			gemv.Add8((*[gemvWidth]float64)(f.y[j:]), line[j:], 1, taps)
		}
	}
	copy(out, f.y)
}

// advance runs the recursion and adds it to the outputs from the given sample on.
func (f *Sampled) advance(out [][]float64, at, count int) {
	if f.n == 0 {
		return
	}
	from := len(f.taps[0]) - 1 - f.late // of the sample that is as late as the FIR filters' middle
	if f.modes.dense != nil {
		for j := range count {
			f.modes.step(f.s)
			for k := range f.s {
				for i, line := range f.line {
					f.s[k] += f.in[k*f.ni+i] * line[from+j]
				}
			}
			for p := range out {
				out[p][at+j] += dot(f.ys[p*f.n:(p+1)*f.n], f.s)
			}
		}
		return
	}
	for k, re := range f.modes.re {
		im := f.modes.im[k]
		x, y := f.s[2*k], f.s[2*k+1]
		states, others := f.y[:count], f.other[:count]
		clear(states)
		clear(others)
		for i, line := range f.line {
			a, b := f.in[2*k*f.ni+i], f.in[(2*k+1)*f.ni+i]
			for j, u := range line[from : from+count] {
				states[j] += a * u
				others[j] += b * u
			}
		}
		for j := range states {
			x, y = re*x+im*y+states[j], re*y-im*x+others[j]
			states[j], others[j] = x, y
		}
		f.s[2*k], f.s[2*k+1] = x, y
		f.add(out, at, 2*k, states)
		f.add(out, at, 2*k+1, others)
	}
	for k, r := range f.modes.real {
		k += 2 * len(f.modes.re)
		x := f.s[k]
		states := f.y[:count]
		clear(states)
		for i, line := range f.line {
			a := f.in[k*f.ni+i]
			for j, u := range line[from : from+count] {
				states[j] += a * u
			}
		}
		for j, u := range states {
			x = r*x + u
			states[j] = x
		}
		f.s[k] = x
		f.add(out, at, k, states)
	}
}

// add adds a mode to every probe.
func (f *Sampled) add(out [][]float64, at, mode int, states []float64) {
	for p := range out {
		c := f.ys[p*f.n+mode]
		o := out[p][at : at+len(states)]
		for j, x := range states {
			o[j] += c * x
		}
	}
}

// Response is what the filter does to a sine at one input, at every probe, as sampled: closed form from its coefficients, without the
// delay of Latency.
func (f *Sampled) Response(input int, freq dsp.Hertz) []complex128 {
	turn := 2 * math.Pi * float64(freq) * float64(f.step)
	out := f.recursion(input, cmplx.Exp(complex(0, turn)))
	for p := range out {
		taps := f.taps[p*f.ni+input]
		for k, x := range taps {
			out[p] += complex(x, 0) * cmplx.Exp(complex(0, -turn*float64(len(taps)-1-k-f.late)))
		}
	}
	return out
}

// Error is the largest departure of the filter from the circuit's own response up to the given frequency, as a share of the circuit's
// largest response at that probe: 1e-4 is -80 dB.
func (f *Sampled) Error(top dsp.Hertz) float64 {
	const points = 48
	worst := 0.0
	for i := range f.ni {
		peak, off := make([]float64, f.ny), make([]float64, f.ny)
		for k := range points {
			freq := 20 * math.Pow(float64(top)/20, float64(k)/(points-1))
			want := f.exact.at(i, 2*math.Pi*freq)
			for p, got := range f.Response(i, dsp.Hertz(freq)) {
				peak[p] = max(peak[p], cmplx.Abs(want[p]))
				off[p] = max(off[p], cmplx.Abs(got-want[p]))
			}
		}
		for p := range peak {
			if peak[p] > 0 {
				worst = max(worst, off[p]/peak[p])
			}
		}
	}
	return worst
}
