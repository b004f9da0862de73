// Package motion finds what differs in a wiring while knobs are turned: of every section and every
// stage that moves the circuits or cores of some moments, close enough that what lies between two
// of them can be faded. It plays nothing, but for the cores of one stage, which it fades.
//
// It is a room of its own since a Plan needs its answer and nothing of how it was found. Start
// reading at Find.
package motion

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math/cmplx"
	"reflect"
	"slices"
	"sync"

	"drywire/blocks"
	"drywire/chains/stops"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/parallel"
	"drywire/dsp/section"
)

// Block is how many samples a Fading takes in one call at most.
const Block = 512

// Motion is what a wiring does beyond its first frame: circuits and cores that differ from frame to
// frame. What is not in it does not move.
type Motion struct {
	Sections map[*circuit.Netlist]*Section // by the wiring's own
	Stages   map[string]*Stage             // by name
}

// Section is a section that moves.
type Section struct {
	Circuits []*circuit.Netlist
	Frames   []section.Frame
}

// Stage is a stage that moves.
type Stage struct {
	frames []section.Frame
	stages []blocks.Stage // of each setting
}

// Tail is that of the setting that sounds on longest.
func (s *Stage) Tail() dsp.Second {
	var longest dsp.Second
	for _, stage := range s.stages {
		longest = max(longest, stage.Shape().Tail())
	}
	return longest
}

// mostCircuits is how many settings of one section there may be, and mostCores of one stage. The
// latter all run all the time.
const (
	mostCircuits = 2000
	mostCores    = 200
)

// Find computes the frames of a wiring whose chain has Turns: it wires the chain for every setting
// that a frame has. The error is of what cannot move, and of more settings than there may be.
func Find(w *wiring.Wiring) (*Motion, error) {
	moves := w.Chain.Turns
	wired := &wirings{w: w, known: map[string]*frozen{}}
	start := make([]float64, len(moves))
	for i, m := range moves {
		start[i] = m.Curve.At(0)
	}
	with := func(i int, v float64) []float64 {
		values := slices.Clone(start)
		values[i] = v
		return values
	}
	fine, coarse := make([][]stops.Stop, len(moves)), make([][]stops.Stop, len(moves))
	for i, m := range moves {
		few := stops.OfStage(m.Curve)
		coarse[i] = stops.Of(m.Curve, w.Rate, few)
		var all [][]float64
		for _, s := range coarse[i] {
			all = append(all, with(i, s.Value))
		}
		wired.build(all)
		many, err := wired.refine(stops.Places(m.Curve, firstPlaces), func(place float64) []float64 { return with(i, m.Curve.Value(place)) })
		if err != nil {
			return nil, err
		}
		fine[i] = stops.Of(m.Curve, w.Rate, many)
		all = nil
		for _, s := range fine[i] {
			all = append(all, with(i, s.Value))
		}
		wired.build(all)
	}

	// framesOf is the frames of what differs: which moves it depends on, and then every time at
	// which one of them stops.
	framesOf := func(at [][]stops.Stop, same func(a, b *frozen) bool) ([]section.Frame, []*frozen, error) {
		var movers []int
		for i := range moves {
			first := wired.at(with(i, at[i][0].Value))
			if slices.ContainsFunc(at[i], func(s stops.Stop) bool { return !same(first, wired.at(with(i, s.Value))) }) {
				movers = append(movers, i)
			}
		}
		var times []int64
		for _, i := range movers {
			for _, s := range at[i] {
				times = append(times, s.At)
			}
		}
		slices.Sort(times)
		times = slices.Compact(times)
		var settings [][]float64
		for _, t := range times {
			values := slices.Clone(start)
			for _, i := range movers {
				values[i] = stops.At(moves[i].Curve, at[i], t, w.Rate)
			}
			settings = append(settings, values)
		}
		if len(movers) > 1 {
			if len(settings) > mostCircuits {
				return nil, nil, fmt.Errorf("take %q: %d settings of what moves together; at most %d", w.Chain.Take, len(settings), mostCircuits)
			}
			wired.build(settings)
		}
		var list []*frozen
		for _, s := range settings {
			list = append(list, wired.at(s))
		}
		var frames []section.Frame
		for k, t := range times {
			f := section.Frame{At: t}
			if k+1 < len(times) {
				f.Way = stops.Way(moves, movers, float64(t)/float64(w.Rate), float64(times[k+1])/float64(w.Rate))
			}
			frames = append(frames, f)
		}
		return frames, list, nil
	}

	m := &Motion{Sections: map[*circuit.Netlist]*Section{}, Stages: map[string]*Stage{}}
	for _, f := range wired.known {
		if !f.alike(w) {
			return nil, fmt.Errorf("take %q: %s changes what is wired to what as it moves", w.Chain.Take, stops.Names(moves))
		}
	}
	for k, own := range w.Sections {
		frames, list, err := framesOf(fine, func(a, b *frozen) bool { return a.keys[k] == b.keys[k] })
		if err != nil {
			return nil, err
		}
		if frames == nil {
			continue
		}
		s := &Section{Frames: frames}
		index := map[[32]byte]int{}
		for j, f := range list {
			at, ok := index[f.keys[k]]
			if !ok {
				at = len(s.Circuits)
				index[f.keys[k]] = at
				s.Circuits = append(s.Circuits, f.w.Sections[k])
			}
			s.Frames[j].Circuit = at
		}
		m.Sections[own] = s
	}
	for k, own := range w.Stages {
		frames, list, err := framesOf(coarse, func(a, b *frozen) bool { return sameCore(a.w.Stages[k], b.w.Stages[k]) })
		if err != nil {
			return nil, err
		}
		if frames == nil {
			continue
		}
		s := &Stage{frames: frames}
		for j, f := range list {
			stage := f.w.Stages[k]
			at := slices.IndexFunc(s.stages, func(other blocks.Stage) bool { return sameCore(stage, other) })
			if at < 0 {
				at = len(s.stages)
				s.stages = append(s.stages, stage)
			}
			s.frames[j].Circuit = at
		}
		if len(s.stages) > mostCores {
			return nil, fmt.Errorf("take %q: %d settings of %s run at the same time; at most %d", w.Chain.Take, len(s.stages), own.Name, mostCores)
		}
		for _, stage := range s.stages {
			if stage.Shape().Latency() != s.stages[0].Shape().Latency() {
				return nil, fmt.Errorf("take %q, %s: a knob that moves changes its latency", w.Chain.Take, own.Name)
			}
		}
		m.Stages[own.Name] = s
	}
	return m, nil
}

