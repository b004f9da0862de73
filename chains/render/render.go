// Package render plays a recording through a wired chain. What has state is made here, by a
// Renderer; a Plan adds to a wiring what moves in it, and may be shared.
//
// A Memo (memo.go) renders whole signals and remembers each by a key of all that it depends on, so
// a take costs nothing the second time; Orders does so for many orders of the same blocks.
//
// Start reading at PlanOf, then Plan.Renderer and Renderer.Run.
package render

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/motion"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/gemv"
	"drywire/dsp/section"
)

// Source is a recording as the render needs it: one channel, in volts.
type Source interface {
	// Read fills dst from the front and returns how many samples it holds; io.EOF when there are no
	// more. Another error ends the render.
	Read(dst []float64) (int, error)
}

// Volts is a Source from samples in volts.
func Volts(samples []float64) Source { return &slice{samples} }

type slice struct{ rest []float64 }

func (s *slice) Read(dst []float64) (int, error) {
	n := copy(dst, s.rest)
	s.rest = s.rest[n:]
	if n == 0 && len(dst) > 0 {
		return 0, io.EOF
	}
	return n, nil
}

// Renderer runs a wired chain: a recording goes in, the voltages of the tapped jacks come
// out. It keeps no more than a block of any signal, so that a recording may be of any length.
type Renderer struct {
	Plan *Plan
	Taps []string // the jacks that are read

	steps   []step
	taps    []tap
	signals int
	longest int // the largest latency of a tap
	tail    dsp.Second
	blocks  [][]float64 // a block of every signal: see allot
	source  Adder       // what is added to the recording; nil: nothing
	free    []free      // driven sources that are neither the recording nor a stage's
	relays  *relays     // of a chain that changes while it plays: it renders in place of steps
}

// step is a section or a stage with the signals that it reads and writes.
type step struct {
	name    string
	section solver
	factor  int      // of the section
	row     *rowStep // nil: a section or a stage by itself
	core    blocks.Core
	in, out []int
	align   []delay // per input: what makes them as late as the latest
	ins     [][]float64
	late    [][]float64 // per input that is delayed: a block of it
	outs    [][]float64
	names   []string // of the outputs: nodes, or driven sources
	noise   []Adder  // what is added to each output; nil: nothing
}

// Adder adds a signal of its own to a block of samples, in volts.
type Adder = section.Adder

// Signal is a voltage that the renderer computes: a node of a section, or a source that a stage
// drives.
type Signal struct {
	Name  string
	Stage bool
}

// Signals is all that the renderer computes, in the order of the signal.
func (r *Renderer) Signals() []Signal {
	var list []Signal
	for _, st := range r.steps {
		if st.row != nil {
			list = append(list, st.row.signals()...)
			continue
		}
		for _, name := range st.names {
			list = append(list, Signal{name, st.section == nil})
		}
	}
	return list
}

// Add makes the renderer add a signal to an output, to the recording at wiring.Source, or to a
// driven source that nothing drives, in place of what was added there before. It is for a renderer
// that has not run yet.
func (r *Renderer) Add(output string, what Adder) {
	if output == wiring.Source {
		r.source = what
	}
	for k := range r.free {
		if r.free[k].name == output {
			r.free[k].what = what
		}
	}
	for k := range r.steps {
		if row := r.steps[k].row; row != nil {
			if at, ok := row.where(output); ok {
				row.Add(at, what)
			}
		} else if at := slices.Index(r.steps[k].names, output); at >= 0 {
			if r.steps[k].noise == nil {
				r.steps[k].noise = make([]Adder, len(r.steps[k].names))
			}
			r.steps[k].noise[at] = what
		}
	}
}

// free is a driven source that is silent but for what is added to it.
type free struct {
	name   string
	signal int
	what   Adder
}

type tap struct{ signal, latency int }

// delay is a line of whole samples.
type delay struct {
	line []float64
	at   int
}

func (d *delay) process(dst, src []float64) {
	for k, x := range src {
		dst[k], d.line[d.at] = d.line[d.at], x
		if d.at++; d.at == len(d.line) {
			d.at = 0
		}
	}
}

