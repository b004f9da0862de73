package page

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"drywire/chains/board"
	"drywire/chains/edit"
	"drywire/chains/why"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
)

// session is one browser window: its text of the chain file and what its two sides show of it.
type session struct {
	id     string
	server *server

	mu       sync.Mutex
	doc      document
	undo     []step
	redo     []step
	revision int
	// the knob that the last step has turned and that the hand is still on; "" for none
	last string
	base *edit.Text // the file's text that this one began with or was last saved as
	// what of it the window began with: a window shows two takes, so a second one may have been
	// added
	opened []byte
	disk   string // same, changed or gone, as this window sees it
	moved  [2][]string
	heard  [2]engine.Key // what was last heard of each side
	sides  [2]*Side      // as they were sent last
	tests  map[string]*listening

	draft      string // the file beside the chain file that holds what is not saved; "" for none
	draftFault string // why that could not be written

	windows  map[chan event]bool // its event streams
	left     time.Time           // when the last of them went
	streams  int                 // of sound, at the moment
	figuring int                 // figures at work
	asking   int                 // complaints that are at work or wait for it
	ask      chan struct{}       // held by the one at work
	fixes    []why.Fix           // that the last one was answered with
	about    string              // the take that it was about
}

// document is a project, and the takes that the sides A and B show. It is never changed, only
// replaced.
type document struct {
	*produce.Project
	takes [2]string
}

// step is a document that can be had back: what it is made of alone, since there are many.
type step struct {
	text  []byte
	takes [2]string
	then  string // what was changed in it next, in words
}

func (d document) step(then string) step { return step{d.Text.Source, d.takes, then} }

// letters is the names of the sides.
var letters = [2]string{"A", "B"}

func sideOf(letter string) (int, error) {
	if k := slices.Index(letters[:], letter); k >= 0 {
		return k, nil
	}
	return 0, local.Refuse(http.StatusBadRequest, "no side %q; a side is A or B", letter)
}

// parsed makes a document of a text.
func (s *server) parsed(ctx context.Context, source []byte, takes [2]string) (document, error) {
	text, err := edit.ReadWith(s.name, source, s.decks)
	if err != nil {
		return document{}, err
	}
	p, err := s.loader.Load(ctx, text, true)
	if err != nil {
		return document{}, err
	}
	d := document{p, takes}
	return d, s.afford(d)
}

// afford is an error where what a side shows asks for more than is done unasked.
func (s *server) afford(d document) error {
	for side := range letters {
		if s.options.Long {
			return nil
		}
		t := d.chain(side)
		if err := t.Estimate().Over(); err != nil {
			return local.Refuse(http.StatusUnprocessableEntity, "take %q: %v", t.Take, err)
		}
	}
	return nil
}

// with is the document with another text.
func (d document) with(ctx context.Context, text *edit.Text, takes [2]string) (document, error) {
	p, err := d.Edited(ctx, text)
	return document{p, takes}, err
}

// first is the document that a window begins with, and the text of the file: the first two takes of
// the file, or its only one and a copy of it; of a lesson's board, the take to begin with first.
func (s *server) first(ctx context.Context, source []byte) (d document, base *edit.Text, err error) {
	if d, err = s.parsed(ctx, source, [2]string{}); err != nil {
		return d, nil, err
	}
	base = d.Text
	d.takes = [2]string{d.Takes[0].Name, d.Takes[0].Name}
	if len(d.Takes) > 1 {
		d.takes[1] = d.Takes[1].Name
		if l := s.options.Lesson; l != nil && l.Take != "" && l.Take != d.takes[0] {
			d.takes = [2]string{l.Take, d.takes[0]}
		}
		return d, base, nil
	}
	t := d.Takes[0]
	t.Name = unique(d.File, "B")
	with, err := base.AddTake(d.takes[0], t)
	if err != nil {
		return d, base, nil // then both sides show the one take until one of them is edited
	}
	d, err = d.with(ctx, with, [2]string{d.takes[0], t.Name})
	return d, base, err
}

// unique is a name that no take of the file has.
func unique(f *board.File, name string) string {
	taken := func(n string) bool {
		return slices.ContainsFunc(f.Takes, func(t board.Take) bool { return t.Name == n })
	}
	for k, n := 2, name; ; k++ {
		if !taken(n) {
			return n
		}
		n = fmt.Sprintf("%s %d", name, k)
	}
}

// take is what a side shows, as the file has it.
func (d document) take(side int) board.Take {
	for _, t := range d.Takes {
		if t.Name == d.takes[side] {
			return t
		}
	}
	return d.Takes[0]
}

