package page

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/why"
	"drywire/cmd/internal/engine"
)

// ComplaintOf is what a player may say of a sound, for a page to offer.
type ComplaintOf struct {
	Word string `json:"word"`
	Says string `json:"says"`
}

// complaints is all of them.
func complaints() []ComplaintOf {
	list := make([]ComplaintOf, len(why.Complaints))
	for k, c := range why.Complaints {
		list[k] = ComplaintOf{c.Word, c.Says}
	}
	return list
}

// because says why side B sounds other than side A, by what they differ in.
func (s *server) because(w http.ResponseWriter, r *http.Request) error {
	return s.measured(w, r, func(l engine.Region, d document, q measuredQuestion) (any, error) {
		return s.engine.Because(r.Context(), l, d.File, d.take(0), d.take(1), q.Respects)
	})
}

// why streams how far the search for what causes a complaint has come, and in the end its answer,
// as {"answer": …} or {"error": "…"}. Who goes away ends it.
func (s *server) why(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session   string   `json:"session"`
		Side      string   `json:"side"`
		Region    [2]int64 `json:"region"`
		Complaint string   `json:"complaint"`
	}
	n, err := s.asked(r, &q, &q.Session)
	if err != nil {
		return err
	}
	side, err := sideOf(q.Side)
	if err != nil {
		return err
	}
	c := why.Find(q.Complaint)
	if c == nil {
		return refuse(http.StatusBadRequest, "no complaint %q (there are: %s)", q.Complaint, strings.Join(why.Words(), ", "))
	}
	n.mu.Lock()
	if n.asking >= mostFiguring {
		n.mu.Unlock()
		return engine.ErrBusy
	}
	n.asking++
	doc := n.doc
	n.mu.Unlock()
	defer func() {
		n.mu.Lock()
		n.asking--
		n.mu.Unlock()
	}()
	select { // one that was given up takes a moment to end
	case n.ask <- struct{}{}:
		defer func() { <-n.ask }()
	case <-r.Context().Done():
		return r.Context().Err()
	}
	if err := checkRegion(doc.Dry, q.Region); err != nil {
		return err
	}
	out := newStream(w, cmp.Or(s.options.wait, writeWait))
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	take := doc.take(side).Name
	a, err := s.engine.Why(ctx, n.listened(doc, q.Region), doc.File, take, c, func(done, total int) {
		if out.json(progressMessage, map[string]int{"done": done, "total": total}) != nil {
			cancel()
		}
	})
	if err != nil {
		if !out.begun {
			w.Header().Del("Content-Type")
			return err
		}
		return out.json(answerMessage, map[string]string{"error": err.Error()})
	}
	n.mu.Lock()
	n.fixes, n.about = a.Fixes, take
	n.mu.Unlock()
	return out.json(answerMessage, map[string]any{"answer": a, "value": c.Text(a.Value.Value), "texts": fixTexts(c, a)})
}

// fixTexts is what each fix comes to, with its unit.
func fixTexts(c *why.Complaint, a *why.Answer) []string {
	texts := make([]string, len(a.Fixes))
	for k, f := range a.Fixes {
		if texts[k] = "nothing of it is left"; f.Value.OK() {
			texts[k] = c.Text(f.Value.Value)
		}
	}
	return texts
}

// withFix is the document with what was complained of on side A, and what mends it on side B, as a
// take of its own. The lock is held. The text tells an answer from one that came later.
func (n *session) withFix(ctx context.Context, number int, text string) (document, error) {
	d := n.doc
	if number < 0 || number >= len(n.fixes) || n.fixes[number].Text != text {
		return d, refuse(http.StatusConflict, "that answer is out of date; ask again")
	}
	if _, err := d.Take(n.about); err != nil {
		return d, err
	}
	fix, source := n.fixes[number], d.Text
	var err error
	if fix.Needs != "" && !slices.ContainsFunc(d.Blocks, func(b board.Block) bool { return b.Name == why.NewBuffer }) {
		if source, err = source.AddBlock(why.NewBuffer, "buffer"); err != nil {
			return d, err
		}
	}
	t := fix.Take
	t.Name = unique(d.File, t.Name)
	if source, err = source.AddTake(n.about, t); err != nil {
		return d, err
	}
	return d.with(ctx, source, [2]string{n.about, t.Name})
}
