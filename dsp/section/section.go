// Package section runs one section of a chain, a circuit between two stages, at a recording's
// sample rate: signals of its driven sources in, voltages of its probes out, both in volts.
//
// A section with diodes, transistors or op-amps runs at a multiple of the rate, between
// band-limiting filters, so that what it adds above half the rate does not fold down. A linear one
// runs at the recording's own rate.
//
// It is independent of what is on either side of it, and keeps no signal: that is for package
// render.
//
// Start reading at New, then raised.go (the filters around a circuit), moving.go (controls that are
// turned) and row.go (circuits in a row that all distort, computed at one multiple of the rate so
// that what one makes above half the recording's reaches the next).
package section

import (
	"fmt"
	"slices"

	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/linear"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/oversample"
)

// Quality is how finely a section is computed.
type Quality struct {
	Name string
	// Rate is the least rate at which a non-linear section runs; the multiple of the recording's
	// rate is the power of two that reaches it.
	Rate dsp.Hertz
	// Levels and Tolerance say how often and when a step is divided: transient.Options.
	Levels    int
	Tolerance dsp.Volt
}

// The qualities there are, worst first. Errors against a converged reference and aliasing of each
// are in the tests of the whole chain.
var (
	Draft  = Quality{"draft", 176e3, 2, 1e-3}
	Normal = Quality{"normal", 352e3, 3, 1e-3}
	Fine   = Quality{"fine", 1.4e6, 3, 1e-4}
)

// Qualities is the qualities there are, worst first.
func Qualities() []Quality { return []Quality{Draft, Normal, Fine} }

// Oversample is by how much the quality raises a sample rate.
func (q Quality) Oversample(rate dsp.Hertz) int {
	factor := 1
	for dsp.Hertz(factor)*rate < q.Rate && factor < oversample.MaxFactor {
		factor *= 2
	}
	return factor
}

// linearError is how far a linear section may depart from its circuit, as a share of its largest
// response: 1e-4 is 0.0009 dB.
const linearError = 1e-4

// Section runs a circuit: a dsp.Processor, from its driven sources to its probes. Its methods
// are for one goroutine.
type Section struct {
	Factor int // by how much it raises the rate

	core    dsp.Processor
	around  *raised // nil: the core runs at the recording's rate
	latency int
}

// New prepares a section of the circuit for signals at the given rate. Probes name the nodes that
// are read. It returns an error where the circuit has no operating point or no unique solution,
// where there is no such node, or where a linear circuit's response is not met at any rate.
func New(n *circuit.Netlist, rate dsp.Hertz, q Quality, probes ...string) (*Section, error) {
	if n.Linear() {
		top := topOf(rate)
		f, err := linear.NewSampled(n, dsp.Second(1/float64(rate)), top, probes...)
		if err != nil {
			return nil, err
		}
		if e := f.Error(top); e <= linearError { // else a mode rings on and on above what is heard
			return &Section{Factor: 1, core: f, latency: f.Latency()}, nil
		}
	}
	core, factor, err := newStepper(1, n, rate, q, probes)
	if err != nil {
		return nil, err
	}
	around := newRaised(factor, rate, len(n.Inputs()), len(probes), core.Latency())
	return &Section{Factor: factor, core: core, around: around, latency: around.latency}, nil
}

// topOf is up to which frequency a linear section has its circuit's response.
func topOf(rate dsp.Hertz) dsp.Hertz { return dsp.Hertz(min(20e3, 0.4535*float64(rate))) }

// newStepper makes what runs a circuit at a multiple of the rate, and says which: for a linear
// circuit the least at which it is met, from the given one on.
func newStepper(least int, n *circuit.Netlist, rate dsp.Hertz, q Quality, probes []string) (circuit.Stepper, int, error) {
	step := func(factor int) dsp.Second { return dsp.Second(1 / (float64(rate) * float64(factor))) }
	if !n.Linear() {
		factor := q.Oversample(rate)
		c, err := newCompensated(n, step(factor), q, probes, nil, false)
		return c, factor, err
	}
	for factor := least; factor <= 16; factor *= 2 {
		f, err := linear.NewFilter(n, step(factor), probes...)
		if err != nil {
			return nil, 0, err
		}
		if f.Error(topOf(rate)) <= linearError {
			return f, factor, nil
		}
	}
	return nil, 0, fmt.Errorf("section: a linear circuit is not met within %v at 16 times %v Hz", linearError, float64(rate))
}

// newCompensated makes what runs a non-linear circuit in steps. Some nodes are read, others handed
// on: outputs in this order. With splined, its inputs are coefficients of a spline.
func newCompensated(n *circuit.Netlist, step dsp.Second, q Quality, read, handed []string, splined bool) (*compensated, error) {
	t, err := transient.New(n, transient.Options{
		Step: step, Levels: q.Levels, Tolerance: q.Tolerance, Smooth: true, Wide: len(handed), Spline: splined,
	}, slices.Concat(read, handed)...)
	if err != nil {
		return nil, err
	}
	c := &compensated{Transient: t, droop: make([]droop, len(read))}
	for range handed {
		c.wide = append(c.wide, oversample.NewSplineDroop())
	}
	return c, nil
}

// Latency is by how many samples the output comes late; exact.
func (s *Section) Latency() int { return s.latency }

// Linear reports whether the section's circuit is linear: then no iteration is needed.
func (s *Section) Linear() bool { return isLinear(s.core) }

// Report is the solver's convergence since the last Reset; zero for a linear section.
func (s *Section) Report() transient.Report { return reportOf(s.core) }

// Reset puts the circuit to rest at its operating point.
func (s *Section) Reset() {
	s.core.Reset()
	if s.around != nil {
		s.around.Reset()
	}
}

// Process takes a signal for every driven source and gives one for every probe. A probe's own
// voltage at rest is in its signal; for what stands behind a capacitor it is zero.
func (s *Section) Process(out, in [][]float64) {
	if s.around == nil {
		s.core.Process(out, in)
		return
	}
	s.around.process(s.core, out, in)
}

func isLinear(core dsp.Processor) bool { _, ok := core.(*compensated); return !ok }

func reportOf(core dsp.Processor) transient.Report {
	if t, ok := core.(*compensated); ok {
		return t.Report()
	}
	return transient.Report{}
}