// chain is what a side shows, resolved.
func (d document) chain(side int) *produce.Take {
	t, err := d.Resolved(d.take(side).Name)
	if err != nil {
		panic(err) // its name is the file's
	}
	return t
}

func newID() string {
	var b [12]byte
	rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// open begins a session.
func (s *server) open(w http.ResponseWriter, r *http.Request) error {
	if err := local.Question(r, &struct{}{}); err != nil {
		return err
	}
	text, err := s.readFile()
	if err != nil {
		return local.Refuse(http.StatusConflict, "%v", err)
	}
	d, base, err := s.first(r.Context(), text)
	if err != nil {
		return err
	}
	n := &session{id: newID(), server: s, doc: d, base: base, opened: d.Text.Source, disk: diskSame, left: s.now(), windows: map[chan event]bool{}, tests: map[string]*listening{}, ask: make(chan struct{}, 1)}
	s.mu.Lock()
	if len(s.sessions) >= mostSessions {
		s.mu.Unlock()
		return local.Refuse(http.StatusTooManyRequests, "%d windows are open, and there are to be no more; close one of them", mostSessions)
	}
	s.sessions[n.id] = n
	s.mu.Unlock()
	left := s.left(text)
	n.mu.Lock()
	defer n.mu.Unlock()
	state, err := n.state()
	if err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, map[string]any{"session": n.id, "state": state, "drafts": left})
	return nil
}

// asked reads a request's JSON into q, and finds the session that it names there.
func (s *server) asked(r *http.Request, q any, id *string) (*session, error) {
	if err := local.Question(r, q); err != nil {
		return nil, err
	}
	return s.session(*id)
}

// askedOf is asked, and which side it is about.
func (s *server) askedOf(r *http.Request, q any, id, letter *string) (n *session, side int, err error) {
	if n, err = s.asked(r, q, id); err != nil {
		return nil, 0, err
	}
	side, err = sideOf(*letter)
	return n, side, err
}

// session finds a session.
func (s *server) session(id string) (*session, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := s.sessions[id]; n != nil {
		return n, nil
	}
	return nil, local.Refuse(http.StatusNotFound, "no such session: it has ended; load the page anew")
}

// sweep drops sessions that nobody looks at any more.
func (s *server) sweep(ctx context.Context) {
	for tick := time.NewTicker(5 * time.Second); ; {
		select {
		case <-ctx.Done():
			tick.Stop()
			return
		case <-tick.C:
			s.dropAbandoned()
		}
	}
}

func (s *server) dropAbandoned() {
	for _, n := range s.all() {
		n.mu.Lock()
		gone := len(n.windows) == 0 && n.streams == 0 && s.now().Sub(n.left) >= abandoned
		n.mu.Unlock()
		if gone {
			s.mu.Lock()
			delete(s.sessions, n.id)
			s.mu.Unlock()
			s.engine.Leave(n.id)
		}
	}
}

// all is every session. Whoever holds a session's lock may take the server's, and not the other way
// round.
func (s *server) all() []*session {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Collect(maps.Values(s.sessions))
}

// operation is one change that a hand makes.
type operation struct {
	Do     string       `json:"do"`
	Order  []orderEntry `json:"order"`
	Block  string       `json:"block"`
	On     bool         `json:"on"`
	Number int          `json:"number"`
	Target string       `json:"target"`
	Value  string       `json:"value"`
	More   bool         `json:"more"` // the hand is still on the knob
	Name   string       `json:"name"`
	Kind   string       `json:"kind"`

	Brought brought `json:"brought"`
}

// brought is what is asked about a recording of a player's own: its file beside the chain file, how
// loud its loudest moment is at the guitar's jack, and what the guitar was plugged into.
type brought struct {
	File  string  `json:"file"`
	Peak  float64 `json:"peak"`  // V
	Input float64 `json:"input"` // Ω; 0: nothing
	Cable float64 `json:"cable"` // m
}

// orderEntry is a block, a switcher with what is in its loops, or a split.
type orderEntry struct {
	Block string
	In    map[int][]string // of a switcher; nil: as they are
	Split *splitEntry
}

type splitEntry struct {
	Left  []orderEntry `json:"left"`
	Right []orderEntry `json:"right"`
	Mix   string       `json:"mix"`
}

