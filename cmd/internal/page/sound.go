package page

import (
	"cmp"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"time"

	"drywire/chains/board"
	"drywire/dsp"
)

// The kinds of message in a stream of sound.
const (
	metaMessage     = 1
	previewMessage  = 2
	exactMessage    = 3
	progressMessage = 4
)

// meta is what a player must know of the volts that it gets.
type meta struct {
	Key       string   `json:"key"`
	Layer     string   `json:"layer"` // preview or exact
	Channels  int      `json:"channels"`
	Rate      int      `json:"rate"`
	Gain      float64  `json:"gain"`      // matched in loudness with the other side
	TrueGain  float64  `json:"true_gain"` // common to both sides
	MatchDB   float64  `json:"match_db"`  // by how much the one is over the other
	Loudness  *float64 `json:"loudness"`  // LUFS with gain; null while it is not known
	Speed     *float64 `json:"speed"`     // seconds of sound rendered in a second; null where nothing was
	Quality   string   `json:"quality"`
	Estimated bool     `json:"estimated"` // the gains are not yet those of the exact sound
	Done      bool     `json:"done"`
}

type progress struct {
	Progress float64  `json:"progress"`
	Speed    *float64 `json:"speed"`
	Note     string   `json:"note"`
}

// stream writes messages, each with a deadline of its own: who does not read is left.
type stream struct {
	w     http.ResponseWriter
	rc    *http.ResponseController
	wait  time.Duration // for who does not read
	begun bool          // from then on there is no other answer
}

func newStream(w http.ResponseWriter, wait time.Duration) *stream {
	w.Header().Set("Content-Type", "application/octet-stream")
	return &stream{w: w, rc: http.NewResponseController(w), wait: wait}
}

func (s *stream) message(kind uint32, parts ...[]byte) error {
	s.rc.SetWriteDeadline(time.Now().Add(s.wait))
	s.begun = true
	n := 0
	for _, p := range parts {
		n += len(p)
	}
	head := binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, kind), uint32(n))
	for _, p := range append([][]byte{head}, parts...) {
		if _, err := s.w.Write(p); err != nil {
			return err
		}
	}
	return s.rc.Flush()
}

func (s *stream) json(kind uint32, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return s.message(kind, b)
}

// audio sends interleaved samples that begin at a frame of the recording.
func (s *stream) audio(kind uint32, start int64, samples []byte) error {
	return s.message(kind, binary.LittleEndian.AppendUint32(nil, uint32(start)), samples)
}

// rendering is one request for sound.
type rendering struct {
	ctx    context.Context
	server *server
	out    *stream
	loop   *loop
	chain  *board.Chain
	other  *board.Chain // of the other side
	a, n   int64        // the region: its first frame and its length
	from   int64        // where the sound begins, in the region
	sound  soundKey
	key    string   // for the page
	heard  []*sound // what the tails of the preview come from, the best first
	begun  time.Time
	meta   meta
}

// region checks a region of a recording.
func (r *recording) region(ab [2]int64) error {
	if a, b := ab[0], ab[1]; a < 0 || b > r.frames || b-a < min(leastFrames, r.frames) || b-a > r.longest() {
		return refuse(http.StatusUnprocessableEntity, "no region from frame %d to %d: the recording has %d, and a region %d to %d", a, b, r.frames, min(leastFrames, r.frames), r.longest())
	}
	return nil
}

// render streams the sound of a side: at first a preview from the place that is playing, then the exact sound.
func (s *server) render(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string   `json:"session"`
		Side    string   `json:"side"`
		From    int64    `json:"from"`
		Region  [2]int64 `json:"region"`
		Have    []string `json:"have"` // keys of sounds that the page holds in full
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	side, err := sideOf(q.Side)
	if err != nil {
		return err
	}
	n.mu.Lock()
	if n.streams >= mostStreams {
		n.mu.Unlock()
		return errBusy
	}
	n.streams++
	doc, heard := n.doc, n.heard
	n.mu.Unlock()
	defer func() {
		n.mu.Lock()
		n.streams--
		n.left = s.now()
		n.mu.Unlock()
	}()
	if err := doc.recording.region(q.Region); err != nil {
		return err
	}
	l, err := s.engine.loop(r.Context(), doc.recording, q.Region[0], q.Region[1])
	if err != nil {
		return err
	}
	p := &rendering{
		ctx: r.Context(), server: s, out: newStream(w, cmp.Or(s.options.wait, writeWait)), loop: l, chain: doc.chain(side), other: doc.chain(1 - side),
		a: q.Region[0], n: q.Region[1] - q.Region[0], begun: time.Now(),
	}
	p.from = min(max(q.From-p.a, 0), p.n) % p.n
	p.sound = keyOf(l, p.chain)
	p.key = p.sound.short()
	for _, k := range []soundKey{heard[side], heard[1-side]} {
		if k.loop == l.key {
			if h := s.engine.known(k); h != nil {
				p.heard = append(p.heard, h)
			}
		}
	}
	p.meta = meta{Key: p.key, Channels: len(p.chain.Ends()), Rate: int(l.rate)}
	finish := func(sound *sound) {
		n.mu.Lock()
		n.heard[side] = sound.key
		n.mu.Unlock()
	}
	if err := p.run(r.Context(), slices.Contains(q.Have, p.key), finish); err != nil && !p.out.begun {
		w.Header().Del("Content-Type")
		return err
	}
	return nil
}

