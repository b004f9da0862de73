package page

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"drywire/chains/board"
	"drywire/chains/hunt"
	"drywire/chains/sweep"
	"drywire/chains/why"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/local"
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

// longQuestion is one whose answer takes long enough to be told how far it is.
type longQuestion struct {
	Session   string   `json:"session"`
	Side      string   `json:"side"`
	Region    [2]int64 `json:"region"`
	Complaint string   `json:"complaint"`
	Goal      string   `json:"goal"` // without the take, which is the side's
	Block     string   `json:"block"`
	Knob      string   `json:"knob"`

	take string
}

// answered streams how far a long question is, as {"done": 3, "total": 50}, and in the end its
// answer, or {"error": "…"}. Who goes away ends it. A session has one at work at a time.
func (s *server) answered(w http.ResponseWriter, r *http.Request, work func(ctx context.Context, n *session, d document, q longQuestion, tell func(done, total int)) (any, error)) error {
	var q longQuestion
	n, side, err := s.askedOf(r, &q, &q.Session, &q.Side)
	if err != nil {
		return err
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
	out := newStream(w, cmp.Or(s.options.wait, local.WriteWait))
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	q.take = doc.take(side).Name
	a, err := work(ctx, n, doc, q, func(done, total int) {
		if out.json(progressMessage, map[string]int{"done": done, "total": total}) != nil {
			cancel()
		}
	})
	switch {
	case err != nil && !out.begun:
		w.Header().Del("Content-Type")
		return err
	case err != nil:
		return out.json(answerMessage, map[string]string{"error": err.Error()})
	}
	return out.json(answerMessage, a)
}

// why answers a complaint about a side.
func (s *server) why(w http.ResponseWriter, r *http.Request) error {
	return s.answered(w, r, func(ctx context.Context, n *session, d document, q longQuestion, tell func(int, int)) (any, error) {
		c := why.Find(q.Complaint)
		if c == nil {
			return nil, local.Refuse(http.StatusBadRequest, "no complaint %q (there are: %s)", q.Complaint, strings.Join(why.Words(), ", "))
		}
		a, err := s.engine.Why(ctx, n.listened(d, q.Region), d.File, q.take, c, tell)
		if err != nil {
			return nil, err
		}
		n.mu.Lock()
		n.fixes, n.about = a.Fixes, q.take
		n.mu.Unlock()
		return map[string]any{"answer": a, "texts": fixTexts(c, a)}, nil
	})
}

// goal finds what reaches a goal for a side.
func (s *server) goal(w http.ResponseWriter, r *http.Request) error {
	return s.answered(w, r, func(ctx context.Context, n *session, d document, q longQuestion, tell func(int, int)) (any, error) {
		g, err := why.ParseGoal(d.File, q.take+": "+q.Goal)
		if err != nil {
			return nil, local.Refuse(http.StatusUnprocessableEntity, "%v", err)
		}
		a, err := s.engine.Goal(ctx, n.listened(d, q.Region), d.File, g, tell)
		if err != nil {
			return nil, err
		}
		fixes, texts := []why.Fix{}, []string{}
		for _, w := range a.Ways {
			fixes, texts = append(fixes, w.Fix), append(texts, against(w.Value.Value, g.Than))
		}
		n.mu.Lock()
		n.fixes, n.about = fixes, q.take
		n.mu.Unlock()
		return map[string]any{"answer": map[string]any{"sentence": a.Sentence, "fixes": fixes}, "texts": texts}, nil
	})
}

// against is how loud one take is beside another, in words.
func against(lu float64, than string) string {
	if lu < 0 {
		return fmt.Sprintf("%.1f LU softer than %s", -lu, than)
	}
	return fmt.Sprintf("%.1f LU louder than %s", lu, than)
}

// sweepKnob turns a knob of a side over its travel, and draws it.
func (s *server) sweepKnob(w http.ResponseWriter, r *http.Request) error {
	return s.answered(w, r, func(ctx context.Context, n *session, d document, q longQuestion, tell func(int, int)) (any, error) {
		if _, err := sweep.Knob(d.File, q.Block, q.Knob); err != nil {
			return nil, local.Refuse(http.StatusUnprocessableEntity, "%v", err)
		}
		a, err := s.engine.Sweep(ctx, n.listened(d, q.Region), d.File, q.take, q.Block, q.Knob, tell)
		if err != nil {
			return nil, err
		}
		t := a.Takes[0]
		ends := []string{}
		for _, e := range t.Ends {
			ends = append(ends, e.Clock+" o'clock: "+e.Text+".")
		}
		return map[string]any{"sentence": t.Sentence(q.Block + "." + q.Knob), "ends": ends, "svg": string(a.SVG())}, nil
	})
}

// mostAnswers is how many a hunt may have been given: more than any asks for.
const mostAnswers = 100

// hunt says what to test next to find where a noise of a side comes from, by what has been
// answered.
func (s *server) hunt(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Session string   `json:"session"`
		Side    string   `json:"side"`
		Answers []string `json:"answers"`
	}
	n, side, err := s.askedOf(r, &q, &q.Session, &q.Side)
	if err != nil {
		return err
	}
	if len(q.Answers) > mostAnswers {
		return local.Refuse(http.StatusUnprocessableEntity, "%d answers: no hunt asks for as many", len(q.Answers))
	}
	n.mu.Lock()
	doc := n.doc
	n.mu.Unlock()
	done, err := s.engine.Turn(r.Context())
	if err != nil {
		return err
	}
	defer done()
	step, err := hunt.New(doc.File, doc.take(side), doc.Dry.Rate).At(q.Answers)
	if err != nil {
		return local.Refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	local.Answer(w, http.StatusOK, map[string]any{"step": step, "cautions": hunt.Cautions})
	return nil
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
		return d, local.Refuse(http.StatusConflict, "that answer is out of date; ask again")
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
