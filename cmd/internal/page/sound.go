package page

import (
	"cmp"
	"encoding/binary"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
)

// The kinds of message in a stream of sound.
const (
	metaMessage     = 1
	previewMessage  = 2
	exactMessage    = 3
	progressMessage = 4
	answerMessage   = 5
)

// stream is an engine.Listener that writes messages, each with a deadline of its own: who does not
// read is left.
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

// Meta implements engine.Listener.
func (s *stream) Meta(m engine.Meta) error { return s.json(metaMessage, m) }

// Progress implements engine.Listener.
func (s *stream) Progress(p engine.Progress) error { return s.json(progressMessage, p) }

// Preview implements engine.Listener.
func (s *stream) Preview(start int64, samples []byte) error {
	return s.audio(previewMessage, start, samples)
}

// Exact implements engine.Listener.
func (s *stream) Exact(start int64, samples []byte) error {
	return s.audio(exactMessage, start, samples)
}

// audio sends interleaved samples that begin at a frame of the recording.
func (s *stream) audio(kind uint32, start int64, samples []byte) error {
	return s.message(kind, binary.LittleEndian.AppendUint32(nil, uint32(start)), samples)
}

// checkRegion checks a region of a recording.
func checkRegion(r *produce.Recording, ab [2]int64) error {
	if a, b := ab[0], ab[1]; a < 0 || b > r.Frames || b-a < min(leastFrames, r.Frames) || b-a > longest(r) {
		return local.Refuse(http.StatusUnprocessableEntity, "no region from frame %d to %d: the recording has %d, and a region %d to %d", a, b, r.Frames, min(leastFrames, r.Frames), longest(r))
	}
	return nil
}

// listened is a region of a session's recording.
func (n *session) listened(d document, ab [2]int64) engine.Region {
	return engine.Region{Owner: n.id, Recording: d.Dry, Own: d.Own(), From: ab[0], To: ab[1]}
}

// render streams the sound of a side: at first a preview from the place that is playing, then the
// exact sound.
func (s *server) render(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string   `json:"session"`
		Side    string   `json:"side"`
		From    int64    `json:"from"`
		Region  [2]int64 `json:"region"`
		Jack    string   `json:"jack"`  // where it is heard; "", or one that the side has not: its end
		Noise   bool     `json:"noise"` // the exact sound alone, with the board's hiss and hum
		Have    []string `json:"have"`  // keys of sounds that the page holds in full
	}
	n, side, err := s.askedOf(r, &q, &q.Session, &q.Side)
	if err != nil {
		return err
	}
	n.mu.Lock()
	if n.streams >= mostStreams {
		n.mu.Unlock()
		return engine.ErrBusy
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
	if err := checkRegion(doc.Dry, q.Region); err != nil {
		return err
	}
	take, other := engine.SpotOf(doc.chain(side), q.Jack), engine.SpotOf(doc.chain(1-side), q.Jack)
	take.Noisy, other.Noisy = q.Noise, q.Noise
	if q.Jack != take.Jack && q.Jack != other.Jack {
		return local.Refuse(http.StatusUnprocessableEntity, "%v", take.Chain.Jack(q.Jack))
	}
	out := newStream(w, cmp.Or(s.options.wait, local.WriteWait))
	request := engine.Request{
		Region: n.listened(doc, q.Region), Take: take, Other: other, From: q.From, Heard: []engine.Key{heard[side], heard[1-side]},
		Have: func(key string) bool { return slices.Contains(q.Have, key) },
	}
	if err := s.engine.Play(r.Context(), request, out, func(key engine.Key) {
		n.mu.Lock()
		n.heard[side] = key
		n.mu.Unlock()
	}); err != nil && !out.begun {
		w.Header().Del("Content-Type")
		return err
	}
	return nil
}

const mostFiguring = 2 // figures at work for one session

// figures measures a side on its exact sound.
func (s *server) figures(w http.ResponseWriter, r *http.Request) error {
	return s.measured(w, r, func(l engine.Region, d document, q measuredQuestion) (any, error) {
		return s.engine.Figures(r.Context(), l, d.chain(q.side))
	})
}

// verdict says what side B sounds like against side A, in the words of a comparison.
func (s *server) verdict(w http.ResponseWriter, r *http.Request) error {
	return s.measured(w, r, func(l engine.Region, d document, _ measuredQuestion) (any, error) {
		a, b := d.chain(0), d.chain(1)
		pair, err := s.engine.Verdict(r.Context(), l, a, b)
		said := strings.NewReplacer(strconv.Quote(b.Take), "B", strconv.Quote(a.Take), "A").Replace(pair.Sentence)
		return map[string]any{"heard": pair.Heard, "respects": pair.Respects, "sentence": said}, err
	})
}

// measuredQuestion is what is asked of a side, or of both.
type measuredQuestion struct {
	Session  string   `json:"session"`
	Side     string   `json:"side"`
	Region   [2]int64 `json:"region"`
	Respects []string `json:"respects"` // of a verdict, where its cause is asked for

	side int
}

// measured answers a question about a side, or about both, whose sound is measured.
func (s *server) measured(w http.ResponseWriter, r *http.Request, measure func(l engine.Region, d document, q measuredQuestion) (any, error)) error {
	var q measuredQuestion
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	if q.side, err = sideOf(q.Side); err != nil {
		return err
	}
	n.mu.Lock()
	if n.figuring >= mostFiguring {
		n.mu.Unlock()
		return engine.ErrBusy
	}
	n.figuring++
	doc := n.doc
	n.mu.Unlock()
	defer func() {
		n.mu.Lock()
		n.figuring--
		n.mu.Unlock()
	}()
	if err := checkRegion(doc.Dry, q.Region); err != nil {
		return err
	}
	f, err := measure(n.listened(doc, q.Region), doc, q)
	if err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, f)
	return nil
}
