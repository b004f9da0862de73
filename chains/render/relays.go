package render

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/wiring"
	"drywire/dsp"
)

// A chain whose presets change is rendered in two parts. Up to the switcher's output every preset
// has a renderer of its own, loaded by all that follows; what follows is one renderer that goes on
// through all changes, driven by the voltage at that output: by the substitution theorem it then
// does exactly what it does in the whole chain. So a change is heard through the amplifier, and an
// echo behind the switcher rings on.
//
// A pedal in a loop that is out gets nothing, and what it still has in it is not heard: a loop that
// goes out cuts off its echoes, and one that comes in has none of what was played before. A pedal
// that is in before and after goes on with what it had in it, if its settings stay; where they
// change, it is as if it had stood there so all along.

// RelayGap is for how long nothing comes out of a switcher that changes over, in seconds: its
// relays break before they make, and take a few milliseconds from one contact to the other (2 to 5
// with their bouncing, common practice, no source).
const RelayGap = 4e-3

// relayFall is the time constant with which the voltage falls behind a contact that opens: of 1 MΩ
// and 100 pF, the input of what follows and the cable to it.
const relayFall = 0.1e-3

// relays renders a chain whose presets change.
type relays struct {
	changes []int64    // samples of the recording at which the switcher changes over, rising
	at      []int      // in before: of the preset at 0 s, and of each change
	before  []*relayed // a renderer of each preset up to the switcher's output
	after   *Renderer  // from there on
	taps    []relayTap // in the order in which they are read
	rate    float64
	done    int64       // samples of the recording that all of before have had
	spliced [][]float64 // of the switcher's output and of the taps before it, not passed on yet
	passed  int64       // samples of these that have been
	// the inputs of the stages of the preset that is played, in this block, by their names
	fed    map[string][][]float64
	latest int // the latest of all stages, in samples
}

// relayTap is a tap: of after, or one before it.
type relayTap struct{ after, before int }

// relayed is the renderer of one preset.
type relayed struct {
	*Renderer
	list  []int       // of the taps of spliced, those of the renderer; -1 where it has none
	queue [][]float64 // of each tap, what has not been spliced yet
	skip  []int       // samples of latency still to drop
}

// relayed is the renderer of a plan with changes.
func (w *Plan) relayed(taps []string) (*Renderer, error) {
	jack, count, _ := w.Chain.Relayed()
	x := &relays{rate: float64(w.Rate), at: []int{0}, fed: map[string][][]float64{}}
	plans := []*Plan{NewPlan(w.Wiring)}
	first := *w.Chain
	first.Changes = nil
	chains := []*board.Chain{&first}
	for k, change := range w.Chain.Changes {
		x.changes = append(x.changes, int64(math.Round(float64(change.At)*x.rate)))
		same := slices.IndexFunc(chains, change.Chain.Same)
		if same < 0 {
			same = len(plans)
			plans, chains = append(plans, w.changed[k]), append(chains, change.Chain)
		}
		x.at = append(x.at, same)
	}
	behind := NewPlan(wiring.From(w.Chain, jack, count, w.Rate, w.Quality))
	front, rest := []string{jack}, []string{}
	for _, name := range taps {
		if err := w.Chain.Jack(name); err != nil {
			return nil, err
		}
		if name != jack && behind.Section(name) != nil {
			x.taps = append(x.taps, relayTap{len(rest), -1})
			rest = append(rest, name)
			continue
		}
		at := slices.Index(front, name)
		if at < 0 {
			at = len(front)
			front = append(front, name)
		}
		x.taps = append(x.taps, relayTap{-1, at})
	}
	for _, p := range plans {
		var has []string
		one := &relayed{}
		for _, name := range front {
			at := -1
			if p.Section(name) != nil {
				at = len(has)
				has = append(has, name)
			}
			one.list = append(one.list, at)
		}
		r, err := p.renderer(has)
		if err != nil {
			return nil, err
		}
		r.tail = 0 // up to there: what follows has its own
		for _, st := range r.steps {
			if st.core != nil {
				r.tail += st.core.Tail()
			}
		}
		one.Renderer = r
		one.queue = make([][]float64, len(has))
		for _, t := range r.taps {
			one.skip = append(one.skip, t.latency)
		}
		x.hang(len(x.before), r)
		x.before = append(x.before, one)
	}
	var err error
	if x.after, err = behind.renderer(append(rest, jack)); err != nil {
		return nil, err
	}
	x.after.Add(wiring.Feed, x)
	x.spliced = make([][]float64, len(front))
	r := &Renderer{Plan: w, Taps: taps, relays: x, tail: x.after.tail}
	longest := dsp.Second(0)
	for _, one := range x.before {
		longest = max(longest, one.tail)
	}
	r.tail += longest
	return r, nil
}