// blockSize is how many samples are rendered at a time; no result depends on it.
const blockSize = motion.Block

// Renderer prepares the chain to be rendered, with the jacks that are to be read. What none of them
// depends on, as the other one of two amplifiers, is not computed; its Tail is the whole chain's.
// The error is of an unknown jack, an unread cabinet, no operating point, or moves of knobs.
func (w *Plan) Renderer(taps ...string) (*Renderer, error) {
	if len(w.changed) > 0 {
		return w.relayed(taps)
	}
	return w.renderer(taps)
}

func (w *Plan) renderer(taps []string) (*Renderer, error) {
	r := &Renderer{Plan: w, Taps: taps}
	if err := board.Bare(w.Chain); err != nil {
		return nil, err
	}
	latency := map[int]int{}
	signalOf := map[string]int{} // a node's or a driven source's signal
	signal := func(name string, late int) int {
		k := r.signals
		r.signals++
		signalOf[name], latency[k] = k, late
		return k
	}
	signal(wiring.Source, 0)
	driven := []string{wiring.Source}
	for _, s := range w.Stages {
		driven = append(driven, s.Drive...)
	}
	for _, n := range w.Sections {
		for _, in := range n.Inputs() {
			if !slices.Contains(driven, in) {
				r.free = append(r.free, free{name: in, signal: signal(in, 0)})
			}
		}
	}
	for _, name := range taps {
		if err := w.Chain.Jack(name); err != nil {
			return nil, err
		}
	}
	parts, stages := w.Sections, w.Stages
	wanted := w.wants(taps) // the rest is not computed; only its tail counts
	addRow := func(row wiring.Row) error {
		for _, p := range row {
			if p.Section == nil {
				r.tail += p.Stage.Shape().Tail()
			}
		}
		s, names, err := w.rowStep(row, wanted, taps)
		if err != nil {
			return fmt.Errorf("take %q: row with %s: %w", w.Chain.Take, row[0].Node(), err)
		}
		if s == nil {
			return nil
		}
		st := step{name: names[0], names: names, section: s, factor: s.Factor, row: s}
		late := st.read(signalOf, latency, []string{row[0].Node()})
		for _, name := range names {
			st.out = append(st.out, signal(name, late+s.Latency()))
		}
		r.steps = append(r.steps, st)
		return nil
	}
	in := w.rows()
	for len(parts)+len(stages) > 0 {
		if len(parts) > 0 {
			if at, ok := in.sections[parts[0]]; ok && (!at.first() || known(signalOf, parts[0].Inputs())) {
				parts = parts[1:]
				if at.first() {
					if err := addRow(at.row); err != nil {
						return nil, err
					}
				}
				continue
			}
		}
		if len(parts) > 0 && !wanted.sections[parts[0]] {
			parts = parts[1:]
			continue
		}
		if len(parts) > 0 && known(signalOf, parts[0].Inputs()) {
			n := parts[0]
			parts = parts[1:]
			probes := probesOf(n, w.Stages, taps)
			st := step{name: probes[0], names: probes}
			late := st.read(signalOf, latency, n.Inputs())
			s, factor, err := w.solver(n, int64(-late), probes...)
			if err != nil {
				return nil, fmt.Errorf("take %q: section with %s: %w", w.Chain.Take, probes[0], err)
			}
			st.section, st.factor = s, factor
			for _, p := range probes {
				st.out = append(st.out, signal(p, late+s.Latency()))
			}
			r.steps = append(r.steps, st)
			continue
		}
		s := stages[0]
		stages = stages[1:]
		if at, ok := in.stages[s.Name]; ok {
			if at.first() {
				if err := addRow(at.row); err != nil {
					return nil, err
				}
			}
			continue
		}
		st := step{name: s.Name, names: s.Drive}
		late := 0
		if wanted.stages[s.Name] {
			late = st.read(signalOf, latency, s.Sense)
		}
		core, err := w.core(s, int64(-late))
		if err != nil {
			return nil, err
		}
		if r.tail += core.Tail(); !wanted.stages[s.Name] {
			continue
		}
		st.core = core
		for _, d := range s.Drive {
			st.out = append(st.out, signal(d, late+core.Latency()))
		}
		r.steps = append(r.steps, st)
	}
	for _, name := range taps {
		k := signalOf[name]
		r.taps = append(r.taps, tap{k, latency[k]})
		r.longest = max(r.longest, latency[k])
	}
	r.allot()
	for k := range r.steps {
		st := &r.steps[k]
		st.ins, st.late = make([][]float64, len(st.in)), make([][]float64, len(st.in))
		for j, d := range st.align {
			if len(d.line) > 0 {
				st.late[j] = make([]float64, blockSize)
			}
		}
		st.outs = make([][]float64, len(st.out))
	}
	return r, nil
}

