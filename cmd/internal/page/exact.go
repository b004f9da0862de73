package page

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// engine renders for all windows, and remembers. What is exact is rendered once, however many listen.
type engine struct {
	ctx   context.Context // in which it works
	queue *queue

	mu     sync.Mutex
	loops  []*loop // most recent first
	sounds map[soundKey]*sound
	recent []soundKey // of those that are done, most recent first
	bytes  int        // of these
	speeds [2]float64 // seconds of sound in a second, of the last preview in draft and in normal quality; 0 while there was none
	jobs   sync.WaitGroup
	begun  int // how many exact sounds so far
}

// soundQuality is the quality of exact sound: what the commands render in where nobody asks for another.
var soundQuality = section.Normal

// What is remembered, at most. Loops hold what Memos know of the voltages inside chains; sounds are what comes out.
const (
	mostLoops  = 3
	loopBudget = 192 << 20 // bytes, each
	soundBytes = 384 << 20 // all together
)

func newEngine(ctx context.Context) *engine {
	return &engine{ctx: ctx, queue: newQueue(), sounds: map[soundKey]*sound{}}
}

func (e *engine) wait() { e.jobs.Wait() }

// loop is a region of a recording as it is heard when it is played round and round.
type loop struct {
	key  string
	rate dsp.Hertz
	a, b int64     // the region, in samples of the recording
	x    []float64 // it, in volts

	mu    sync.Mutex
	memos map[int]*render.Memo // by the length of the lead
	keys  map[*board.Chain]soundKey
}

// loop finds or reads a region.
func (e *engine) loop(ctx context.Context, r *recording, from, to int64) (*loop, error) {
	key := fmt.Sprintf("%s %d %d", r.key, from, to)
	e.mu.Lock()
	at := slices.IndexFunc(e.loops, func(l *loop) bool { return l.key == key })
	if at >= 0 {
		l := e.loops[at]
		copy(e.loops[1:at+1], e.loops[:at])
		e.loops[0] = l
		e.mu.Unlock()
		return l, nil
	}
	e.mu.Unlock()
	before := min(from, int64(math.Round(float64(seam)*float64(r.rate))))
	x, err := r.read(ctx, from-before, to)
	if err != nil {
		return nil, err
	}
	l := &loop{key: key, rate: r.rate, a: from, b: to, x: x[before:], memos: map[int]*render.Memo{}, keys: map[*board.Chain]soundKey{}}
	l.close(x[:before])
	e.mu.Lock()
	defer e.mu.Unlock()
	if at := slices.IndexFunc(e.loops, func(l *loop) bool { return l.key == key }); at >= 0 {
		return e.loops[at], nil // somebody else has read it meanwhile
	}
	e.loops = slices.Insert(e.loops, 0, l)
	if len(e.loops) > mostLoops {
		e.loops = e.loops[:mostLoops]
	}
	return l, nil
}

