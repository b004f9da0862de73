// Package engine is what makes sound for the listening page: a preview at once from where the
// player is, then the exact sound of the whole loop, the gains that make two sides equally loud,
// and the figures. It shares the processors out among all windows and remembers what it has made,
// within one budget. It knows no HTTP, no window and no document: what is played is a take of a
// project, and who listens is a Listener.
//
// Start reading at Engine, then Play (play.go) for the way of one sound, then preview.go and
// exact.go.
package engine

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	lru "github.com/hashicorp/golang-lru/v2"

	"drywire/chains/experiment"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Budget is how many bytes are taken for all windows together: the regions and sounds that are
// listened to, the signals that are being computed, and with what these leave of it, what is kept,
// the voltages inside chains and the finished sounds. With windows, wirings, renderers at work and
// garbage not collected yet, a server stays under 512 MiB.
const Budget = 320 << 20

// Engine renders for all windows, and remembers. What is exact is rendered once, however many
// listen.
type Engine struct {
	ctx   context.Context // in which it works
	queue *queue
	takes *lru.Cache[wiredKey, *wired]
	// of *Loop by loopKey, *render.Memo by memoKey with its signals, *Sound by Key; all of what a
	// loop belongs to
	store     *render.Store
	admission *admission // to what is not in the store, and counts against its budget

	mu     sync.Mutex
	works  map[Key]*work              // exact sounds that are being made
	owners map[string]map[string]bool // by whom: the keys of the loops that they have played
	// seconds of sound in a second, of the last preview in draft and in normal quality; 0 while
	// there was none
	speeds [2]float64
	jobs   sync.WaitGroup
	begun  int // how many exact sounds so far
}

// New is an engine that works until the context ends, and keeps budget bytes at most.
func New(ctx context.Context, budget int) *Engine {
	takes, _ := lru.New[wiredKey, *wired](mostWired) // it fails for sizes under 1 alone
	store := render.NewStore(budget)
	return &Engine{ctx: ctx, takes: takes, queue: newQueue(), store: store, admission: newAdmission(budget, store), works: map[Key]*work{}, owners: map[string]map[string]bool{}}
}

// Go runs work that Wait waits for.
func (e *Engine) Go(work func()) { e.jobs.Go(work) }

// Wait waits until nothing is at work. The context is to end first.
func (e *Engine) Wait() { e.jobs.Wait() }

// Counts is what an engine has done and is doing.
type Counts struct {
	Begun            int   // exact sounds so far
	Computed         int64 // sections and stages so far
	Running, Waiting int   // renders that have a processor, or wait for one
	Kept             int   // bytes
	Aside            int   // bytes for what is listened to and what is being computed
}

// Counts says what the engine has done so far.
func (e *Engine) Counts() Counts {
	c := Counts{Computed: e.store.Computed(), Kept: e.store.Used()}
	e.mu.Lock()
	c.Begun = e.begun
	e.mu.Unlock()
	c.Aside = e.admission.used()
	e.queue.mu.Lock()
	defer e.queue.mu.Unlock()
	c.Running, c.Waiting = e.queue.running, e.queue.count
	return c
}

// Turn waits for a turn at a processor in the least urgent class; done must be called after it.
// ErrBusy where too many wait already.
func (e *Engine) Turn(ctx context.Context) (done func(), err error) {
	return e.queue.turn(ctx, exactSound)
}

// Loop is a region of a recording as it is heard when it is played round and round. It never
// changes.
type Loop struct {
	key  string
	rate dsp.Hertz
	a, b int64     // the region, in samples of the recording
	x    []float64 // it, in volts
}

type (
	loopKey string
	memoKey struct {
		loop string
		lead int
	}
)

// Region is a stretch of a recording that a listener plays, held until they Leave.
type Region struct {
	Owner     string
	Recording *produce.Recording
	Own       map[string]*produce.Recording // of guitars with one of their own
	From, To  int64                         // frames
}

// all is the recordings by board.Chain.RecordingOf.
func (r Region) all() map[string]*produce.Recording {
	all := map[string]*produce.Recording{"": r.Recording}
	maps.Copy(all, r.Own)
	return all
}

// loops is a region of every recording, by board.Chain.RecordingOf.
type loops map[string]*Loop

func (l loops) of(t *produce.Take) *Loop { return l[t.RecordingOf] }

func (l loops) rate() dsp.Hertz { return l[""].rate }

// dry is the region's voltages.
func (l loops) dry() experiment.Dry {
	d := experiment.Dry{Volts: l[""].x, Own: map[string][]float64{}}
	for guitar, own := range l {
		d.Own[guitar] = own.x
	}
	return d
}

// listening is what is held while a region is: the sounds of takes on it, sounds that there are,
// and so many bytes more.
type listening struct {
	spots []Spot
	heard []*Sound
	bytes int
}