// allot gives every signal a block. Signals of which one has been read for the last time before the
// other is written share one: so a long chain keeps to few, which stay in the processor's nearest
// cache.
func (r *Renderer) allot() {
	last := make([]int, r.signals) // the step that reads a signal last
	for k, st := range r.steps {
		for _, s := range st.in {
			last[s] = k
		}
	}
	for _, t := range r.taps {
		last[t.signal] = len(r.steps)
	}
	var free [][]float64
	take := func() []float64 {
		if len(free) == 0 {
			return make([]float64, blockSize)
		}
		b := free[len(free)-1]
		free = free[:len(free)-1]
		return b
	}
	r.blocks = make([][]float64, r.signals)
	r.blocks[0] = take()
	for _, f := range r.free {
		r.blocks[f.signal] = take()
	}
	for k, st := range r.steps {
		for _, s := range st.out {
			r.blocks[s] = take()
			last[s] = max(last[s], k)
		}
		for s, b := range r.blocks {
			if b != nil && last[s] == k {
				free = append(free, b)
			}
		}
	}
}

func known(signals map[string]int, names []string) bool {
	for _, n := range names {
		if _, ok := signals[n]; !ok {
			return false
		}
	}
	return true
}

// read connects the step to its inputs and says how late the latest of them is.
func (st *step) read(signals map[string]int, latency map[int]int, names []string) int {
	late := 0
	for _, n := range names {
		k := signals[n]
		st.in = append(st.in, k)
		late = max(late, latency[k])
	}
	for _, k := range st.in {
		st.align = append(st.align, delay{line: make([]float64, late-latency[k])})
	}
	return late
}

// probesOf is the nodes of a section that a stage senses or someone wants to read.
func probesOf(n *circuit.Netlist, stages []blocks.Stage, taps []string) []string {
	var probes []string
	add := func(node string) {
		if n.HasNode(node) && !slices.Contains(probes, node) {
			probes = append(probes, node)
		}
	}
	for _, s := range stages {
		for _, node := range s.Sense {
			add(node)
		}
	}
	for _, node := range taps {
		add(node)
	}
	return probes
}

// Tail is for how long the chain sounds on after the recording has ended, until 60 dB down: the sum
// of its stages' tails.
func (r *Renderer) Tail() dsp.Second { return r.tail }

// process runs n samples, at most blockSize, of the first signal through all steps. What a step
// reads it must leave as it is: others may read it too.
func (r *Renderer) process(n int) {
	for _, f := range r.free {
		b := r.blocks[f.signal][:n]
		clear(b)
		if f.what != nil {
			f.what.Add(b)
		}
	}
	for k := range r.steps {
		st := &r.steps[k]
		for j, s := range st.in {
			if st.ins[j] = r.blocks[s][:n]; st.late[j] != nil {
				st.align[j].process(st.late[j][:n], st.ins[j])
				st.ins[j] = st.late[j][:n]
			}
		}
		for j, s := range st.out {
			st.outs[j] = r.blocks[s][:n]
		}
		if st.section != nil {
			st.section.Process(st.outs, st.ins)
		} else {
			st.core.Process(st.outs, st.ins)
		}
		for j, n := range st.noise {
			if n != nil {
				n.Add(st.outs[j])
			}
		}
	}
}

// ErrNotFinite is returned where a signal is not a number or not finite; no sound comes of it.
var ErrNotFinite = errors.New("a voltage is not finite")