// How densely circuits follow each other: from firstPlaces in the range of a setting, or an octave,
// on, a place is put between two of them until the small-signal response half-way is the mean of
// theirs within fadeError of itself (or, where it is under a thousandth of the largest, of a
// thousandth of that), at every jack and at every frequency of fadeTones; and at most so often. So
// they are close where a knob is quick: near the full end of a volume pot, say, in front of a low
// impedance.
const (
	firstPlaces = 16
	fadeError   = 5e-4
	mostHalved  = 8
)

var fadeTones = []dsp.Hertz{60, 200, 600, 1500, 4000, 10e3}

// refine adds places to those of one move; values is the values of all moves with that one there.
func (s *wirings) refine(places []float64, values func(place float64) []float64) ([]float64, error) {
	s.build(mapped(places, values))
	type cell struct {
		low, high float64
		halved    int
	}
	var open []cell
	for k := 1; k < len(places); k++ {
		open = append(open, cell{places[k-1], places[k], 0})
	}
	for len(open) > 0 {
		s.build(mapped(open, func(c cell) []float64 { return values((c.low + c.high) / 2) }))
		far, faults := make([]float64, len(open)), make([]error, len(open))
		parallel.For(len(open), func(k int) {
			c := open[k]
			far[k], faults[k] = interpolationError(s.at(values(c.low)), s.at(values((c.low+c.high)/2)), s.at(values(c.high)))
		})
		var next []cell
		for k, c := range open {
			if faults[k] != nil {
				return nil, faults[k]
			}
			if far[k] <= fadeError || c.halved == mostHalved {
				continue
			}
			middle := (c.low + c.high) / 2
			places = append(places, middle)
			next = append(next, cell{c.low, middle, c.halved + 1}, cell{middle, c.high, c.halved + 1})
		}
		open = next
	}
	slices.Sort(places)
	return places, nil
}