// Parts is the renderers that a renderer consists of: itself, or where presets change those of the
// presets and that of what follows them.
func (r *Renderer) Parts() []*Renderer {
	if r.relays == nil {
		return []*Renderer{r}
	}
	list := []*Renderer{r.relays.after}
	for _, one := range r.relays.before {
		list = append(list, one.Renderer)
	}
	return list
}

// hang replaces the stages of a preset's renderer by hung ones.
func (x *relays) hang(preset int, r *Renderer) {
	late := make([]int, r.signals)
	for k := range r.steps {
		st := &r.steps[k]
		before, own := 0, 0
		for _, s := range st.in {
			before = max(before, late[s])
		}
		if st.section != nil {
			own = st.section.Latency()
			if st.row != nil {
				x.hangRow(preset, before, st.row)
			}
		} else {
			own = st.core.Latency()
			h := &hung{Core: st.core, name: st.name, relays: x, preset: preset, late: before}
			for range st.in {
				h.own = append(h.own, make([]float64, blockSize))
			}
			st.core = h
			x.latest = max(x.latest, before)
		}
		for _, s := range st.out {
			late[s] = before + own
		}
	}
}

// hung is a stage of a pedal at a switcher: while its preset is not played, it gets what the same
// pedal gets in the one that is, or nothing. Two presets may have a stage at other latencies, of
// some milliseconds at most: what it still has in it of the other preset is off by their
// difference.
type hung struct {
	blocks.Core
	name   string
	relays *relays
	preset int // index in relays.before
	late   int // samples by which what it gets is late
	own    [][]float64
}

// Process implements blocks.Core.
func (h *hung) Process(out, in [][]float64) {
	n := len(out[0])
	fed := h.relays.fed[h.name]
	if fed == nil {
		for range in {
			fed = append(fed, make([]float64, blockSize))
		}
		h.relays.fed[h.name] = fed
	}
	own := make([][]float64, len(in))
	for k := range in {
		own[k] = h.own[k][:n]
	}
	for j := 0; j < n; {
		now, until := h.relays.played(h.relays.done + int64(j-h.late))
		end := int(min(int64(n), until-h.relays.done+int64(h.late)))
		for k := range in {
			if now == h.preset {
				copy(fed[k][j:end], in[k][j:end])
			}
			copy(own[k][j:end], fed[k][j:end])
		}
		j = end
	}
	h.Core.Process(out, own)
}

// played is the index of the preset that is played at a sample, and until which one.
func (x *relays) played(n int64) (now int, until int64) {
	k, _ := slices.BinarySearch(x.changes, n+1)
	if k == len(x.changes) {
		return x.at[k], math.MaxInt64 / 2
	}
	return x.at[k], x.changes[k]
}

// preset is the index of the preset that is played at a sample, of the one before it, and how many
// samples ago it came.
func (x *relays) preset(n int64) (now, was int, ago int64) {
	k, _ := slices.BinarySearch(x.changes, n+1)
	if k == 0 {
		return x.at[0], x.at[0], n
	}
	return x.at[k], x.at[k-1], n - x.changes[k-1]
}