// Run renders the whole of src, and silence after it for the duration after. sink gets
// consecutive blocks, a slice per tap, in volts and aligned to the input sample; it must not keep
// them. Run stops at the context's end, at an error of src or sink, and at the first value that is
// not finite.
func (r *Renderer) Run(ctx context.Context, src Source, after dsp.Second, sink func(taps [][]float64) error) error {
	if r.relays != nil {
		return r.relays.run(ctx, src, after, sink)
	}
	in := r.blocks[0]
	out := make([][]float64, len(r.taps))
	skip := make([]int, len(r.taps))
	// what the earlier taps have while the latest is still silent
	held := make([][]float64, len(r.taps))
	for k, t := range r.taps {
		skip[k] = t.latency
	}
	var read, written int64
	ended := false
	for total := int64(math.MaxInt64); written < total; {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := blockSize
		if !ended {
			var err error
			n, err = src.Read(in)
			read += int64(n)
			if err != nil && !errors.Is(err, io.EOF) {
				return err
			}
			if err != nil {
				ended = true
				total = read + int64(math.Round(float64(after)*float64(r.Plan.Rate)))
				clear(in[n:])
				n = blockSize
			}
		} else {
			clear(in)
		}
		if n == 0 {
			continue
		}
		if r.source != nil {
			r.source.Add(in[:n])
		}
		r.process(n)
		holding := false
		for k, t := range r.taps {
			drop := min(skip[k], n)
			skip[k] -= drop
			out[k] = r.blocks[t.signal][drop:n]
			holding = holding || len(held[k]) > 0 || len(out[k]) != len(out[0])
		}
		ready := math.MaxInt
		for k := range out {
			if holding {
				held[k] = append(held[k], out[k]...)
				out[k] = held[k]
			}
			ready = min(ready, len(out[k]))
		}
		ready = int(min(int64(ready), total-written))
		if ready == 0 {
			continue
		}
		for k := range out {
			out[k] = out[k][:ready]
			if gemv.Within(out[k], math.MaxFloat64) {
				continue
			}
			for j, x := range out[k] {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					return fmt.Errorf("take %q, jack %s, sample %d: %w", r.Plan.Chain.Take, r.Taps[k], written+int64(j), ErrNotFinite)
				}
			}
		}
		if err := sink(out); err != nil {
			return err
		}
		if holding {
			for k := range held {
				held[k] = held[k][:copy(held[k], held[k][ready:])]
			}
		}
		written += int64(ready)
	}
	return nil
}

// SectionReport is the solver's convergence in one non-linear section.
type SectionReport struct {
	Section string // a node in it
	Factor  int    // by how much it raised the rate
	transient.Report
}

// Reports is the solver's convergence in every non-linear section.
func (r *Renderer) Reports() []SectionReport {
	var list []SectionReport
	for _, part := range r.Parts() {
		if part != r {
			list = append(list, part.Reports()...)
		}
	}
	for _, st := range r.steps {
		if st.row != nil {
			list = append(list, st.row.reports()...)
		} else if st.section != nil && !st.section.Linear() {
			list = append(list, SectionReport{st.name, st.factor, st.section.Report()})
		}
	}
	return list
}

// Tail is for how long the chain sounds on after the recording has ended, until 60 dB down: the sum
// of its stages' tails. A Renderer's Tail is the same; this one needs no operating point. It makes
// every core for it, which takes milliseconds.
func (p *Plan) Tail() dsp.Second {
	var tail dsp.Second
	for _, other := range p.changed {
		tail = max(tail, NewPlan(other.Wiring).Tail())
	}
	return max(tail, p.ownTail())
}

// ownTail is that of the plan without its changes.
func (p *Plan) ownTail() dsp.Second {
	var tail dsp.Second
	moved, _ := p.motion() // where it fails, so does the render
	for _, s := range p.Stages {
		if m := moved.Stages[s.Name]; m != nil {
			tail += m.Tail()
			continue
		}
		// discarded: the delay lines of a board with echoes and reverbs take megabytes, and a plan
		// may be kept
		tail += s.New().Tail()
	}
	return tail
}
