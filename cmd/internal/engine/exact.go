package engine

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
	"sync/atomic"
	"time"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// The exact sound of a loop is the second time round: what a chain gives when the end of the
// region, or several times the whole of it, has gone before, for as long as the chain's tails last
// (60 dB down), and when its beginning comes after. So that nothing steps where the loop begins
// again, the last moments of the region are crossfaded with what goes before its beginning in the
// recording, and the last moments of the sound with what has gone before its beginning a round ago:
// what an oscillator in a chorus does is not as long as the loop. Attacks at the beginning stay as
// they are.
const (
	seam    dsp.Second = 10e-3
	mostLed dsp.Second = 16
)

// lead is how many samples go before, a power of two of seconds so that chains share them.
func (l *Loop) lead(t *produce.Take) int {
	seconds := dsp.Second(1)
	for seconds < t.Tail() && seconds < mostLed {
		seconds *= 2
	}
	return int(float64(seconds) * float64(l.rate))
}

func (l *Loop) seam() int {
	return min(len(l.x)/4, int(math.Round(float64(seam)*float64(l.rate))))
}

// Key is what makes an exact sound: the loop and what is wired.
type Key struct{ loop, chain string }

// Sound is the exact sound of a take on a loop. Beside itself it holds neither the loop nor what is
// inside the chain.
type Sound struct {
	key    Key
	name   string // of the take
	rate   dsp.Hertz
	lead   int
	plan   *render.Plan // for what a memo knows
	volts  [][]float32  // per channel, as long as the region
	peak   float64      // true peak, V
	speed  float64      // seconds of sound in a second; 0 where nothing had to be rendered
	mu     sync.Mutex
	levels [2]*experiment.Settled // as it is, and played by two channels; nil until asked for
	told   *Figures               // nil until asked for
	facts  measures.Values        // nil until asked for
	// of one with noise, how the same without it settles where that is silence: noise alone is not
	// raised to the loudness of music
	silent *experiment.Settled
}

// soundOverhead is what a sound takes beside its volts, in bytes: the wiring of the reference board
// with everything on takes 185 kB.
const soundOverhead = 256 << 10

// soundSize is how many bytes a sound of that many frames takes.
func soundSize(frames, channels int) int { return soundOverhead + 4*frames*channels }

func (s *Sound) size() int { return soundSize(len(s.volts[0]), len(s.volts)) }

// work is the making of a sound.
type work struct {
	*Sound
	loop *Loop
	spot Spot
	at   atomic.Pointer[progress] // nil until it computes

	ready   chan struct{} // closed when Sound and err are final
	err     error
	waiting int // who wants it; the engine's lock
	cancel  context.CancelFunc
}

// progress is how far a memo was when work began on it.
type progress struct {
	memo   *render.Memo
	before int64
}

// done is the share of the work that is done.
func (w *work) done() float64 {
	p := w.at.Load()
	if p == nil {
		return 0
	}
	steps := len(w.plan.Sections) + len(w.plan.Stages) + 1
	return min(0.99, float64(p.memo.Computed()-p.before)/float64(steps))
}

// Short is the key for a page.
func (k Key) Short() string {
	sum := sha256.Sum256([]byte(k.loop + "\x00" + k.chain))
	return base64.RawURLEncoding.EncodeToString(sum[:12])
}

// wired is a take as it is rendered for its exact sound on a loop.
type wired struct {
	plan *render.Plan
	lead int // how many samples go before
	key  Key
}

type wiredKey struct {
	loop string
	spot Spot
}

// mostWired is how many are remembered: of every window the two sides, and those that were shown
// before.
const mostWired = 64

func (e *Engine) wired(l *Loop, s Spot) *wired {
	at := wiredKey{l.key, s}
	if w, ok := e.takes.Get(at); ok {
		return w
	}
	lead := l.lead(s.Take)
	w := &wired{plan: l.plan(s.Take, produce.Quality, -lead, l.led(lead)), lead: lead}
	w.key = Key{l.key, w.plan.Key(s.ears()...)}
	if s.Noisy {
		w.key.chain += noiseKey(s.Chain)
	}
	e.takes.Add(at, w)
	return w
}

// KeyOf identifies what a take sounds like on the frames of a recording from one to another, for
// who does not need the sound.
func KeyOf(t *produce.Take, r *produce.Recording, from, to int64) Key {
	l := &Loop{key: keyOfLoop(r, from, to), rate: r.Rate, a: from, b: to}
	return Key{l.key, l.plan(t, produce.Quality, 0, int(to-from)).Key(t.Ends()...)}
}

// Known is the exact sound of that key where it is ready.
func (e *Engine) Known(k Key) *Sound {
	if s, ok := e.store.Get(k); ok {
		return s.(*Sound)
	}
	return nil
}

