package circuit

import (
	"errors"
	"math"
	"math/cmplx"

	"drywire/dsp"
)

// Filter is a circuit without non-linear devices, as a state-space filter at a fixed rate. Between samples the inputs
// follow the cubic through the four samples around, and the circuit is carried along it by many trapezoidal
// steps, worked out once. So its poles lie exactly where the circuit has them, and the response errs only by the cubic.
//
// The output is one step late, because the cubic needs the sample after.
type Filter struct {
	point *OperatingPoint
	ac    *AC
	step  dsp.Second
	names []string

	n, ni, ny int
	modes     modes
	to, from  matrix[float64] // histories into modes and back
	in        []float64       // n × 4·ni: state from the taps of each input
	ys        []float64       // ny × n
	yu        []float64       // ny × 4·ni
	y0        []float64

	s     []float64
	taps  []float64 // the last four samples of each input
	steps int64
}

// ErrNonLinear is returned where a filter is asked for of a circuit with diodes, transistors or op-amps at their rails.
var ErrNonLinear = errors.New("circuit: not linear")

// filterSteps is how many trapezoidal steps carry a filter over one sample.
const filterSteps = 256

// NewFilter makes the filter. Probes name the nodes that are read.
func (n *Netlist) NewFilter(step dsp.Second, probes ...string) (*Filter, error) {
	point, err := n.Operating()
	if err != nil {
		return nil, err
	}
	if point.dev.count > 0 {
		return nil, ErrNonLinear
	}
	h, err := point.histories(float64(step)/filterSteps, probes)
	if err != nil {
		return nil, err
	}
	f := &Filter{point: point, ac: point.AC(), step: step, names: probes, n: h.a.rows, ni: h.w.cols, ny: len(probes)}
	state := newMatrix[float64](f.n, 4*f.ni)
	before := state // one microstep before the end
	for j := 1; j <= filterSteps; j++ {
		c := cubicBetween(float64(j) / filterSteps)
		before = state
		state = h.a.times(state)
		for r := 0; r < f.n; r++ {
			for i := 0; i < f.ni; i++ {
				for k, weight := range c {
					state.add(r, 4*i+k, weight*h.w.at(r, i))
				}
			}
		}
	}
	var to, from matrix[float64]
	f.modes, to, from = newModes(h.a, filterSteps)
	f.to, f.from = to, from
	power := newMatrix[float64](f.n, f.n)
	for k := 0; k < f.n; k++ {
		power.set(k, k, 1)
	}
	for j := 1; j < filterSteps; j++ {
		power = h.a.times(power)
	}
	f.in = to.times(state).v
	f.ys = h.ys.times(power).times(from).v
	yu := h.ys.times(before)
	for r := 0; r < f.ny; r++ {
		for i := 0; i < f.ni; i++ {
			yu.add(r, 4*i+2, h.yw.at(r, i))
		}
	}
	f.yu = yu.v
	for _, name := range probes {
		f.y0 = append(f.y0, point.V(name))
	}
	f.s, f.taps = make([]float64, f.n), make([]float64, 4*f.ni)
	return f, nil
}

// cubicBetween is the weights of the samples at -1, 0, 1 and 2 in the cubic through them, at x between 0 and 1.
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

// Step takes one sample of every input and gives every probe one sample earlier.
func (f *Filter) Step(out, in []float64) {
	for i, u := range in {
		t := f.taps[4*i : 4*i+4 : 4*i+4]
		t[0], t[1], t[2], t[3] = t[1], t[2], t[3], u
	}
	w, n := 4*f.ni, f.n
	for k := range out {
		out[k] = f.y0[k] + dot(f.ys[k*n:k*n+n], f.s) + dot(f.yu[k*w:k*w+w], f.taps)
	}
	f.modes.step(f.s)
	for k := range f.s {
		f.s[k] += dot(f.in[k*w:k*w+w], f.taps)
	}
	if f.steps++; f.steps%flushEvery == 0 {
		flush(f.s)
	}
}

// Response is what the filter does to a sine at one input, at every probe, as sampled: closed form from its matrices, without the
// delay of Latency.
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
	s := f.modes.resolve(z, f.n, func(k int) complex128 { return drive(f.in[k*4*f.ni : (k+1)*4*f.ni]) })
	out := make([]complex128, f.ny)
	for k := range out {
		for j, x := range s {
			out[k] += complex(f.ys[k*f.n+j], 0) * x
		}
		out[k] += drive(f.yu[k*4*f.ni : (k+1)*4*f.ni])
	}
	return out
}

// Error is the largest departure of the filter from the circuit's own response up to the given frequency, as a share of the circuit's
// largest response at that probe: 1e-4 is -80 dB.
func (f *Filter) Error(top dsp.Hertz) float64 {
	const points = 48
	inputs := f.point.sys.net.Inputs()
	worst := 0.0
	for i, name := range inputs {
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

// Linear says whether the circuit has no device that bends.
func (n *Netlist) Linear() bool {
	return len(n.diodes)+len(n.bjts)+len(n.clamps)+len(n.limiters)+len(n.pairs)+len(n.triodes) == 0
}
