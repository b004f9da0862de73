package blockstest

import (
	"fmt"
	"slices"

	"drywire/blocks"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/section"
)

// What is before and after the block on the rig.
const (
	sourceResistance dsp.Ohm = 10e3
	loadResistance   dsp.Ohm = 1e6
)

// Rig is one block between a source of 10 kΩ and a load of 1 MΩ, at work: volts of the source in,
// volts of the block's output jack out.
//
// It is a single path in series. Chains with branches, cables and a guitar are the business of
// package chains.
type Rig struct {
	Circuit *circuit.Netlist
	Stages  []blocks.Stage
	steps   []step
	signals [][]float64
	out     int
	latency int
}

type step struct {
	section *section.Section
	core    blocks.Core
	in, out []int
	ins     [][]float64
	outs    [][]float64
}

// The names of the rig's ends in its circuit.
const (
	Source = "source"
	InJack = "block.in"
	Jack   = "block.out"
)

const rigChunk = 1 << 15 // samples at most in one call; a longer call of the rig is cut

// NewRig is a rig with a block; off means that its bypass is in its place.
func NewRig(k *blocks.Kind, s blocks.Settings, off bool, rate dsp.Hertz, q section.Quality) (*Rig, error) {
	bench := blocks.NewBench(rate, q.Oversample(rate))
	bench.Circuit.Input(Source, Source, circuit.Ground)
	bench.ColdR("source.r", Source, InJack, sourceResistance)
	if off {
		bench.Bypass("block", k, s)
	} else {
		bench.Place("block", k, s)
	}
	bench.ColdR("load", Jack, circuit.Ground, loadResistance)
	r := &Rig{Circuit: bench.Circuit, Stages: bench.Stages}

	signal := map[string]int{Source: 0}
	r.signals = make([][]float64, 1)
	add := func(name string) int {
		signal[name] = len(r.signals)
		r.signals = append(r.signals, nil)
		return signal[name]
	}
	known := func(names []string) bool {
		return !slices.ContainsFunc(names, func(n string) bool { _, ok := signal[n]; return !ok })
	}
	parts, stages := bench.Circuit.Split(), slices.Clone(bench.Stages)
	for len(parts)+len(stages) > 0 {
		before := len(parts) + len(stages)
		var fault error
		parts = slices.DeleteFunc(parts, func(n *circuit.Netlist) bool {
			if fault != nil || !known(n.Inputs()) {
				return false
			}
			var st step
			var probes []string
			for _, s := range bench.Stages {
				probes = append(probes, s.Sense...)
			}
			probes = slices.DeleteFunc(append(probes, Jack), func(p string) bool { return !n.HasNode(p) })
			slices.Sort(probes)
			probes = slices.Compact(probes)
			if len(probes) == 0 { // a second output, which nothing is plugged into
				return true
			}
			st.section, fault = section.New(n, rate, q, probes...)
			if fault != nil {
				return false
			}
			for _, in := range n.Inputs() {
				st.in = append(st.in, signal[in])
			}
			for _, p := range probes {
				st.out = append(st.out, add(p))
			}
			r.latency += st.section.Latency()
			r.steps = append(r.steps, st)
			return true
		})
		if fault != nil {
			return nil, fault
		}
		stages = slices.DeleteFunc(stages, func(s blocks.Stage) bool {
			if !known(s.Sense) {
				return false
			}
			st := step{core: s.New()}
			for _, n := range s.Sense {
				st.in = append(st.in, signal[n])
			}
			for _, d := range s.Drive {
				st.out = append(st.out, add(d))
			}
			r.latency += st.core.Latency()
			r.steps = append(r.steps, st)
			return true
		})
		if len(parts)+len(stages) == before {
			return nil, fmt.Errorf("the signal runs in a circle")
		}
	}
	r.out = signal[Jack]
	for k := range r.signals {
		r.signals[k] = make([]float64, rigChunk)
	}
	for k := range r.steps {
		st := &r.steps[k]
		st.ins, st.outs = make([][]float64, len(st.in)), make([][]float64, len(st.out))
	}
	return r, nil
}

// Process runs the rig over src into dst, of equal length.
func (r *Rig) Process(dst, src []float64) {
	for len(src) > 0 {
		n := min(len(src), rigChunk)
		copy(r.signals[0], src[:n])
		for k := range r.steps {
			st := &r.steps[k]
			for j, s := range st.in {
				st.ins[j] = r.signals[s][:n]
			}
			for j, s := range st.out {
				st.outs[j] = r.signals[s][:n]
			}
			if st.section != nil {
				st.section.Process(st.outs, st.ins)
			} else {
				st.core.Process(st.outs, st.ins)
			}
		}
		copy(dst[:n], r.signals[r.out])
		src, dst = src[n:], dst[n:]
	}
}

// Reset puts sections and stages to rest.
func (r *Rig) Reset() {
	for _, st := range r.steps {
		if st.section != nil {
			st.section.Reset()
		} else {
			st.core.Reset()
		}
	}
}

// Latency is the sum of what sections and stages say.
func (r *Rig) Latency() int { return r.latency }

// Report is the solver's convergence in the non-linear sections.
func (r *Rig) Report() transient.Report {
	var sum transient.Report
	for _, st := range r.steps {
		if st.section != nil {
			sum.Add(st.section.Report())
		}
	}
	return sum
}

// Response is what the parts state, one after the other: the circuit's own transfer between stages,
// and each core's. false means that a core does not state its own. The path must be one of single
// stages in series.
func (r *Rig) Response(f dsp.Hertz) (complex128, bool) {
	h, from := complex(1, 0), Source
	parts := r.Circuit.Split()
	along := func(to string) bool {
		for _, n := range parts {
			if n.HasNode(to) {
				ac, err := n.AC()
				if err != nil {
					return false
				}
				h *= ac.Transfer(from, f, to)[0]
				return true
			}
		}
		return false
	}
	for _, st := range r.Stages {
		core, ok := st.Shape().(blocks.Responder)
		if !ok || len(st.Sense) != 1 || len(st.Drive) != 1 || !along(st.Sense[0]) {
			return 0, false
		}
		h *= core.Response(f)
		from = st.Drive[0]
	}
	return h, along(Jack)
}
