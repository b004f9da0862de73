package engine

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"time"

	"drywire/chains/render"
	"drywire/dsp/section"
)

// A preview is rendered from the playing position on, so that a change is heard at once. It begins
// a little earlier, with the chain at rest, so that coupling capacitors have charged when it is
// heard; echoes and reverbs have in them what the sound before the change had put there, so that
// tails survive. It is in draft quality unless this machine is fast enough for more.
const (
	settleCost = 0.06 // s of work that may be spent on what comes before the first sound
	// likewise where nothing is known of what was fed to echoes and reverbs: then it is played to
	// them
	fillCost     = 0.12
	leastSettled = 0.15 // s of sound
	mostSettled  = 0.5
	mostFilled   = 3.0
	handover     = 30e-3 // s: crossfade from what a stage was fed to what is rendered
	firstPiece   = 2048  // frames of the first message
	nextPiece    = 6144
	// times real time in normal quality, from which on a preview is in normal quality
	fineSpeed  = 6.0
	mostAhead  = 10.0 // s by which a preview is in front of the player
	usualSpeed = 5.0  // what is assumed of a draft before anything was measured
)

var errEnough = errors.New("enough of a preview")

// preview sends the loop once round, or as much of it as there is before the exact sound is ready;
// begun begins that, and is called after the first piece.
func (p *playing) preview(ctx context.Context, begun func() *work) error {
	e := p.engine
	t := turns{ctx: ctx, queue: e.queue}
	defer t.end()
	if err := t.begin(); err != nil {
		return err
	}
	quality, speed := e.previewQuality()
	rate := float64(p.loop.rate)
	fade := int(handover * rate)
	settled := int(rate * min(max(settleCost*speed, leastSettled), mostSettled))
	pasts := p.pasts(render.NewPlan(p.take.Wiring()), settled)
	if pasts == nil && p.take.Tail() > 0 {
		settled = int(rate * min(max(fillCost*speed, leastSettled), mostFilled))
	}
	start := int(p.from) - settled
	r, err := p.loop.plan(p.take.Take, quality, start, settled+int(p.n)+nextPiece).Renderer(p.take.ears()...)
	if err != nil {
		return err
	}
	r.Resume(max(0, settled-2*fade), fade, pasts...)
	src := &around{loop: p.loop, at: start, turn: &t}
	g := p.guess(start, settled)

	skip, piece := settled, firstPiece
	pending := make([]byte, 0, nextPiece*4*p.meta.Channels)
	at, sent := p.from, int64(0)
	p.meta.Layer, p.meta.Quality, p.meta.Estimated = "preview", quality.Name, true
	flush := func() error {
		t.end() // nothing is held while a listener is waited for
		seconds := t.spent.Seconds()
		measured := float64(src.done) / rate / max(seconds, 1e-9)
		p.meta.Speed = &measured
		if g.better(&p.meta) || sent == 0 {
			if err := p.out.Meta(p.meta); err != nil {
				return err
			}
		}
		for len(pending) > 0 && sent < p.n {
			n := min(int64(len(pending)/(4*p.meta.Channels)), p.n-at, p.n-sent)
			bytes := int(n) * 4 * p.meta.Channels
			if err := p.out.Preview(p.a+at, pending[:bytes]); err != nil {
				return err
			}
			pending = append(pending[:0], pending[bytes:]...)
			at = (at + n) % p.n
			sent += n
		}
		piece = nextPiece
		t.urgency = moreSound
		select {
		case <-begun().ready:
			return errEnough
		default:
		}
		if sent >= p.n {
			return errEnough
		}
		return p.pace(ctx, float64(sent)/rate, begun())
	}
	err = r.Run(ctx, src, 0, func(taps [][]float64) error {
		g.push(taps)
		n := len(taps[0])
		drop := min(skip, n)
		skip -= drop
		for k := drop; k < n; k++ {
			for _, x := range taps {
				pending = binary.LittleEndian.AppendUint32(pending, math.Float32bits(float32(x[k])))
			}
			if len(pending) >= piece*4*p.meta.Channels {
				if err := flush(); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if src.done > int(rate/4) {
		e.measured(quality, float64(src.done)/rate/max(t.spent.Seconds(), 1e-9))
	}
	if errors.Is(err, errEnough) {
		return nil
	}
	return err
}

// pace waits while a preview is further in front of the player than it need be, until it is not or
// the exact sound is ready.
func (p *playing) pace(ctx context.Context, sent float64, w *work) error {
	wait := time.Duration((sent-mostAhead)*float64(time.Second)) - time.Since(p.begun)
	if wait <= 0 {
		return nil
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-w.ready:
		return errEnough
	case <-timer.C:
		return nil
	}
}

// pasts is what was fed before to the stages of a preview that begins so many samples in front of
// what is heard; nil where nothing is known of it.
func (p *playing) pasts(w *render.Plan, settled int) []render.Past {
	for _, h := range p.heard {
		at := h.lead + int(p.from) - settled
		if at < 0 {
			at += int(p.n)
		}
		memo := p.engine.known(h.key.loop, h.lead)
		if memo == nil {
			continue
		}
		if pasts := w.PastOf(memo, h.plan, at); len(pasts) > 0 {
			return pasts
		}
	}
	return nil
}

// turns is a rendering's turns at a processor.
type turns struct {
	ctx     context.Context
	queue   *queue
	urgency int
	done    func() // nil while it is not this one's turn
	since   time.Time
	spent   time.Duration
}

func (t *turns) begin() error {
	if t.done != nil {
		return nil
	}
	done, err := t.queue.turn(t.ctx, t.urgency)
	if err != nil {
		return err
	}
	t.done, t.since = done, time.Now()
	return nil
}

func (t *turns) end() {
	if t.done != nil {
		t.done()
		t.done = nil
		t.spent += time.Since(t.since)
	}
}

// around is a wiring.Source that plays a loop round and round. It waits for its turn.
type around struct {
	loop *Loop
	at   int
	turn *turns
	done int // samples read
}

// Read implements wiring.Source.
func (a *around) Read(dst []float64) (int, error) {
	if err := a.turn.begin(); err != nil {
		return 0, err
	}
	a.loop.round(dst, a.at)
	a.at += len(dst)
	a.done += len(dst)
	return len(dst), nil
}

// previewQuality is the quality of the next preview and how many seconds of sound a second is
// likely to give.
func (e *Engine) previewQuality() (section.Quality, float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	draft, normal := e.speeds[0], e.speeds[1]
	if normal == 0 {
		normal = draft / 2 // half the steps
	}
	if normal >= fineSpeed {
		return section.Normal, normal
	}
	if draft == 0 {
		draft = usualSpeed
	}
	return section.Draft, draft
}

// measured records how fast a preview was. Where a normal one was too slow, the next is a draft.
func (e *Engine) measured(q section.Quality, speed float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if q == section.Normal {
		e.speeds[1] = speed
	} else {
		e.speeds[0], e.speeds[1] = speed, 0
	}
}
