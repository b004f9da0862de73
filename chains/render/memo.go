package render

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"sync"

	"drywire/chains/board"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Memo renders whole signals and remembers them. A voltage that a stage senses, or that a jack has,
// is a pure function of the recording, the sections and stages before it and the quality; what has
// the same key is computed once, for however many takes. Signals flow one way, so a take that
// differs only in its last blocks costs only these.
//
// The unit is the section, not the block: a fuzz before a buffer and the same fuzz before an echo
// are one signal where buffer and echo load it alike, and two where they do not.
//
// Its methods may be called from several goroutines.
type Memo struct {
	Rate    dsp.Hertz
	Quality section.Quality

	recording []float64 // volts, with a margin of silence on either side
	length    int       // of it without the margins
	store     *Store
	of        string // the tag of its signals in the store
	number    int    // likewise, of the memo
	mu        sync.Mutex
	atWork    map[[32]byte]*memory
	computed  int64
}

// memory is a signal that is being computed.
type memory struct {
	once   sync.Once
	signal []float64
	err    error
}

// memoKey is the key of a signal in a Store.
type memoKey struct {
	memo int
	key  [32]byte
}

// NewMemo starts with nothing remembered. The recording is in volts, and as long as every rendering
// is to be. The budget, in bytes, bounds what is kept; what is dropped is computed again when it is
// asked for.
func NewMemo(recording []float64, rate dsp.Hertz, q section.Quality, budget int) *Memo {
	return NewStore(budget).Memo("", len(recording), func(x []float64) { copy(x, recording) }, rate, q)
}

// Memo is one that keeps its signals in the store, tagged with of (see Store.Drop). fill writes the
// recording: length samples, in volts.
func (s *Store) Memo(of string, length int, fill func(recording []float64), rate dsp.Hertz, q section.Quality) *Memo {
	padded := make([]float64, Margin+length+Margin)
	fill(padded[Margin : Margin+length])
	s.mu.Lock()
	defer s.mu.Unlock()
	s.memos++
	return &Memo{Rate: rate, Quality: q, recording: padded, length: length, store: s, of: of, number: s.memos, atWork: map[[32]byte]*memory{}}
}

// Size is how many bytes a Memo takes beside what it keeps in its store.
func (m *Memo) Size() int { return 8 * len(m.recording) }

// Margin is how many samples of every signal are kept before and after the recording. The filters
// of sections and stages ring by up to their latency to either side; as long as these add up to
// less than the Margin, a remembered signal is the rendered one to the last bit.
const Margin = 4096

// Needs is the peak memory, in bytes, of a Memo of a recording of length samples that computes the
// nodes one after the other, the Memo included, if its store keeps nothing.
func (w *Plan) Needs(length int, nodes ...string) int {
	d := depths{w, map[string]int{}}
	signals := 0
	for _, n := range nodes {
		signals = max(signals, d.node(n))
	}
	return 8 * (1 + signals) * (Margin + length + Margin)
}

// depths is how many signals there are at once while one is computed, by its name. What a section
// or stage gets comes one after the other, as in Memo.node and Memo.driven.
type depths struct {
	plan  *Plan
	known map[string]int
}

func (d depths) node(node string) int {
	n := d.plan.Section(node)
	if n == nil {
		return 0 // whoever computes it returns a fault
	}
	if at, ok := d.plan.raised(n); ok {
		return d.row("node "+node, at)
	}
	return d.of("node "+node, n.Inputs(), 1, d.driven)
}

// row is that of one output in a row, which is computed of what the row gets.
func (d depths) row(what string, at rowPlace) int {
	input := d.node
	if at.row[0].Section != nil {
		input = d.driven
	}
	return d.of(what, []string{at.row[0].Node()}, 1, input)
}

func (d depths) driven(name string) int {
	for _, s := range d.plan.Stages {
		if slices.Contains(s.Drive, name) {
			if at, ok := d.plan.raisedStage(s.Name); ok {
				return d.row("driven "+s.Name, at)
			}
			return d.of("driven "+s.Name, s.Sense, len(s.Drive), d.node)
		}
	}
	return 0 // the recording
}