// begin joins the work on an exact sound, or begins it. leave must be called: when the last one has
// left, work that is not done is given up.
func (e *Engine) begin(l *Loop, at Spot) (w *work, leave func()) {
	wired := e.wired(l, at)
	k := wired.key
	if s := e.Known(k); s != nil {
		w = &work{Sound: s, loop: l, spot: at, ready: make(chan struct{})}
		close(w.ready)
		return w, func() {}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	w = e.works[k]
	if w == nil {
		ctx, cancel := context.WithCancel(e.ctx)
		w = &work{Sound: &Sound{key: k, name: at.Chain.Take, rate: l.rate, lead: wired.lead, plan: wired.plan}, loop: l, spot: at, ready: make(chan struct{}), cancel: cancel}
		e.begun++
		e.works[k] = w
		e.jobs.Go(func() {
			defer cancel()
			err := w.make(ctx, e)
			e.finished(w, err)
		})
	}
	w.waiting++
	return w, sync.OnceFunc(func() {
		if e.forsaken(w) {
			<-w.ready // nothing of it is left
		}
	})
}

// forsaken removes one waiter from a work; where it was the last, the work is cancelled.
func (e *Engine) forsaken(w *work) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	if w.waiting--; w.waiting > 0 {
		return false
	}
	w.cancel()
	if e.works[w.key] == w {
		delete(e.works, w.key) // the next one begins anew
	}
	return true
}

// finished keeps a sound that is wanted.
func (e *Engine) finished(w *work, err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	w.err = err
	if e.works[w.key] == w {
		delete(e.works, w.key)
		if err == nil {
			e.store.Keep(w.loop.key, w.key, w.Sound, w.size())
		}
	}
	close(w.ready)
}

// make computes the sound. A panic becomes an error: a mistake in the program is to cost one sound
// and not all windows.
func (w *work) make(ctx context.Context, e *Engine) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("a mistake in the program: %v\n%s", v, debug.Stack())
		}
	}()
	if w.spot.Noisy {
		return w.renderNoisy(ctx, e)
	}
	return w.render(ctx, e)
}

// render computes a sound without noise.
func (w *work) render(ctx context.Context, e *Engine) error {
	done, err := e.queue.turn(ctx, exactSound)
	if err != nil {
		return err
	}
	defer done()
	ends := w.spot.ears()
	free, err := e.admission.compute(ctx, w.plan.Needs(w.loop.led(w.lead), ends...))
	if err != nil {
		return err
	}
	defer free()
	memo := e.memo(w.loop, w.lead)
	begin, before := time.Now(), memo.Computed()
	w.at.Store(&progress{memo, before})
	defer w.at.Store(nil)
	for _, end := range ends {
		x, err := memo.Signal(ctx, w.plan, end)
		if err != nil {
			return err
		}
		v, err := w.loop.joined(x, w.lead)
		if err != nil {
			return fmt.Errorf("take %q: %w", w.name, err)
		}
		w.volts = append(w.volts, v)
	}
	if memo.Computed() > before {
		w.speed = float64(w.lead+len(w.loop.x)) / float64(w.rate) / max(time.Since(begin).Seconds(), 1e-9)
	}
	return w.measure()
}

// joined is the region of a signal with that lead, with its end crossfaded with what has gone
// before its beginning.
func (l *Loop) joined(x []float64, lead int) ([]float32, error) {
	n, over := len(l.x), l.seam()
	v := make([]float32, n)
	for k := range v {
		y := x[lead+k]
		if at := k - (n - over); at >= 0 {
			w := (float64(at) + 0.5) / float64(over)
			y = (1-w)*y + w*x[lead-over+at]
		}
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return nil, render.ErrNotFinite
		}
		v[k] = float32(y)
	}
	return v, nil
}

// measure takes the true peak.
func (s *Sound) measure() error {
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

// settled is the sound brought to the usual loudness; both says that it is played by two channels,
// as a mono one is beside a stereo one.
func (s *Sound) settled(ctx context.Context, both bool) (experiment.Settled, error) {
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
	rate := float64(s.rate)
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
	if s.silent != nil {
		settled = *s.silent
		settled.Gain = min(settled.Gain, dsp.FromDB(experiment.Ceiling)/s.peak)
	}
	s.levels[which] = &settled
	return settled, nil
}

// gains is by what the volts of a sound are multiplied: matched brings it to the loudness of its
// pair, common is the same for both, so that what differs in level is heard. Both keep the true
// peaks under experiment.Ceiling. With no other sound, a pair is the sound alone.
func gains(ctx context.Context, s, other *Sound) (matched, common, loudness float64, err error) {
	pair := []*Sound{s}
	if other != nil {
		pair = append(pair, other)
	}
	both := slices.ContainsFunc(pair, func(s *Sound) bool { return len(s.volts) == 2 })
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
