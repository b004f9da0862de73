package render

import (
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"sync"

	"drywire/blocks"
	"drywire/chains/motion"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/circuit"
	"drywire/dsp/section"
)

// Orders renders many orders of the same blocks, and shares what they have in common: a Memo that
// also knows that linear things commute. An equaliser into an echo gives what the echo into the
// equaliser gives, as long as neither reaches a limit; so what comes after is rendered once for
// both.
//
// What may be swapped is proven for each signal, not assumed. A run is what lies between two things
// that are non-linear or move: a signal, its base, and what it has gone through since. In a run may
// be
//
//   - a circuit between two stages, with the load that it has in this order, if it has no
//     non-linear device and no voltage at rest;
//   - a stage whose core is blocks.Limited and reached no limit when it was given the very signal
//     that it gets in this order.
//
// Places in two orders with the same base and the same stages and circuits since have the same
// signal, up to rounding. It is always computed in the same way, the stages in the order of their
// keys, so that it does not depend on which order was asked for first; and only if none of them
// reaches a limit in that order either. Where a proof fails, the stage is the base of another run,
// and computed as it stands.
//
// So signals equal the rendered ones within -120 dB (a test), and not to the last bit as a Memo's.
//
// Its methods may be called from several goroutines.
type Orders struct {
	// Literal says that nothing changes places: every order is computed as it stands, to the last
	// bit as by a Memo. To be set before all else.
	Literal bool

	memo *Memo

	mu sync.Mutex
	// whether a stage reaches a limit, by the keys of its input and its core
	limits map[[32]byte]bool
	still  map[[32]byte]bool // whether a linear circuit is without a voltage at rest, by its key
}

// NewOrders is like NewMemo.
func NewOrders(recording []float64, rate dsp.Hertz, q section.Quality, budget int) *Orders {
	return &Orders{
		memo:   NewMemo(recording, rate, q, budget),
		limits: map[[32]byte]bool{}, still: map[[32]byte]bool{},
	}
}

// Computed is how many outputs of sections and stages have been computed so far.
func (o *Orders) Computed() int64 { return o.memo.Computed() }

// Order is one wiring of Orders. Its methods are for one goroutine.
type Order struct {
	all    *Orders
	wiring *Plan
	moves  *motion.Motion
	runs   map[string]*run // at nodes and driven sources that have been looked at
	read   []string        // nodes that are going to be asked for
}

// Order prepares a wiring of this rate and quality. It panics where they are others.
func (o *Orders) Order(w *Plan) *Order {
	if w.Rate != o.memo.Rate || w.Quality != o.memo.Quality {
		panic("render: a wiring of another rate or quality")
	}
	moves, _ := w.motion() // whoever computes the signal returns a fault
	return &Order{o, w, moves, map[string]*run{}, nil}
}

// Read says which nodes are going to be asked for, beside what stages sense: a non-linear circuit
// is then solved once for all of its own, and not once for each. It changes no signal.
func (o *Order) Read(nodes ...string) { o.read = append(o.read, nodes...) }

// beside is the nodes of a circuit that are solved together with one of them, which comes first.
func (o *Order) beside(n *circuit.Netlist, node string) []string {
	list := []string{node}
	if n.Linear() || len(o.read) == 0 {
		return list
	}
	add := func(nodes []string) {
		for _, other := range nodes {
			if !slices.Contains(list, other) && o.wiring.Section(other) == n {
				list = append(list, other)
			}
		}
	}
	add(o.read)
	for _, s := range o.wiring.Stages {
		add(s.Sense)
	}
	return list
}

// Signal is the voltage of a node, aligned to the recording and as long, not to be changed. The
// errors are those of Memo.Signal, but for cabinets.
func (o *Order) Signal(ctx context.Context, node string) ([]float64, error) {
	r, err := o.node(ctx, node)
	if err != nil {
		return nil, err
	}
	x, err := o.signal(ctx, r)
	if err != nil {
		return nil, err
	}
	return x[Margin : Margin+o.all.memo.length], nil
}

