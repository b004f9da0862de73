package section

import (
	"errors"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/parallel"
)

// Moving is a section whose controls are turned while it runs: a row of frames, each of them a
// circuit that has the same elements with other values. It is a dsp.Processor; its methods are for
// one goroutine.
//
// Between two frames both of their circuits run on the same input, and the output lies between
// theirs by where the control is. After every sample of the recording they are given one state, as
// far between theirs: the voltages of the capacitors and the currents of the inductors, which is
// what a real circuit keeps while a wiper moves. So the rate at which the state changes is that of
// a circuit between the two, no control ever steps, and no memory, short or long, is late. What is
// left is how far a circuit between the two frames differs from the mean of both; that is for who
// chooses the frames.
//
// Where two frames in a row have one circuit, it runs alone: a non-linear one as in a Section; a
// linear one as a linear.Filter, at a multiple of the rate if it needs one, since the
// linear.Sampled that a Section makes of it cannot take over another circuit's state. The two agree
// within what a Section allows itself, not to the last bit.
type Moving struct {
	Factor int

	around  *raised
	turning *turning
}

// turning is the circuits at the raised rate.
type turning struct {
	factor int64
	cores  []circuit.Stepper
	frames []Frame
	begin  int64 // the first step, counted in steps from time 0

	at     int64 // the next step
	frame  int   // the last frame that has been passed; -1: none yet
	here   int   // circuit of the frame, or of the first
	next   int   // circuit that fades in; -1: none
	from   int64 // the step of this frame
	span   float64
	way    [3]float64
	u      []float64
	yh, yn []float64 // the crossfade of the two
}

// Frame is the circuit of one sample, where no other is faded in.
type Frame struct {
	At      int64 // sample of the recording
	Circuit int
	// Way is how the control goes to the next frame, a cubic of the time x, which goes from 0 to 1:
	// Way[0]·x + Way[1]·x² + Way[2]·x³. They add up to 1.
	Way [3]float64
}

// NewMoving prepares the circuits. The frames' times rise; before the first its circuit holds,
// after the last that one's. start is the time of the first input sample, negative where the input
// comes late. It panics without circuits and where times do not rise; it returns what New does, and
// an error where circuits differ in more than values.
func NewMoving(circuits []*circuit.Netlist, frames []Frame, start int64, rate dsp.Hertz, q Quality, probes ...string) (*Moving, error) {
	if len(circuits) == 0 || len(frames) == 0 {
		panic("section: nothing to move")
	}
	for k := 1; k < len(frames); k++ {
		if frames[k].At <= frames[k-1].At {
			panic("section: times of frames must rise")
		}
	}
	cores, factors := make([]circuit.Stepper, len(circuits)), make([]int, len(circuits))
	most := 1
	for range 2 { // the second time at the largest of their factors
		faults := make([]error, len(circuits))
		parallel.For(len(circuits), func(k int) {
			if cores[k] == nil || factors[k] < most && isLinear(cores[k]) {
				cores[k], factors[k], faults[k] = newStepper(most, circuits[k], rate, q, probes)
			}
		})
		if err := errors.Join(faults...); err != nil {
			return nil, err
		}
		for _, f := range factors {
			most = max(most, f)
		}
	}
	for k, c := range cores {
		if factors[k] != most || !c.Alike(cores[0]) {
			return nil, errors.New("section: a control that moves changes what the circuit is made of")
		}
	}
	inputs := len(circuits[0].Inputs())
	m := &Moving{Factor: most, around: newRaised(most, rate, inputs, len(probes), cores[0].Latency())}
	t := &turning{
		factor: int64(most), cores: cores, frames: frames,
		// The time of a step is that of its output: the input's, less what the filter before the
		// circuit and the circuit's own stepping cost.
		begin: (start - int64(m.around.latency)) * int64(most),
		u:     make([]float64, inputs), yh: make([]float64, len(probes)), yn: make([]float64, len(probes)),
	}
	if len(probes) > 0 {
		t.begin += int64(m.around.pad + m.around.down[0].Latency())
	}
	m.turning = t
	m.Reset()
	return m, nil
}

// Latency is by how many samples the output comes late; exact.
func (m *Moving) Latency() int { return m.around.latency }

// Linear reports whether the section's circuits are linear.
func (m *Moving) Linear() bool { return isLinear(m.turning.cores[0]) }

// Report is the solver's convergence, over all circuits.
func (m *Moving) Report() (r transient.Report) {
	for _, c := range m.turning.cores {
		r.Add(reportOf(c))
	}
	return r
}

// Reset puts the circuits to rest, and goes back to the first input sample.
func (m *Moving) Reset() {
	m.around.Reset()
	m.turning.Reset()
}

// Process takes a signal for every driven source and gives one for every probe.
func (m *Moving) Process(out, in [][]float64) { m.around.process(m.turning, out, in) }

func (t *turning) Latency() int { return t.cores[0].Latency() }

func (t *turning) Reset() {
	for _, c := range t.cores {
		c.Reset()
	}
	t.at, t.frame, t.here, t.next = t.begin, -1, t.frames[0].Circuit, -1
}

func (t *turning) Process(out, in [][]float64) {
	for j := range dsp.Frames(out, in) {
		for k := range t.u {
			t.u[k] = in[k][j]
		}
		if t.frame+1 < len(t.frames) && t.at >= t.frames[t.frame+1].At*t.factor {
			t.pass()
		}
		t.cores[t.here].Step(t.yh, t.u)
		if t.next >= 0 {
			t.cores[t.next].Step(t.yn, t.u)
			x := float64(t.at-t.from) / t.span
			w := x * (t.way[0] + x*(t.way[1]+x*t.way[2]))
			for k, y := range t.yh {
				t.yh[k] = y + w*(t.yn[k]-y)
			}
			if t.at%t.factor == 0 {
				t.cores[t.here].Join(t.cores[t.next], w)
			}
		}
		for k, y := range t.yh {
			out[k][j] = y
		}
		t.at++
	}
}

// pass goes to the next frame: what faded in is heard alone, and the one after it starts from its
// state.
func (t *turning) pass() {
	t.frame++
	if t.next >= 0 {
		t.here = t.next
	}
	t.next = -1
	if t.frame+1 == len(t.frames) {
		return
	}
	a, b := t.frames[t.frame], t.frames[t.frame+1]
	if a.Circuit == b.Circuit {
		return
	}
	t.next = b.Circuit
	t.from, t.span, t.way = a.At*t.factor, float64((b.At-a.At)*t.factor), a.Way
	t.cores[t.next].Adopt(t.cores[t.here])
}
