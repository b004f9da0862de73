// Package linear makes filters of circuits without non-linear elements: Sampled at the recording's
// own rate, which is what a section runs wherever it can, and Filter at a multiple of it, to which
// another circuit's state can be transferred.
//
// Start reading at Filter, which is the plainer one, then Sampled.
package linear

import (
	"errors"
	"math"
	"math/cmplx"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/internal/dense"
)

// Filter is a circuit without non-linear elements, as a state-space filter at a fixed rate. Between
// samples the inputs follow the cubic through the four samples around, and the circuit is carried
// along it by many trapezoidal steps, computed once. So its poles lie exactly where the circuit
// has them, and the response errs only by the cubic.
//
// The output is one step late, because the cubic needs the sample after. Its methods are for one
// goroutine.
type Filter struct {
	ac     *circuit.AC
	names  []string
	step   dsp.Second
	inputs []string

	n, ni, ny int
	modes     dense.Modes
	to, from  dense.Matrix[float64] // histories into modes and back
	in        []float64             // n × 4·ni: state from the taps of each input
	ys        []float64             // ny × n
	yu        []float64             // ny × 4·ni
	y0        []float64

	s     []float64
	taps  []float64 // the last four samples of each input
	steps int64
	state *circuit.State
	u, y  []float64 // of Process
}

// ErrNonLinear is returned where a filter is asked for of a circuit with a non-linear element.
var ErrNonLinear = errors.New("linear: the circuit is not")

// filterSteps is how many trapezoidal steps carry a filter over one sample.
const filterSteps = 256

// NewFilter makes the filter, for a sampling period of step seconds. Probes name the nodes that are
// read. It returns ErrNonLinear, or what circuit.Netlist.Operating and
// circuit.OperatingPoint.Discrete do.
func NewFilter(n *circuit.Netlist, step dsp.Second, probes ...string) (*Filter, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	if point.Devices().Count > 0 {
		return nil, ErrNonLinear
	}
	h, err := point.Discrete(float64(step)/filterSteps, probes)
	if err != nil {
		return nil, err
	}
	f := &Filter{
		ac: point.AC(), names: probes, step: step, inputs: n.Inputs(),
		n: h.A.Rows, ni: h.W.Cols, ny: len(probes), state: point.State(float64(step) / filterSteps),
	}
	f.u, f.y = make([]float64, f.ni), make([]float64, f.ny)
	state := dense.New[float64](f.n, 4*f.ni)
	before := state // one microstep before the end
	for j := 1; j <= filterSteps; j++ {
		c := cubicBetween(float64(j) / filterSteps)
		before = state
		state = h.A.Times(state)
		for r := 0; r < f.n; r++ {
			for i := 0; i < f.ni; i++ {
				for k, weight := range c {
					state.Add(r, 4*i+k, weight*h.W.At(r, i))
				}
			}
		}
	}
	f.modes, f.to, f.from = dense.NewModes(h.A, filterSteps)
	power := dense.New[float64](f.n, f.n)
	for k := 0; k < f.n; k++ {
		power.Set(k, k, 1)
	}
	for j := 1; j < filterSteps; j++ {
		power = h.A.Times(power)
	}
	f.in = f.to.Times(state).V
	f.ys = h.YS.Times(power).Times(f.from).V
	yu := h.YS.Times(before)
	for r := 0; r < f.ny; r++ {
		for i := 0; i < f.ni; i++ {
			yu.Add(r, 4*i+2, h.YW.At(r, i))
		}
	}
	f.yu = yu.V
	for _, name := range probes {
		f.y0 = append(f.y0, point.V(name))
	}
	f.s, f.taps = make([]float64, f.n), make([]float64, 4*f.ni)
	return f, nil
}

// cubicBetween is the weights of the samples at -1, 0, 1 and 2 in the cubic through them, at x
// between 0 and 1.
func cubicBetween(x float64) [4]float64 {
	return [4]float64{
		-x * (x - 1) * (x - 2) / 6,
		(x + 1) * (x - 1) * (x - 2) / 2,
		-(x + 1) * x * (x - 2) / 2,
		(x + 1) * x * (x - 1) / 6,
	}
}

// Latency is the delay in samples.
func (f *Filter) Latency() int { return 1 }