func (d depths) of(what string, inputs []string, outputs int, input func(string) int) int {
	if n, ok := d.known[what]; ok {
		return n
	}
	most := len(inputs) + outputs
	for held, in := range inputs {
		most = max(most, held+input(in))
	}
	d.known[what] = most
	return most
}

// Computed is how many outputs of sections and stages have been computed so far: the work done.
func (m *Memo) Computed() int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.computed
}

// Signal is the voltage of a node in volts, aligned to the recording and as long; from the second
// time on it is remembered. It must not be changed. It panics where the wiring has another rate or
// quality than the Memo; the error is of an unknown node, a cabinet that is not read, a section
// that did not converge, or ctx.
func (m *Memo) Signal(ctx context.Context, w *Plan, node string) ([]float64, error) {
	if w.Rate != m.Rate || w.Quality != m.Quality {
		panic("render: a wiring of another rate or quality")
	}
	if err := board.Bare(w.Chain); err != nil {
		return nil, err
	}
	signal, err := m.node(ctx, w, node)
	if err != nil {
		return nil, err
	}
	return signal[Margin : Margin+m.length], nil
}

func (m *Memo) node(ctx context.Context, w *Plan, node string) ([]float64, error) {
	n := w.Section(node)
	if n == nil {
		return nil, fmt.Errorf("no node %q", node)
	}
	return m.remember(ctx, w.key(node), func() ([]float64, error) {
		if at, ok := w.raised(n); ok {
			return m.raised(ctx, w, at, node)
		}
		inputs := n.Inputs()
		in := make([][]float64, len(inputs))
		for k, name := range inputs {
			var err error
			if in[k], err = m.driven(ctx, w, name); err != nil {
				return nil, err
			}
		}
		return m.section(ctx, w, n, node, in)
	})
}

// section runs a section for one of its nodes.
func (m *Memo) section(ctx context.Context, w *Plan, n *circuit.Netlist, node string, in [][]float64) ([]float64, error) {
	out, err := m.sections(ctx, w, n, []string{node}, in)
	if err != nil {
		return nil, err
	}
	return out[0], nil
}

// sections runs a section for some of its nodes.
func (m *Memo) sections(ctx context.Context, w *Plan, n *circuit.Netlist, nodes []string, in [][]float64) ([][]float64, error) {
	s, _, err := w.solver(n, -Margin, nodes...)
	if err != nil {
		return nil, err
	}
	out, err := m.run(ctx, s.Process, s.Latency(), in, len(nodes))
	if err != nil {
		return nil, err
	}
	if f := s.Report().Failures; f > 0 {
		return nil, fmt.Errorf("take %q: %d samples at %s did not converge", w.Chain.Take, f, nodes[0])
	}
	return out, nil
}

// keep remembers a signal that was computed beside another one.
func (m *Memo) keep(key [32]byte, x []float64) {
	m.store.Keep(m.of, memoKey{m.number, key}, x, 8*len(x))
}

// raised computes an output of a part of a row.
func (m *Memo) raised(ctx context.Context, w *Plan, at rowPlace, name string) ([]float64, error) {
	input := m.node
	if at.row[0].Section != nil {
		input = m.driven
	}
	in, err := input(ctx, w, at.row[0].Node())
	if err != nil {
		return nil, err
	}
	return m.row(ctx, w, at, name, in)
}

// driven is the voltage of a driven source: the recording, or what a stage puts out.
func (m *Memo) driven(ctx context.Context, w *Plan, name string) ([]float64, error) {
	if name == wiring.Source {
		return m.recording, nil
	}
	for _, s := range w.Stages {
		for channel, d := range s.Drive {
			if d != name {
				continue
			}
			return m.remember(ctx, w.driveKey(name), func() ([]float64, error) {
				if at, ok := w.raisedStage(s.Name); ok {
					return m.raised(ctx, w, at, name)
				}
				in := make([][]float64, len(s.Sense))
				for k, node := range s.Sense {
					var err error
					if in[k], err = m.node(ctx, w, node); err != nil {
						return nil, err
					}
				}
				core, err := w.core(s, -Margin)
				if err != nil {
					return nil, err
				}
				out, err := m.run(ctx, core.Process, core.Latency(), in, len(s.Drive))
				if err != nil {
					return nil, err
				}
				return out[channel], nil
			})
		}
	}
	return nil, fmt.Errorf("nothing drives %q", name)
}

