package page

import (
	"context"
	"maps"
	"net/http"
	"slices"

	"drywire/cmd/internal/local"
	"drywire/cmd/internal/produce"
)

// Lesson is a lesson, or a drill, that is served beside its board: its page, what to do with what is
// answered there, and how the board that the listener edits is judged.
type Lesson struct {
	Page  []byte   // HTML, with its own policy
	Steps []string // that the page asks, by the names it gives them
	Take  string   // of the board, that side A begins with; "": its first
	// Kept is told an answer: one of Steps, what was said, whether it was right.
	Kept func(step, said string, right bool) error
	// Judge measures a take of the board as it stands, and says in sentences whether the goal is
	// reached.
	Judge func(ctx context.Context, p *produce.Project, take string) ([]string, error)
}

// lesson serves the lesson's page. What may run there, its own policy says.
func (s *server) lesson(w http.ResponseWriter, r *http.Request) error {
	if s.options.Lesson == nil {
		return local.Refuse(http.StatusNotFound, "no lesson is open")
	}
	w.Header().Set("Content-Security-Policy", "frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err := w.Write(s.options.Lesson.Page)
	return err
}

// lessonKept keeps an answer.
func (s *server) lessonKept(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Step  string `json:"step"`
		Said  string `json:"said"`
		Right bool   `json:"right"`
	}
	if err := local.Question(r, &q); err != nil {
		return err
	}
	l := s.options.Lesson
	switch {
	case l == nil:
		return local.Refuse(http.StatusNotFound, "no lesson is open")
	case !slices.Contains(l.Steps, q.Step):
		return local.Refuse(http.StatusBadRequest, "no step %q", q.Step)
	case len(q.Said) > 1000:
		return local.Refuse(http.StatusBadRequest, "that is too long")
	}
	if err := l.Kept(q.Step, q.Said, q.Right); err != nil {
		return local.Refuse(http.StatusConflict, "it could not be kept: %v", err)
	}
	local.Answer(w, http.StatusOK, struct{}{})
	return nil
}

// lessonJudge measures the board that the listener has changed most, side A of it.
func (s *server) lessonJudge(w http.ResponseWriter, r *http.Request) error {
	if err := local.Question(r, &struct{}{}); err != nil {
		return err
	}
	if s.options.Lesson == nil || s.options.Lesson.Judge == nil {
		return local.Refuse(http.StatusNotFound, "there is no goal in this lesson")
	}
	s.mu.Lock()
	sessions := slices.Collect(maps.Values(s.sessions))
	s.mu.Unlock()
	var doc document
	most := -1
	for _, n := range sessions {
		n.mu.Lock()
		if n.revision > most {
			doc, most = n.doc, n.revision
		}
		n.mu.Unlock()
	}
	if most < 0 {
		return local.Refuse(http.StatusConflict, "open the board first")
	}
	lines, err := s.options.Lesson.Judge(r.Context(), doc.Project, doc.takes[0])
	if err != nil {
		return local.Refuse(http.StatusConflict, "it could not be measured: %v", err)
	}
	local.Answer(w, http.StatusOK, map[string]any{"lines": lines})
	return nil
}
