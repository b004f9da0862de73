package engine

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

// Meta is what a player must know of the volts that it gets.
type Meta struct {
	Key      string   `json:"key"`
	Layer    string   `json:"layer"` // preview or exact
	Jack     string   `json:"jack"`  // where it is heard; "" at the end
	Channels int      `json:"channels"`
	Rate     int      `json:"rate"`
	Gain     float64  `json:"gain"`      // matched in loudness with the other side
	TrueGain float64  `json:"true_gain"` // common to both sides
	MatchDB  float64  `json:"match_db"`  // by how much the one is over the other
	Loudness *float64 `json:"loudness"`  // LUFS with gain; null while it is not known
	// seconds of sound rendered in a second; null where nothing was
	Speed     *float64 `json:"speed"`
	Quality   string   `json:"quality"`
	Estimated bool     `json:"estimated"` // the gains are not yet those of the exact sound
	Done      bool     `json:"done"`
}

// Progress is how far the exact sound is.
type Progress struct {
	Progress float64  `json:"progress"`
	Speed    *float64 `json:"speed"`
	Note     string   `json:"note"`
}

// Listener is who a sound is sent to. An error of it ends the sound.
type Listener interface {
	Meta(Meta) error
	Progress(Progress) error
	// Preview and Exact get interleaved samples in volts, of 32 bits, little-endian, that begin at
	// a frame of the recording.
	Preview(start int64, samples []byte) error
	Exact(start int64, samples []byte) error
}

// Request is one request for sound.
type Request struct {
	Region Region
	// of the side that is played, and of the other one, to which it is matched
	Take, Other Spot
	From        int64 // frame of the recording from which on it is wanted
	// what was heard before, the best first: the tails of the preview come from there
	Heard []Key
	Have  func(key string) bool
}

// playing is a request under way.
type playing struct {
	ctx         context.Context
	engine      *Engine
	out         Listener
	loop        *Loop
	otherLoop   *Loop
	take, other Spot
	a, n        int64    // the region: its first frame and its length
	from        int64    // where the sound begins, in the region
	heard       []*Sound // what the tails of the preview come from, the best first
	begun       time.Time
	meta        Meta
}

// Play sends the sound of a take: at first a preview from the place that is playing, then the exact
// sound. heard is called once that is on its way. An error before the first message to the listener
// says why there is no sound.
func (e *Engine) Play(ctx context.Context, r Request, out Listener, heard func(Key)) error {
	begun := time.Now()
	var known []*Sound
	for _, k := range r.Heard {
		if k.loop == keyOfLoop(r.Region.all()[r.Take.RecordingOf], r.Region.From, r.Region.To) {
			if h := e.Known(k); h != nil {
				known = append(known, h)
			}
		}
	}
	all, leave, err := e.enter(ctx, r.Region, listening{spots: []Spot{r.Take, r.Other, r.Take.plain(), r.Other.plain()}, heard: known})
	if err != nil {
		return err
	}
	defer leave()
	l := all.of(r.Take.Take)
	p := &playing{ctx: ctx, engine: e, out: out, loop: l, otherLoop: all.of(r.Other.Take), take: r.Take, other: r.Other, heard: known, a: l.a, n: l.b - l.a, begun: begun}
	p.from = min(max(r.From-p.a, 0), p.n) % p.n
	key := e.wired(l, r.Take).key
	p.meta = Meta{Key: key.Short(), Jack: r.Take.Jack, Channels: len(r.Take.ears()), Rate: int(l.rate)}
	return p.run(ctx, key, r.Have(p.meta.Key), heard)
}