// enter finds or reads a region, once there is room for it and what is held with it; leave must be
// called. ErrBusy where too many wait already.
func (e *Engine) enter(ctx context.Context, r Region, with listening) (l loops, leave func(), err error) {
	l = loops{}
	n := int(r.To - r.From)
	needs := map[any]int{new(int): with.bytes}
	for guitar, dry := range r.all() {
		l[guitar] = &Loop{key: keyOfLoop(dry, r.From, r.To), rate: dry.Rate, a: r.From, b: r.To}
		needs[loopKey(l[guitar].key)] = 8 * n
	}
	for _, s := range with.spots {
		needs[e.wired(l.of(s.Take), s).key] = soundSize(n, len(s.ears()))
	}
	for _, s := range with.heard {
		needs[s.key] = s.size()
	}
	leave, err = e.admission.listen(ctx, needs)
	if err != nil {
		return nil, nil, err
	}
	for guitar, dry := range r.all() {
		if l[guitar], err = e.read(ctx, r, dry, l[guitar]); err != nil {
			leave()
			return nil, nil, err
		}
	}
	return l, leave, nil
}

// read finds or reads the frames of a region of a recording. A guitar's own may be shorter than the
// file's: it is silent from there on.
func (e *Engine) read(ctx context.Context, r Region, dry *produce.Recording, l *Loop) (*Loop, error) {
	e.own(r.Owner, l.key)
	if known, ok := e.store.Get(loopKey(l.key)); ok {
		return known.(*Loop), nil
	}
	before := min(r.From, int64(math.Round(float64(seam)*float64(l.rate))))
	x, err := dry.Voltages(ctx, r.From-before, r.To)
	if err != nil {
		return nil, err
	}
	if lacks := r.To - r.From + before - int64(len(x)); lacks > 0 {
		if dry == r.Recording {
			return nil, fmt.Errorf("recording %s: ends before frame %d", dry.Name, r.To)
		}
		x = append(x, make([]float64, lacks)...)
	}
	l.x = slices.Clone(x[before:])
	l.close(x[:before])
	e.store.Keep(l.key, loopKey(l.key), l, 8*len(l.x))
	return l, nil
}

func keyOfLoop(r *produce.Recording, from, to int64) string {
	return fmt.Sprintf("%s %d %d", r.Key, from, to)
}

// own records that a listener has played a loop.
func (e *Engine) own(owner, key string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	keys := e.owners[owner]
	if keys == nil {
		keys = map[string]bool{}
		e.owners[owner] = keys
	}
	if len(keys) > 64 { // those of which nothing is kept any more
		for k := range keys {
			if !e.store.Holds(k) {
				delete(keys, k)
			}
		}
	}
	keys[key] = true
}

// Leave frees what is kept for that listener alone.
func (e *Engine) Leave(owner string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	keys := e.owners[owner]
	delete(e.owners, owner)
	for key := range keys {
		shared := false
		for _, others := range e.owners {
			shared = shared || others[key]
		}
		if shared {
			continue
		}
		e.store.Drop(key)
		for _, at := range e.takes.Keys() {
			if at.loop == key {
				e.takes.Remove(at)
			}
		}
	}
}

// close crossfades the end of the region with what goes before it: silence, where the recording
// begins with it.
func (l *Loop) close(before []float64) {
	over := l.seam()
	end := l.x[len(l.x)-over:]
	for k := range end {
		w := (float64(k) + 0.5) / float64(over)
		y := 0.0
		if at := len(before) - over + k; at >= 0 {
			y = before[at]
		}
		end[k] = (1-w)*end[k] + w*y
	}
}

// round is n samples of the region played round and round, beginning at a sample of it that may be
// under 0.
func (l *Loop) round(dst []float64, from int) {
	at := from % len(l.x)
	if at < 0 {
		at += len(l.x)
	}
	for len(dst) > 0 {
		n := copy(dst, l.x[at:])
		dst, at = dst[n:], 0
	}
}

// led is how many samples a loop with that lead has for a memo.
func (l *Loop) led(lead int) int { return lead + int(l.b-l.a) + render.Margin }

// memo remembers the voltages of chains with that lead: signals begin lead samples before the
// region, and end so far behind it that filters which look ahead find its beginning there.
func (e *Engine) memo(l *Loop, lead int) *render.Memo {
	e.mu.Lock()
	defer e.mu.Unlock()
	if m := e.known(l.key, lead); m != nil {
		return m
	}
	m := e.store.Memo(l.key, l.led(lead), func(x []float64) { l.round(x, -lead) }, l.rate, produce.Quality)
	e.store.Keep(l.key, memoKey{l.key, lead}, m, m.Size())
	return m
}

// known is the memo of a loop where there still is one.
func (e *Engine) known(loop string, lead int) *render.Memo {
	if m, ok := e.store.Get(memoKey{loop, lead}); ok {
		return m.(*render.Memo)
	}
	return nil
}

// plan is a take as it is rendered when the loop goes round, from a sample of the loop that may be
// under 0, so many samples of it. Its sections are in that quality. All of a take that does not
// move shares the take's one wiring.
func (l *Loop) plan(t *produce.Take, q section.Quality, first, n int) *render.Plan {
	if round := t.Round(l.rate, l.a, l.b, int64(first), int64(n)); round != t.Chain {
		return render.PlanOf(round, l.rate, q)
	}
	return render.NewPlan(t.Wiring().At(q))
}