// close crossfades the end of the region with what goes before it: silence, where the recording begins with it.
func (l *loop) close(before []float64) {
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

// round is n samples of the region played round and round, beginning at a sample of it that may be under 0.
func (l *loop) round(dst []float64, from int) {
	at := from % len(l.x)
	if at < 0 {
		at += len(l.x)
	}
	for len(dst) > 0 {
		n := copy(dst, l.x[at:])
		dst, at = dst[n:], 0
	}
}

// The exact sound of a loop is the second time round: what a chain gives when the end of the region, or several times the whole of it, has gone before, for as long as the
// chain's tails last (60 dB down), and when its beginning comes after. So that nothing steps where the loop begins again, the last moments of the
// region are crossfaded with what goes before its beginning in the recording, and the last moments of the sound with what has gone before its beginning
// a round ago: what an oscillator in a chorus does is not as long as the loop. Attacks at the beginning stay as they are.
const (
	seam    dsp.Second = 10e-3
	mostLed dsp.Second = 16
)

// lead is how many samples go before, a power of two of seconds so that chains share them.
func (l *loop) lead(w *render.Plan) int {
	seconds := dsp.Second(1)
	for seconds < w.Tail() && seconds < mostLed {
		seconds *= 2
	}
	return int(float64(seconds) * float64(l.rate))
}

func (l *loop) seam() int {
	return min(len(l.x)/4, int(math.Round(float64(seam)*float64(l.rate))))
}

// memo remembers the voltages of chains with that lead: signals begin lead samples before the region, and end so far behind it that filters which look
// ahead find its beginning there.
func (l *loop) memo(lead int) *render.Memo {
	l.mu.Lock()
	defer l.mu.Unlock()
	m := l.memos[lead]
	if m == nil {
		x := make([]float64, lead+len(l.x)+render.Margin)
		l.round(x, -lead)
		if len(l.memos) == 2 { // which share the loop's budget
			clear(l.memos)
		}
		m = render.NewMemo(x, l.rate, soundQuality, loopBudget/2)
		l.memos[lead] = m
	}
	return m
}

// soundKey is what makes an exact sound: the loop and what is wired.
type soundKey struct{ loop, chain string }

// sound is the exact sound of a chain on a loop, or the work on it.
type sound struct {
	key    soundKey
	loop   *loop
	chain  *board.Chain
	lead   int
	memo   *render.Memo
	wiring *render.Plan // for what the memo knows; never for rendering

	ready   chan struct{} // closed when what follows is there
	err     error
	volts   [][]float32 // per channel, as long as the region
	peak    float64     // true peak, V
	speed   float64     // seconds of sound in a second; 0 where nothing had to be rendered
	mu      sync.Mutex
	levels  [2]*experiment.Settled // as it is, and played by two channels; nil until asked for
	figures *Figures               // nil until asked for

	waiting int // who wants it; the engine's lock
	cancel  context.CancelFunc
}

// short is the key for a page.
func (k soundKey) short() string {
	sum := sha256.Sum256([]byte(k.loop + "\x00" + k.chain))
	return base64.RawURLEncoding.EncodeToString(sum[:12])
}

// wired is a chain as it is rendered for its exact sound, and how many samples go before.
func (l *loop) wired(c *board.Chain) (w *render.Plan, lead int) {
	w = render.PlanOf(c, l.rate, soundQuality)
	lead = l.lead(w)
	if round := c.Round(l.rate, l.a, l.b, int64(-lead), int64(lead+len(l.x)+render.Margin)); round != c {
		w = render.PlanOf(round, l.rate, soundQuality)
	}
	return w, lead
}

// keyOf identifies the exact sound of a chain on a loop.
func keyOf(l *loop, c *board.Chain) soundKey {
	l.mu.Lock()
	defer l.mu.Unlock()
	if k, ok := l.keys[c]; ok {
		return k
	}
	if len(l.keys) >= 64 {
		clear(l.keys)
	}
	w, _ := l.wired(c)
	l.keys[c] = soundKey{l.key, w.Key()}
	return l.keys[c]
}

// known is the exact sound of that key where it is ready.
func (e *engine) known(k soundKey) *sound {
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.sounds[k]
	if s == nil {
		return nil
	}
	select {
	case <-s.ready:
		e.touch(k)
		return s
	default:
		return nil
	}
}

// touch makes a sound the most recent. The lock is held.
func (e *engine) touch(k soundKey) {
	if at := slices.Index(e.recent, k); at > 0 {
		copy(e.recent[1:at+1], e.recent[:at])
		e.recent[0] = k
	}
}

// begin joins the work on an exact sound, or begins it. leave must be called: when the last one has left, work that is not done is given up.
func (e *engine) begin(l *loop, c *board.Chain) (s *sound, leave func()) {
	k := keyOf(l, c)
	w, lead := l.wired(c)
	e.mu.Lock()
	defer e.mu.Unlock()
	s = e.sounds[k]
	if s == nil {
		ctx, cancel := context.WithCancel(e.ctx)
		s = &sound{key: k, loop: l, chain: c, lead: lead, wiring: w, ready: make(chan struct{}), cancel: cancel}
		s.memo = l.memo(s.lead)
		e.begun++
		e.sounds[k] = s
		e.jobs.Go(func() {
			defer cancel()
			err := s.render(ctx, e.queue)
			e.finished(s, err)
		})
	}
	e.touch(k)
	s.waiting++
	return s, sync.OnceFunc(func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		s.waiting--
		if s.waiting > 0 {
			return
		}
		select {
		case <-s.ready:
		default:
			s.cancel()
			if e.sounds[s.key] == s {
				delete(e.sounds, s.key) // the next one begins anew
			}
		}
	})
}

// finished puts a sound among those that are known, and drops the oldest.
func (e *engine) finished(s *sound, err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	s.err = err
	close(s.ready)
	if e.sounds[s.key] != s {
		return
	}
	if err != nil {
		delete(e.sounds, s.key)
		return
	}
	e.recent = slices.Insert(e.recent, 0, s.key)
	e.bytes += s.size()
	for e.bytes > soundBytes && len(e.recent) > 1 {
		last := e.recent[len(e.recent)-1]
		e.recent = e.recent[:len(e.recent)-1]
		e.bytes -= e.sounds[last].size()
		delete(e.sounds, last)
	}
}

func (s *sound) size() int {
	n := 0
	for _, x := range s.volts {
		n += 4 * len(x)
	}
	return n
}