// Reset puts the filter to rest.
func (f *Filter) Reset() {
	clear(f.s)
	clear(f.taps)
	f.steps = 0
}

// Process runs the filter over signals of its driven sources, in volts, and gives one of every
// probe, in volts. All are of one length; an output may be an input.
func (f *Filter) Process(out, in [][]float64) {
	for j := range dsp.Frames(out, in) {
		for k := range f.u {
			f.u[k] = in[k][j]
		}
		f.Step(f.y, f.u)
		for k, y := range f.y {
			out[k][j] = y
		}
	}
}

// Step takes one sample of every input and gives every probe one sample earlier.
func (f *Filter) Step(out, in []float64) {
	for i, u := range in {
		t := f.taps[4*i : 4*i+4 : 4*i+4]
		t[0], t[1], t[2], t[3] = t[1], t[2], t[3], u
	}
	w, n := 4*f.ni, f.n
	for k := range out {
		out[k] = f.y0[k] + dense.Dot(f.ys[k*n:k*n+n], f.s) + dense.Dot(f.yu[k*w:k*w+w], f.taps)
	}
	f.modes.Step(f.s)
	for k := range f.s {
		f.s[k] += dense.Dot(f.in[k*w:k*w+w], f.taps)
	}
	if f.steps++; f.steps%dense.FlushEvery == 0 {
		dense.Flush(f.s)
	}
}

// Response is what the filter does to a sine at one input, at every probe, as a complex gain (V/V),
// as sampled: closed form from its matrices, without the delay of Latency.
func (f *Filter) Response(input int, freq dsp.Hertz) []complex128 {
	w := 2 * math.Pi * float64(freq) * float64(f.step)
	z := cmplx.Exp(complex(0, w))
	// The output is at the third tap; taps are at z^-2 … z^1 about it.
	var taps [4]complex128
	for k := range taps {
		taps[k] = cmplx.Exp(complex(0, w*float64(k-2)))
	}
	drive := func(row []float64) complex128 {
		var d complex128
		for k, x := range row[4*input : 4*input+4] {
			d += complex(x, 0) * taps[k]
		}
		return d
	}
	// s before the step: z·s = A·s + drive.
	s := f.modes.Resolve(z, f.n, func(k int) complex128 { return drive(f.in[k*4*f.ni : (k+1)*4*f.ni]) })
	out := make([]complex128, f.ny)
	for k := range out {
		for j, x := range s {
			out[k] += complex(f.ys[k*f.n+j], 0) * x
		}
		out[k] += drive(f.yu[k*4*f.ni : (k+1)*4*f.ni])
	}
	return out
}

// Error is the largest departure of the filter from the circuit's own response up to the given
// frequency, as a share of the circuit's largest response at that probe: 1e-4 is -80 dB.
func (f *Filter) Error(top dsp.Hertz) float64 {
	const points = 48
	worst := 0.0
	for i, name := range f.inputs {
		peak, off := make([]float64, f.ny), make([]float64, f.ny)
		for k := 0; k < points; k++ {
			freq := dsp.Hertz(20 * math.Pow(float64(top)/20, float64(k)/(points-1)))
			want := f.ac.Transfer(name, freq, f.names...)
			for p, got := range f.Response(i, freq) {
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

// Alike implements circuit.Stepper.
func (f *Filter) Alike(other circuit.Stepper) bool {
	o, ok := other.(*Filter)
	return ok && f.n == o.n && f.ni == o.ni && f.ny == o.ny && f.step == o.step
}

// Adopt implements circuit.Stepper.
func (f *Filter) Adopt(from circuit.Stepper) {
	o := from.(*Filter)
	o.read()
	f.state.Adopt(o.state)
	copy(f.taps, o.taps)
	f.steps = o.steps
	f.write()
}

// Join implements circuit.Stepper.
func (f *Filter) Join(other circuit.Stepper, w float64) {
	o := other.(*Filter)
	f.read()
	o.read()
	f.state.Join(o.state, w)
	f.write()
	o.write()
}

func (f *Filter) read() {
	for k := range f.state.Histories {
		f.state.Histories[k] = dense.Dot(f.from.Row(k), f.s)
	}
}

func (f *Filter) write() {
	for k := range f.s {
		f.s[k] = dense.Dot(f.to.Row(k), f.state.Histories)
	}
}