// feed plays a block of the recording to every preset. The one that was played before a change
// comes first until its latest stage has had the last of it.
func (x *relays) feed(in []float64) {
	for len(in) > 0 {
		first, until := x.played(x.done - int64(x.latest))
		n := int(min(int64(len(in)), blockSize, until+int64(x.latest)-x.done))
		for _, fed := range x.fed {
			for k := range fed {
				clear(fed[k])
			}
		}
		for k := range x.before {
			one := x.before[(first+k)%len(x.before)]
			copy(one.blocks[0][:n], in[:n])
			if one.source != nil {
				one.source.Add(one.blocks[0][:n])
			}
			one.process(n)
			for j, t := range one.Renderer.taps {
				drop := min(one.skip[j], n)
				one.skip[j] -= drop
				one.queue[j] = append(one.queue[j], one.blocks[t.signal][drop:n]...)
			}
		}
		x.done += int64(n)
		in = in[n:]
	}
	x.splice()
}

// splice takes from the presets what all of them have, with the gap of the relays in the first.
func (x *relays) splice() {
	ready := math.MaxInt
	for _, one := range x.before {
		for _, q := range one.queue {
			ready = min(ready, len(q))
		}
	}
	for j := range ready {
		now, was, ago := x.preset(x.passed)
		for k := range x.spliced {
			v := 0.0
			if at := x.before[now].list[k]; at >= 0 {
				v = x.before[now].queue[at][j]
			}
			if k == 0 && x.passed >= x.changes[0] && float64(ago) < RelayGap*x.rate {
				v = x.before[was].queue[0][j] * math.Exp(-float64(ago)/(relayFall*x.rate))
			}
			x.spliced[k] = append(x.spliced[k], v)
		}
		x.passed++
	}
	for _, one := range x.before {
		for k, q := range one.queue {
			one.queue[k] = q[:copy(q, q[ready:])]
		}
	}
}

// Add implements Adder: the voltage at the switcher's output, as far as there is any.
func (x *relays) Add(dst []float64) {
	q := x.spliced[0]
	n := copy(dst, q)
	x.spliced[0] = q[:copy(q, q[n:])]
}

// run is Renderer.Run.
func (x *relays) run(ctx context.Context, src Source, after dsp.Second, sink func(taps [][]float64) error) error {
	out := make([][]float64, len(x.taps))
	err := x.after.Run(ctx, &relaySource{relays: x, src: src, after: after}, 0, func(taps [][]float64) error {
		n := len(taps[0])
		for k, t := range x.taps {
			switch {
			case t.after >= 0:
				out[k] = taps[t.after]
			case t.before == 0: // the node that the source drives
				out[k] = taps[len(taps)-1]
			default:
				out[k] = x.spliced[t.before][:n]
			}
		}
		if err := sink(out); err != nil {
			return err
		}
		for k := 1; k < len(x.spliced); k++ {
			q := x.spliced[k]
			x.spliced[k] = q[:copy(q, q[n:])]
		}
		return nil
	})
	return err
}

// relaySource reads the recording and, for as long as the presets sound on, silence, plays it to
// all of them, and says how far the switcher's output is known. It is itself silent.
type relaySource struct {
	*relays
	src    Source
	after  dsp.Second
	read   int64
	total  int64 // samples of recording and tail; 0 until its end is known
	given  int64
	buffer []float64
}

// Read implements Source.
func (s *relaySource) Read(dst []float64) (int, error) {
	if s.buffer == nil {
		s.buffer = make([]float64, blockSize)
	}
	for s.passed == s.given {
		n := blockSize
		clear(s.buffer)
		if s.total == 0 {
			var err error
			n, err = s.src.Read(s.buffer)
			s.read += int64(n)
			if err != nil && !errors.Is(err, io.EOF) {
				return 0, err
			}
			if err != nil {
				s.total = max(1, s.read+int64(math.Round(float64(s.after)*s.rate)))
			}
		}
		s.feed(s.buffer[:n])
	}
	n := int(min(int64(len(dst)), s.passed-s.given))
	if s.total > 0 {
		n = int(min(int64(n), s.total-s.given))
	}
	clear(dst[:n])
	s.given += int64(n)
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}