// Key is the same for nodes that have the same signal. The errors are those of Signal.
func (o *Order) Key(ctx context.Context, node string) ([32]byte, error) {
	r, err := o.node(ctx, node)
	if err != nil {
		return [32]byte{}, err
	}
	return r.key, nil
}

// run is a place in an order: a signal, and what it has gone through since.
type run struct {
	key  [32]byte
	base base
	past []link // in the order of their keys
	last *stage // what comes after all of these and drives what is to come; or nil
}

type base struct {
	key     [32]byte
	compute func(context.Context) ([]float64, error)
}

// link is a stage and the circuit that it drives; the stage of what the base drives is nil.
type link struct {
	*stage
	lead
}

type stage struct {
	key  string
	make func() blocks.Core
}

// lead is a circuit in a run.
type lead struct {
	key     [32]byte
	netlist *circuit.Netlist
	probe   string
}

func (p link) compare(q link) int {
	name := func(s *stage) string {
		if s == nil {
			return ""
		}
		return s.key
	}
	return cmp.Or(strings.Compare(name(p.stage), name(q.stage)), slices.Compare(p.lead.key[:], q.lead.key[:]))
}

func newRun(b base, past []link, last *stage) *run {
	r := &run{base: b, past: past, last: last, key: b.key}
	if len(past) == 0 && last == nil {
		return r
	}
	h := sha256.New()
	h.Write(b.key[:])
	for _, p := range past {
		if p.stage != nil {
			fmt.Fprintf(h, "stage %s\n", p.stage.key)
		}
		fmt.Fprintf(h, "circuit %x\n", p.lead.key)
	}
	if last != nil {
		fmt.Fprintf(h, "stage %s\n", last.key)
	}
	h.Sum(r.key[:0])
	return r
}

func (r *run) drive(s *stage) *run { return newRun(r.base, r.past, s) }

func (r *run) through(l lead) *run {
	past := append(slices.Clone(r.past), link{r.last, l})
	slices.SortStableFunc(past, link.compare)
	return newRun(r.base, past, nil)
}

// before is the place that r is computed from.
func (r *run) before() *run {
	if r.last != nil {
		return newRun(r.base, r.past, nil)
	}
	end := len(r.past) - 1
	return newRun(r.base, r.past[:end], r.past[end].stage)
}

// node is the place of a node.
func (o *Order) node(ctx context.Context, name string) (*run, error) {
	if r := o.runs[name]; r != nil {
		return r, nil
	}
	n := o.wiring.Section(name)
	if n == nil {
		return nil, fmt.Errorf("no node %q", name)
	}
	if at, ok := o.wiring.raised(n); ok {
		return o.raised(ctx, at, name)
	}
	var in []*run
	for _, source := range n.Inputs() {
		r, err := o.driven(ctx, source)
		if err != nil {
			return nil, err
		}
		in = append(in, r)
	}
	keyOf := func(node string) [32]byte { return n.Key(node) }
	if moves := o.moves.Sections[n]; moves != nil {
		keyOf = moves.Key
	}
	key, place := keyOf(name), func(node string) [32]byte { return placeKey(fmt.Sprintf("circuit %x", keyOf(node)), in) }
	if o.moves.Sections[n] == nil && len(in) == 1 && n.Linear() && !o.all.Literal {
		still, err := o.all.stillAt(key, n, name)
		if err != nil {
			return nil, err
		}
		if still {
			r := in[0].through(lead{key, n, name})
			if ok, err := o.provenPast(ctx, r); err != nil {
				return nil, err
			} else if ok {
				o.runs[name] = r
				return r, nil
			}
		}
	}
	r := newRun(base{place(name), func(ctx context.Context) ([]float64, error) {
		signals, err := o.signals(ctx, in)
		if err != nil {
			return nil, err
		}
		nodes := o.beside(n, name)
		all, err := o.all.memo.sections(ctx, o.wiring, n, nodes, signals)
		if err != nil {
			return nil, err
		}
		for k, node := range nodes[1:] {
			o.all.memo.keep(place(node), all[k+1])
		}
		return all[0], nil
	}}, nil, nil)
	o.runs[name] = r
	return r, nil
}