// run sends all there is to send.
func (p *playing) run(ctx context.Context, key Key, have bool, heard func(Key)) error {
	e := p.engine
	var w *work
	leave := func() {}
	defer func() { leave() }()
	begin := func() {
		if w == nil {
			w, leave = e.begin(p.loop, p.take)
		}
	}
	if e.Known(key) == nil && !p.take.Noisy { // noise joins what plays already
		if err := p.preview(ctx, func() *work { begin(); return w }); err != nil {
			return err
		}
	}
	begin()
	if err := p.await(ctx, w); err != nil {
		return err
	}
	if w.err != nil {
		p.out.Progress(Progress{1, p.meta.Speed, "the exact sound cannot be had: " + w.err.Error()})
		p.meta.Done = true
		return p.out.Meta(p.meta)
	}
	heard(key)

	p.meta.Layer, p.meta.Quality = "exact", produce.Quality.Name
	if w.speed > 0 && p.meta.Speed == nil {
		p.meta.Speed = &w.speed
	}
	other := e.Known(e.wired(p.otherLoop, p.other).key)
	if err := p.settle(ctx, w.Sound, other); err != nil {
		return err
	}
	p.meta.Estimated = other == nil
	if err := p.out.Meta(p.meta); err != nil {
		return err
	}
	if !have {
		if err := p.exact(ctx, w.Sound); err != nil {
			return err
		}
	}
	if other == nil {
		begun, leaveOther := e.begin(p.otherLoop, p.other)
		defer leaveOther()
		if err := p.await(ctx, begun); err != nil {
			return err
		}
		if begun.err == nil {
			if err := p.settle(ctx, w.Sound, begun.Sound); err != nil {
				return err
			}
		}
		p.meta.Estimated = false
	}
	p.meta.Done = true
	return p.out.Meta(p.meta)
}

// settle puts the gains of the exact sound into meta.
func (p *playing) settle(ctx context.Context, s, other *Sound) error {
	matched, common, loudness, err := gains(ctx, s, other)
	if err != nil {
		return err
	}
	p.meta.gains(matched, common)
	p.meta.Loudness = nil
	if !math.IsInf(loudness, 0) {
		p.meta.Loudness = &loudness
	}
	return nil
}

func (m *Meta) gains(matched, common float64) {
	m.Gain, m.TrueGain, m.MatchDB = matched, common, dsp.ToDB(matched/common)
}

// tellEvery is the interval of progress messages to a listener who waits.
const tellEvery = 250 * time.Millisecond

// await waits until a sound is ready.
func (p *playing) await(ctx context.Context, w *work) error {
	select {
	case <-w.ready: // at once
		return busy(w.err)
	default:
	}
	tick := time.NewTicker(tellEvery)
	defer tick.Stop()
	for {
		select {
		case <-w.ready:
			return busy(w.err)
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
			note := "rendering the exact sound"
			if p.meta.Speed != nil && *p.meta.Speed < 1 {
				note = fmt.Sprintf("this chain renders at %.1f times real time: what is rendered plays, and the rest is filled in", *p.meta.Speed)
			}
			if err := p.out.Progress(Progress{w.done(), p.meta.Speed, note}); err != nil {
				return err
			}
		}
	}
}

// busy is the error where it says that there are too many.
func busy(err error) error {
	if errors.Is(err, ErrBusy) {
		return err
	}
	return nil
}

// exact sends the exact sound once round, beginning a little in front of where the player will be.
func (p *playing) exact(ctx context.Context, s *Sound) error {
	const ahead, piece = 0.25, 16384 // s, frames
	at := p.from
	if p.meta.Speed != nil || time.Since(p.begun) > time.Second {
		at += int64((time.Since(p.begun).Seconds() + ahead) * float64(p.loop.rate))
	}
	at %= p.n
	samples := make([]byte, 0, piece*4*len(s.volts))
	for left := p.n; left > 0; {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := min(left, piece, p.n-at)
		samples = samples[:0]
		for k := at; k < at+n; k++ {
			for _, x := range s.volts {
				samples = binary.LittleEndian.AppendUint32(samples, math.Float32bits(x[k]))
			}
		}
		if err := p.out.Exact(p.a+at, samples); err != nil {
			return err
		}
		left -= n
		at = (at + n) % p.n
	}
	return nil
}