func mapped[T, U any](list []T, f func(T) U) []U {
	out := make([]U, len(list))
	for k, x := range list {
		out[k] = f(x)
	}
	return out
}

// interpolationError is how far the response of what is in the middle lies from the mean of what is
// on either side, over all sections that differ.
func interpolationError(a, middle, b *frozen) (float64, error) {
	worst := 0.0
	for k := range middle.w.Sections {
		if a.keys[k] == middle.keys[k] && b.keys[k] == middle.keys[k] {
			continue
		}
		var h [3][]complex128
		for i, f := range []*frozen{a, middle, b} {
			var err error
			if h[i], err = f.responses(k); err != nil {
				return 0, err
			}
		}
		largest := 0.0
		for j := range h[1] {
			largest = max(largest, cmplx.Abs(h[0][j]), cmplx.Abs(h[2][j]))
		}
		for j, x := range h[1] {
			if size := max(cmplx.Abs(x), 1e-3*largest); size > 0 {
				worst = max(worst, cmplx.Abs(x-(h[0][j]+h[2][j])/2)/size)
			}
		}
	}
	return worst, nil
}

// responses is the small-signal response of a section from each of its inputs to each jack in it,
// at fadeTones.
func (f *frozen) responses(k int) ([]complex128, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if h := f.known[k]; h != nil {
		return h, nil
	}
	n := f.w.Sections[k]
	var nodes []string
	for _, j := range f.w.Chain.Jacks() {
		if n.HasNode(j) {
			nodes = append(nodes, j)
		}
	}
	for _, s := range f.w.Stages {
		for _, node := range s.Sense {
			if n.HasNode(node) && !slices.Contains(nodes, node) {
				nodes = append(nodes, node)
			}
		}
	}
	ac, err := n.AC()
	if err != nil {
		return nil, fmt.Errorf("take %q: %w", f.w.Chain.Take, err)
	}
	h := []complex128{}
	for _, in := range n.Inputs() {
		for _, tone := range fadeTones {
			h = append(h, ac.Transfer(in, tone, nodes...)...)
		}
	}
	if f.known == nil {
		f.known = map[int][]complex128{}
	}
	f.known[k] = h
	return h, nil
}

// sameCore reports whether two stages do the same.
func sameCore(a, b blocks.Stage) bool {
	return a.Key == b.Key || reflect.DeepEqual(a.Shape(), b.Shape())
}

// frozen is the chain wired with every setting held.
type frozen struct {
	w    *wiring.Wiring
	keys [][32]byte // of its sections

	mu    sync.Mutex
	known map[int][]complex128 // responses
}

// wirings remembers what was wired, by the values of the moves.
type wirings struct {
	w     *wiring.Wiring
	known map[string]*frozen
}

func keyOf(values []float64) string { return fmt.Sprintf("%x", values) }

// build wires all of these that are not known, on all cores.
func (s *wirings) build(list [][]float64) {
	var fresh [][]float64
	for _, v := range list {
		if key := keyOf(v); s.known[key] == nil {
			s.known[key] = &frozen{}
			fresh = append(fresh, v)
		}
	}
	done := make([]*frozen, len(fresh))
	parallel.For(len(fresh), func(k int) {
		f := &frozen{w: s.w.Again(s.w.Chain.With(fresh[k]))}
		for _, n := range f.w.Sections {
			f.keys = append(f.keys, n.Key())
		}
		done[k] = f
	})
	for k, v := range fresh {
		s.known[keyOf(v)] = done[k]
	}
}

func (s *wirings) at(values []float64) *frozen { return s.known[keyOf(values)] }