// render computes the sound. A panic becomes an error: a mistake in the program is to cost one sound and not all windows.
func (s *sound) render(ctx context.Context, q *queue) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("a mistake in the program: %v\n%s", v, debug.Stack())
		}
	}()
	done, err := q.turn(ctx, exactSound)
	if err != nil {
		return err
	}
	defer done()
	begin, work := time.Now(), s.memo.Computed()
	w, _ := s.loop.wired(s.chain) // of its own: the cores of a wiring are for one goroutine
	for _, end := range s.chain.Ends() {
		x, err := s.memo.Signal(ctx, w, end)
		if err != nil {
			return err
		}
		v, err := s.joined(x)
		if err != nil {
			return fmt.Errorf("take %q: %w", s.chain.Take, err)
		}
		s.volts = append(s.volts, v)
	}
	if s.memo.Computed() > work {
		s.speed = float64(s.lead+len(s.loop.x)) / float64(s.loop.rate) / max(time.Since(begin).Seconds(), 1e-9)
	}
	return s.measure()
}

// joined is the region of a signal, with its end crossfaded with what has gone before its beginning.
func (s *sound) joined(x []float64) ([]float32, error) {
	n, over := len(s.loop.x), s.loop.seam()
	v := make([]float32, n)
	for k := range v {
		y := x[s.lead+k]
		if at := k - (n - over); at >= 0 {
			w := (float64(at) + 0.5) / float64(over)
			y = (1-w)*y + w*x[s.lead-over+at]
		}
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return nil, render.ErrNotFinite
		}
		v[k] = float32(y)
	}
	return v, nil
}

// measure takes the true peak.
func (s *sound) measure() error {
	for _, x := range s.volts {
		var m measure.TruePeakMeter
		block := make([]float64, 4096)
		for at := 0; at < len(x); at += len(block) {
			n := widen(block, x[at:])
			m.Push(block[:n])
		}
		peak, err := m.TruePeak()
		if err != nil && !errors.As(err, new(measure.NotMeasurable)) {
			return err
		}
		s.peak = max(s.peak, peak)
	}
	return nil
}

func widen(dst []float64, src []float32) int {
	n := min(len(dst), len(src))
	for k, v := range src[:n] {
		dst[k] = float64(v)
	}
	return n
}

// settled is the sound brought to the usual loudness; both says that it is played by two channels, as a mono one is beside a stereo one.
func (s *sound) settled(ctx context.Context, both bool) (experiment.Settled, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	which := 0
	if both && len(s.volts) == 1 {
		which = 1
	}
	if s.levels[which] != nil {
		return *s.levels[which], nil
	}
	channels := s.volts
	if which == 1 {
		channels = [][]float32{s.volts[0], s.volts[0]}
	}
	rate := float64(s.loop.rate)
	blocks := make([][]float64, len(channels))
	for k := range blocks {
		blocks[k] = make([]float64, 4800)
	}
	settled, err := experiment.Settle(s.peak, experiment.Target, func(gain float64) (experiment.Reading, error) {
		meter := experiment.NewMeter
		if len(channels) == 2 {
			meter = experiment.NewStereoMeter
		}
		m := meter(rate, experiment.ByLoudness(int64(len(channels[0])), rate))
		for at := 0; at < len(channels[0]); at += len(blocks[0]) {
			if err := ctx.Err(); err != nil {
				return experiment.Reading{}, err
			}
			cut := make([][]float64, len(channels))
			for k, x := range channels {
				n := widen(blocks[k], x[at:])
				for j := range blocks[k][:n] {
					blocks[k][j] *= gain
				}
				cut[k] = blocks[k][:n]
			}
			m.Push(cut...)
		}
		return m.Reading()
	})
	if err != nil {
		return settled, err
	}
	s.levels[which] = &settled
	return settled, nil
}

// gains is by what the volts of a sound are multiplied: matched brings it to the loudness of its pair, common is the same for both, so that what differs in level is heard. Both keep the
// true peaks under experiment.Ceiling. With no other sound, a pair is the sound alone.
func gains(ctx context.Context, s, other *sound) (matched, common, loudness float64, err error) {
	pair := []*sound{s}
	if other != nil {
		pair = append(pair, other)
	}
	both := slices.ContainsFunc(pair, func(s *sound) bool { return len(s.volts) == 2 })
	var all []experiment.Settled
	for _, p := range pair {
		level, err := p.settled(ctx, both)
		if err != nil {
			return 0, 0, 0, err
		}
		all = append(all, level)
	}
	target, _ := experiment.Common(all)
	common = math.Inf(1)
	for k := range all {
		if all[k].Matched {
			all[k].Gain *= dsp.FromDB(target - all[k].Level)
			all[k].Level = target
		}
		if pair[k].peak >= measures.Silence {
			common = min(common, all[k].Gain)
		}
	}
	if math.IsInf(common, 1) {
		common = 1
	}
	return all[0].Gain, common, all[0].Level, nil
}