// run sends all there is to send. An error before the first message is the answer; after it, the stream just ends.
func (p *rendering) run(ctx context.Context, have bool, heard func(*sound)) error {
	e := p.server.engine
	var work *sound
	leave := func() {}
	defer func() { leave() }()
	begin := func() {
		if work == nil {
			work, leave = e.begin(p.loop, p.chain)
		}
	}
	if e.known(p.sound) == nil {
		if err := p.preview(ctx, func() *sound { begin(); return work }); err != nil {
			return err
		}
	}
	begin()
	if err := p.await(ctx, work); err != nil {
		return err
	}
	if work.err != nil {
		p.out.json(progressMessage, progress{1, p.meta.Speed, "the exact sound cannot be had: " + work.err.Error()})
		p.meta.Done = true
		return p.out.json(metaMessage, p.meta)
	}
	heard(work)

	p.meta.Layer, p.meta.Quality = "exact", work.wiring.Quality.Name
	if work.speed > 0 && p.meta.Speed == nil {
		p.meta.Speed = &work.speed
	}
	other := e.known(keyOf(p.loop, p.other))
	if err := p.settle(ctx, work, other); err != nil {
		return err
	}
	p.meta.Estimated = other == nil
	if err := p.out.json(metaMessage, p.meta); err != nil {
		return err
	}
	if !have {
		if err := p.exact(ctx, work); err != nil {
			return err
		}
	}
	if other == nil {
		begun, leaveOther := e.begin(p.loop, p.other)
		defer leaveOther()
		if err := p.await(ctx, begun); err != nil {
			return err
		}
		if begun.err == nil {
			if err := p.settle(ctx, work, begun); err != nil {
				return err
			}
		}
		p.meta.Estimated = false
	}
	p.meta.Done = true
	return p.out.json(metaMessage, p.meta)
}

// settle puts the gains of the exact sound into meta.
func (p *rendering) settle(ctx context.Context, s, other *sound) error {
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

func (m *meta) gains(matched, common float64) {
	m.Gain, m.TrueGain, m.MatchDB = matched, common, dsp.ToDB(matched/common)
}

// tellEvery is how often a listener who waits is told how far it is.
const tellEvery = 250 * time.Millisecond

// await waits until a sound is ready.
func (p *rendering) await(ctx context.Context, s *sound) error {
	tick := time.NewTicker(tellEvery)
	defer tick.Stop()
	steps := float64(len(s.wiring.Sections) + len(s.wiring.Stages) + 1)
	before := s.memo.Computed()
	for {
		select {
		case <-s.ready:
			if errors.Is(s.err, errBusy) {
				return s.err
			}
			return nil
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
			done := min(0.99, float64(s.memo.Computed()-before)/steps)
			note := "rendering the exact sound"
			if p.meta.Speed != nil && *p.meta.Speed < 1 {
				note = fmt.Sprintf("this chain renders at %.1f times real time: what is rendered plays, and the rest is filled in", *p.meta.Speed)
			}
			if err := p.out.json(progressMessage, progress{done, p.meta.Speed, note}); err != nil {
				return err
			}
		}
	}
}

// exact sends the exact sound once round, beginning a little in front of where the player will be.
func (p *rendering) exact(ctx context.Context, s *sound) error {
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
		if err := p.out.audio(exactMessage, p.a+at, samples); err != nil {
			return err
		}
		left -= n
		at = (at + n) % p.n
	}
	return nil
}