// alike reports whether a wiring has the sections and stages of another, whatever their values.
func (f *frozen) alike(w *wiring.Wiring) bool {
	return slices.EqualFunc(f.w.Sections, w.Sections, func(a, b *circuit.Netlist) bool {
		return slices.Equal(a.Nodes(), b.Nodes()) && slices.Equal(a.Inputs(), b.Inputs())
	}) && slices.EqualFunc(f.w.Stages, w.Stages, func(a, b blocks.Stage) bool {
		return a.Name == b.Name && slices.Equal(a.Sense, b.Sense) && slices.Equal(a.Drive, b.Drive)
	})
}

// Key identifies the section with a node that is read.
func (s *Section) Key(node string) [32]byte {
	var list [][32]byte
	for _, n := range s.Circuits {
		list = append(list, n.Key(node))
	}
	return movingKeyOf(s.Frames, func(k int) []byte { return list[k][:] })
}

// Key identifies the stage.
func (s *Stage) Key() [32]byte {
	return movingKeyOf(s.frames, func(k int) []byte { h := sha256.Sum256([]byte(s.stages[k].Key)); return h[:] })
}

func movingKeyOf(frames []section.Frame, of func(k int) []byte) [32]byte {
	h := sha256.New()
	h.Write([]byte("moving"))
	var at [8]byte
	for _, f := range frames {
		binary.LittleEndian.PutUint64(at[:], uint64(f.At))
		h.Write(at[:])
		h.Write(of(f.Circuit))
	}
	var key [32]byte
	h.Sum(key[:0])
	return key
}

// Fading is the core of a stage with a knob that moves. The cores of all its settings run all the
// time on the same input, so that each of them remembers what it would have had the knob stood
// there, and the output fades from the one to the next.
type Fading struct {
	cores  []blocks.Core
	frames []section.Frame

	at    int64         // sample of the recording that comes out next
	start int64         // of the first
	frame int           // the last that has been passed; -1: none yet
	outs  [][][]float64 // a block of every core
}

// Core makes what the stage runs. sample is which sample of the recording the first of the input
// is.
func (s *Stage) Core(sample int64) *Fading {
	f := &Fading{frames: s.frames, frame: -1}
	for _, stage := range s.stages {
		f.cores = append(f.cores, stage.New())
		var out [][]float64
		for range stage.Drive {
			out = append(out, make([]float64, Block))
		}
		f.outs = append(f.outs, out)
	}
	f.start = sample - int64(f.Latency())
	f.at = f.start
	return f
}

// Process implements blocks.Core.
func (f *Fading) Process(out, in [][]float64) {
	n := len(out[0])
	for k, c := range f.cores {
		o := f.outs[k]
		for ch := range o {
			o[ch] = o[ch][:n]
		}
		c.Process(o, in)
	}
	for j := range n {
		for f.frame+1 < len(f.frames) && f.at >= f.frames[f.frame+1].At {
			f.frame++
		}
		a, b, w := f.frames[max(0, f.frame)], f.frames[max(0, f.frame)], 0.0
		if f.frame >= 0 && f.frame+1 < len(f.frames) {
			b = f.frames[f.frame+1]
			x := float64(f.at-a.At) / float64(b.At-a.At)
			w = x * (a.Way[0] + x*(a.Way[1]+x*a.Way[2]))
		}
		for ch := range out {
			y := f.outs[a.Circuit][ch][j]
			if w > 0 {
				y += w * (f.outs[b.Circuit][ch][j] - y)
			}
			out[ch][j] = y
		}
		f.at++
	}
}

// Fill runs the cores of all settings on a signal from before the recording's first sample, of so
// many samples as Process may have in one call.
func (f *Fading) Fill(in [][]float64) {
	for c := range f.cores {
		for k := range f.outs[c] {
			f.outs[c][k] = f.outs[c][k][:len(in[0])]
		}
		f.cores[c].Process(f.outs[c], in)
	}
}

// Latency implements blocks.Core.
func (f *Fading) Latency() int { return f.cores[0].Latency() }

// Tail implements blocks.Core.
func (f *Fading) Tail() dsp.Second {
	var longest dsp.Second
	for _, c := range f.cores {
		longest = max(longest, c.Tail())
	}
	return longest
}

// Reset implements blocks.Core.
func (f *Fading) Reset() {
	for _, c := range f.cores {
		c.Reset()
	}
	f.at, f.frame = f.start, -1
}