// run processes whole signals and takes the latency back.
func (m *Memo) run(ctx context.Context, process func(out, in [][]float64), latency int, in [][]float64, outs int) ([][]float64, error) {
	n := len(m.recording)
	out := make([][]float64, outs)
	ob, ib := make([][]float64, outs), make([][]float64, len(in))
	for k := range out {
		out[k] = make([]float64, n)
		ob[k] = make([]float64, blockSize)
	}
	for k := range ib {
		ib[k] = make([]float64, blockSize)
	}
	for at := 0; at < n+latency; at += blockSize {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for k := range ib {
			got := 0
			if at < n {
				got = copy(ib[k], in[k][at:])
			}
			clear(ib[k][got:])
		}
		process(ob, ib)
		for k := range out {
			from := max(0, latency-at)
			if from < blockSize {
				copy(out[k][at+from-latency:], ob[k][from:])
			}
		}
	}
	m.count(1)
	return out, nil
}

// count adds to the work done.
func (m *Memo) count(outputs int) {
	m.mu.Lock()
	m.computed += int64(outputs)
	m.mu.Unlock()
	m.store.mu.Lock()
	m.store.done += int64(outputs)
	m.store.mu.Unlock()
}

// remember is the signal of that key, from the store or else computed, once for all callers at a
// time. A computation that the context has ended is not kept.
func (m *Memo) remember(ctx context.Context, key [32]byte, compute func() ([]float64, error)) ([]float64, error) {
	m.mu.Lock()
	if x, ok := m.store.Get(memoKey{m.number, key}); ok {
		m.mu.Unlock()
		return x.([]float64), nil
	}
	e := m.atWork[key]
	if e == nil {
		e = &memory{}
		m.atWork[key] = e
	}
	m.mu.Unlock()
	e.once.Do(func() {
		e.signal, e.err = compute()
		m.mu.Lock()
		defer m.mu.Unlock()
		delete(m.atWork, key)
		if e.err == nil {
			m.store.Keep(m.of, memoKey{m.number, key}, e.signal, 8*len(e.signal))
		}
	})
	if e.err != nil && ctx.Err() == nil && context.Cause(ctx) == nil && isCancelled(e.err) {
		return m.remember(ctx, key, compute) // another caller gave up, this one has not
	}
	return e.signal, e.err
}

func isCancelled(err error) bool { return err == context.Canceled || err == context.DeadlineExceeded }

// key identifies the voltage of a node: its section, what is read, and what drives it.
func (w *Plan) key(node string) [32]byte {
	n := w.Section(node)
	h := sha256.New()
	if _, ok := w.raised(n); ok {
		h.Write([]byte("raised"))
	}
	k := n.Key(node)
	// whoever computes the signal returns a fault
	if moved, _ := w.motion(); moved.Sections[n] != nil {
		k = moved.Sections[n].Key(node)
	}
	h.Write(k[:])
	for _, in := range n.Inputs() {
		d := w.driveKey(in)
		h.Write(d[:])
	}
	var key [32]byte
	h.Sum(key[:0])
	return key
}

// driveKey identifies the voltage of a driven source.
func (w *Plan) driveKey(name string) [32]byte {
	if name == wiring.Source {
		return sha256.Sum256([]byte(wiring.Source))
	}
	for _, s := range w.Stages {
		for channel, d := range s.Drive {
			if d != name {
				continue
			}
			h := sha256.New()
			fmt.Fprintf(h, "%s channel %d", s.Key, channel)
			if _, ok := w.raisedStage(s.Name); ok {
				fmt.Fprint(h, " raised")
			}
			if moved, _ := w.motion(); moved.Stages[s.Name] != nil {
				k := moved.Stages[s.Name].Key()
				h.Write(k[:])
			}
			for _, node := range s.Sense {
				k := w.key(node)
				h.Write(k[:])
			}
			var key [32]byte
			h.Sum(key[:0])
			return key
		}
	}
	panic("render: nothing drives " + name)
}