// driven is the place of a driven source.
func (o *Order) driven(ctx context.Context, name string) (*run, error) {
	if r := o.runs[name]; r != nil {
		return r, nil
	}
	if name == wiring.Source {
		memo := o.all.memo
		r := newRun(base{placeKey(wiring.Source, nil), func(context.Context) ([]float64, error) { return memo.recording, nil }}, nil, nil)
		o.runs[name] = r
		return r, nil
	}
	for _, s := range o.wiring.Stages {
		channel := slices.Index(s.Drive, name)
		if channel < 0 {
			continue
		}
		if at, ok := o.wiring.raisedStage(s.Name); ok {
			return o.raised(ctx, at, name)
		}
		var in []*run
		for _, node := range s.Sense {
			r, err := o.node(ctx, node)
			if err != nil {
				return nil, err
			}
			in = append(in, r)
		}
		moves := o.moves.Stages[s.Name]
		if _, ok := s.Shape().(blocks.Limited); ok && !o.all.Literal && moves == nil && len(in) == 1 && len(s.Drive) == 1 {
			st := &stage{s.Key, s.New}
			next := in[0].drive(st)
			free, err := o.unlimited(ctx, in[0], st)
			if free && err == nil {
				free, err = o.provenPast(ctx, next)
			}
			if err != nil {
				return nil, err
			}
			if free {
				o.runs[name] = next
				return next, nil
			}
		}
		what := fmt.Sprintf("stage %s channel %d", s.Key, channel)
		if moves != nil {
			what += fmt.Sprintf(" moving %x", moves.Key())
		}
		r := newRun(base{placeKey(what, in), func(ctx context.Context) ([]float64, error) {
			signals, err := o.signals(ctx, in)
			if err != nil {
				return nil, err
			}
			core, err := o.wiring.core(s, -Margin)
			if err != nil {
				return nil, err
			}
			out, err := o.all.memo.run(ctx, core.Process, core.Latency(), signals, len(s.Drive))
			if err != nil {
				return nil, err
			}
			return out[channel], nil
		}}, nil, nil)
		o.runs[name] = r
		return r, nil
	}
	return nil, fmt.Errorf("nothing drives %q", name)
}

// raised is the place of an output of a part of a row, where another run begins.
func (o *Order) raised(ctx context.Context, at rowPlace, name string) (*run, error) {
	input := o.node
	if at.row[0].Section != nil {
		input = o.driven
	}
	in, err := input(ctx, at.row[0].Node())
	if err != nil {
		return nil, err
	}
	r := newRun(base{placeKey(fmt.Sprintf("row %x", o.wiring.rowKey(at, name)), []*run{in}), func(ctx context.Context) ([]float64, error) {
		x, err := o.signal(ctx, in)
		if err != nil {
			return nil, err
		}
		return o.all.memo.row(ctx, o.wiring, at, name, x)
	}}, nil, nil)
	o.runs[name] = r
	return r, nil
}

func placeKey(what string, in []*run) [32]byte {
	h := sha256.New()
	fmt.Fprintln(h, what)
	for _, r := range in {
		h.Write(r.key[:])
	}
	var key [32]byte
	h.Sum(key[:0])
	return key
}

// provenPast reports whether no stage of a run reaches a limit in the order in which the run is
// computed.
func (o *Order) provenPast(ctx context.Context, r *run) (bool, error) {
	check := func(past []link, s *stage) (bool, error) {
		if s == nil {
			return true, nil
		}
		return o.unlimited(ctx, newRun(r.base, past, nil), s)
	}
	for k, p := range r.past {
		if ok, err := check(r.past[:k], p.stage); !ok || err != nil {
			return false, err
		}
	}
	return check(r.past, r.last)
}