// UnmarshalJSON implements json.Unmarshaler.
func (e *orderEntry) UnmarshalJSON(b []byte) error {
	if bytes.HasPrefix(b, []byte(`"`)) {
		return json.Unmarshal(b, &e.Block)
	}
	var object struct {
		Split *splitEntry         `json:"split"`
		Loops string              `json:"loops"`
		In    map[string][]string `json:"in"`
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&object); err != nil {
		return err
	}
	if (object.Split == nil) == (object.Loops == "") {
		return fmt.Errorf("an entry of an order is a block's name, a split or a switcher's loops")
	}
	e.Split, e.Block = object.Split, object.Loops
	if object.Loops != "" {
		e.In = map[int][]string{}
		for number, names := range object.In {
			n, err := strconv.Atoi(number)
			if err != nil {
				return fmt.Errorf("no loop %q", number)
			}
			e.In[n] = names
		}
	}
	return nil
}

// do makes a change and answers with what came of it.
func (s *server) do(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string `json:"session"`
		Side    string `json:"side"`
		// where it is given, the change is refused if it is not that of the latest state
		Revision *int      `json:"revision"`
		Op       operation `json:"op"`
	}
	n, side, err := s.askedOf(r, &q, &q.Session, &q.Side)
	if err != nil {
		return err
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if q.Revision != nil && *q.Revision != n.revision {
		return local.Refuse(http.StatusConflict, "this was a change to an older state: %d, and it is %d now", *q.Revision, n.revision)
	}
	if err := n.apply(r.Context(), side, q.Op); err != nil {
		return err
	}
	state, err := n.state()
	if err != nil {
		return err
	}
	local.Answer(w, http.StatusOK, state)
	return nil
}

// apply makes a change, as one step that can be undone. A change that is refused leaves all as it
// was.
func (n *session) apply(ctx context.Context, side int, op operation) error {
	before := n.doc
	switch op.Do {
	case "undo":
		return n.goBack(ctx, 1)
	case "back":
		return n.goBack(ctx, op.Number)
	case "redo":
		return n.goOn(ctx)
	}
	d, err := n.edited(ctx, side, op)
	if err == nil {
		err = n.server.afford(d)
	}
	if err != nil {
		return err
	}
	knob := ""
	if op.Do == "knob" && op.More {
		knob = letters[side] + " " + op.Target
	}
	switch {
	case bytes.Equal(d.Text.Source, before.Text.Source) && d.takes == before.takes:
		n.last = knob
		return nil // nothing has changed, so there is nothing to undo
	case n.last != "" && n.last == letters[side]+" "+op.Target && op.Do == "knob":
		n.undo[len(n.undo)-1].then = op.words(letters[side]) // still the same turn
	default:
		n.undo = append(n.undo, before.step(op.words(letters[side])))
		kept := 0
		for _, s := range n.undo {
			kept += len(s.text)
		}
		for len(n.undo) > mostUndo || kept > mostKept && len(n.undo) > 1 {
			kept -= len(n.undo[0].text)
			n.undo = slices.Delete(n.undo, 0, 1)
		}
	}
	n.last, n.redo, n.doc = knob, nil, d
	n.changed(before)
	return nil
}

// goBack takes back the last changes, so many of them.
func (n *session) goBack(ctx context.Context, changes int) error {
	at := len(n.undo) - changes
	if changes < 1 || at < 0 {
		return local.Refuse(http.StatusUnprocessableEntity, "there is nothing to undo")
	}
	before := n.doc
	d, err := n.back(ctx, n.undo[at])
	if err != nil {
		return err
	}
	// a step names the change that follows it; one to redo names the change that leads to it
	now := before.step("")
	for k := len(n.undo) - 1; k >= at; k-- {
		now.then = n.undo[k].then
		n.redo = append(n.redo, now)
		now = n.undo[k]
	}
	n.undo, n.doc, n.last = n.undo[:at], d, ""
	n.changed(before)
	return nil
}

// goOn makes the change again that was taken back last.
func (n *session) goOn(ctx context.Context) error {
	if len(n.redo) == 0 {
		return local.Refuse(http.StatusUnprocessableEntity, "there is nothing to redo")
	}
	before, last := n.doc, n.redo[len(n.redo)-1]
	d, err := n.back(ctx, last)
	if err != nil {
		return err
	}
	n.undo = append(n.undo, before.step(last.then))
	n.redo = n.redo[:len(n.redo)-1]
	n.doc, n.last = d, ""
	n.changed(before)
	return nil
}