// unlimited reports whether a stage that is given this signal reaches no limit.
func (o *Order) unlimited(ctx context.Context, in *run, s *stage) (bool, error) {
	key := placeKey("limit of "+s.key, []*run{in})
	known := func() (limited, ok bool) {
		o.all.mu.Lock()
		defer o.all.mu.Unlock()
		limited, ok = o.all.limits[key]
		return
	}
	if limited, ok := known(); ok {
		return !limited, nil
	}
	if next := in.drive(s); next.before().key == in.key {
		// What is computed to be kept tells as well.
		if _, err := o.signal(ctx, next); err != nil {
			return false, err
		}
		if limited, ok := known(); ok {
			return !limited, nil
		}
	}
	x, err := o.signal(ctx, in)
	if err != nil {
		return false, err
	}
	_, err = o.process(ctx, in, s, x)
	if err != nil {
		return false, err
	}
	limited, _ := known()
	return !limited, nil
}

// process runs a stage, and notes whether it has reached a limit.
func (o *Order) process(ctx context.Context, in *run, s *stage, x []float64) ([]float64, error) {
	core := s.make()
	out, err := o.all.memo.run(ctx, core.Process, core.Latency(), [][]float64{x}, 1)
	if err != nil {
		return nil, err
	}
	o.all.mu.Lock()
	o.all.limits[placeKey("limit of "+s.key, []*run{in})] = core.(blocks.Limited).Limited()
	o.all.mu.Unlock()
	return out[0], nil
}

func (o *Order) signals(ctx context.Context, at []*run) ([][]float64, error) {
	var all [][]float64
	for _, r := range at {
		x, err := o.signal(ctx, r)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}

// signal is the voltage at a place, with its margins.
func (o *Order) signal(ctx context.Context, r *run) ([]float64, error) {
	if len(r.past) == 0 && r.last == nil {
		return o.all.memo.remember(ctx, r.base.key, func() ([]float64, error) { return r.base.compute(ctx) })
	}
	return o.all.memo.remember(ctx, r.key, func() ([]float64, error) {
		from := r.before()
		x, err := o.signal(ctx, from)
		if err != nil {
			return nil, err
		}
		if r.last != nil {
			return o.process(ctx, from, r.last, x)
		}
		l := r.past[len(r.past)-1].lead
		return o.all.memo.section(ctx, o.wiring, l.netlist, l.probe, [][]float64{x})
	})
}

// stillAt reports whether a linear circuit is without a voltage at rest, so that it does not only
// add to its input.
func (o *Orders) stillAt(key [32]byte, n *circuit.Netlist, probe string) (bool, error) {
	o.mu.Lock()
	still, ok := o.still[key]
	o.mu.Unlock()
	if ok {
		return still, nil
	}
	s, err := section.New(n, o.memo.Rate, o.memo.Quality, probe)
	if err != nil {
		return false, err
	}
	x := make([]float64, blockSize)
	s.Process([][]float64{x}, [][]float64{make([]float64, len(x))})
	still = !slices.ContainsFunc(x, func(y float64) bool { return y != 0 })
	o.mu.Lock()
	defer o.mu.Unlock()
	o.still[key] = still
	return still, nil
}

// Commuting says of each block of the chain whether its stages may change places with others, as
// long as they reach no limit.
func Commuting(w *wiring.Wiring) []bool {
	var all []bool
	for _, b := range w.Chain.Blocks {
		stages := 0
		free := true
		for _, s := range w.Stages {
			if s.Owner == b.Name {
				_, ok := s.Shape().(blocks.Limited)
				stages, free = stages+1, free && ok
			}
		}
		all = append(all, free && stages > 0)
	}
	return all
}