// words is what a change does to a side, for the list of changes.
func (op operation) words(side string) string {
	switch op.Do {
	case "take":
		return fmt.Sprintf("%s: take “%s”", side, op.Name)
	case "copy":
		return side + ": made like the other side"
	case "add":
		return "a new " + op.Kind
	case "fix":
		return fmt.Sprintf("%s: a proposed change", side)
	case "order":
		return side + ": another order"
	case "bypass":
		if op.On {
			return side + ": " + op.Block + " out"
		}
		return side + ": " + op.Block + " in"
	case "loop":
		return fmt.Sprintf("%s: loop %d", side, op.Number)
	case "recording":
		return "the recording " + op.Brought.File
	case "knob":
		return fmt.Sprintf("%s: %s at %s", side, op.Target, op.Value)
	case "preset":
		return fmt.Sprintf("%s: preset %s", side, op.Name)
	case "guitar":
		return fmt.Sprintf("%s: guitar %s", side, cmp.Or(op.Name, "of the file"))
	}
	return side + ": " + op.Do
}

// back is the document of a step.
func (n *session) back(ctx context.Context, s step) (document, error) {
	if bytes.Equal(s.text, n.doc.Text.Source) {
		return document{n.doc.Project, s.takes}, nil
	}
	text, err := edit.ReadWith(n.server.name, s.text, n.server.decks)
	if err != nil {
		return document{}, err
	}
	return n.doc.with(ctx, text, s.takes)
}

// edited is the document after a change other than undo and redo.
func (n *session) edited(ctx context.Context, side int, op operation) (document, error) {
	d := n.doc
	t := d.take(side)
	switch op.Do {
	case "take":
		if _, err := d.Take(op.Name); err != nil {
			return d, err
		}
		d.takes[side] = op.Name
		return d, nil
	case "copy":
		d.takes[side] = d.takes[1-side]
		return d, nil
	case "add":
		text, err := d.Text.AddBlock(op.Name, op.Kind)
		if err != nil {
			return d, err
		}
		return d.with(ctx, text, d.takes)
	case "fix":
		return n.withFix(ctx, op.Number, op.Name)
	case "recording":
		b := op.Brought
		load := &board.Load{Resistance: dsp.Ohm(b.Input), Cable: dsp.Metre(b.Cable)}
		if b.Input == 0 {
			load = nil
		}
		text, err := d.Text.SetRecording(b.File, dsp.Volt(b.Peak), load)
		if err != nil {
			return d, err
		}
		return d.with(ctx, text, d.takes)
	case "order":
		var err error
		if t, err = reordered(d.File, t, op.Order); err != nil {
			return d, err
		}
	case "bypass":
		t = d.File.Switched(t, op.Block, op.On)
	case "loop":
		if slices.ContainsFunc(d.LoopsOf(t), func(l board.Loop) bool { return l.Insert && l.Number == op.Number }) {
			return d, local.Refuse(http.StatusUnprocessableEntity, "loop %d is the insert, which is always in", op.Number)
		}
		toggle := slices.DeleteFunc(slices.Clone(t.Toggle), func(k int) bool { return k == op.Number })
		if len(toggle) == len(t.Toggle) {
			toggle = append(toggle, op.Number)
			slices.Sort(toggle)
		}
		t.Toggle = toggle
		t = d.Fitted(t)
	case "knob":
		t.Set = slices.Clone(t.Set)
		at := slices.IndexFunc(t.Set, func(s board.Setting) bool { return s.Target == op.Target })
		if at < 0 {
			t.Set = append(t.Set, board.Setting{Target: op.Target, Text: op.Value})
		} else {
			t.Set[at] = board.Setting{Target: op.Target, Text: op.Value}
		}
	case "preset":
		t = t.OnlyOn(op.Name)
		t = d.Fitted(t)
	case "guitar":
		if t.Guitar = op.Name; op.Name == "" && d.File.Preset(t.Preset) != nil && d.File.Preset(t.Preset).Guitar != "" {
			t.Guitar = board.OwnGuitar // or it would be the preset's
		}
	default:
		return d, local.Refuse(http.StatusBadRequest, "no operation %q", op.Do)
	}
	text, takes := d.Text, d.takes
	var err error
	if takes[0] != takes[1] {
		text, err = text.SetTake(t.Name, t)
	} else { // the side gets a take of its own
		before := t.Name
		t.Name = unique(d.File, strings.TrimSuffix(before, ", changed")+", changed")
		takes[side] = t.Name
		text, err = text.AddTake(before, t)
	}
	if err != nil {
		return d, err
	}
	return d.with(ctx, text, takes)
}

// changed is called after the document was replaced.
func (n *session) changed(before document) {
	n.revision++
	n.server.drafts.want(n)
	for side := range letters {
		if n.sides[side] != nil && before.Project != nil {
			n.moved[side] = sentences(before.chain(side), n.doc.chain(side))
		}
	}
}

func (n *session) dirty() bool { return !bytes.Equal(n.doc.Text.Source, n.opened) }
