package report

import (
	"errors"
	"fmt"
	"io"

	"drywire/chains/lesson"
)

// Drill is what a drill's page shows: questions of several lessons, each with its answer at once,
// and the two takes of one lesson perhaps.
type Drill struct {
	Version string // of the program
	Items   []DrillItem
	Heard   *lesson.Heard // of the item that is heard; nil where there is none
	Rate    int           // Hz, of its sounds
	Hearing string        // what to heed before listening
}

// DrillItem is a question of a lesson.
type DrillItem struct {
	*lesson.Lesson
	Step string // before, heard or after
	Slip string // why it is asked, which is shown with the answer; may be ""
}

// ID is what the page that serves a drill is told of an item's answer as: heard, or q with its
// place, from 1.
func (d Drill) ID(k int) string {
	if d.Items[k].Step == "heard" {
		return "heard"
	}
	return fmt.Sprintf("q%d", k+1)
}

type drillView struct {
	*view
	Of    string
	Items []drillItemView
	Data  any
}

type drillItemView struct {
	questionView
	Title, Slip   string
	Scene, Answer []string
	Hear          *hearView // of what is heard; the rest is of questions
}

// WriteDrill writes the page of a drill, which is served: it tells whoever serves it what was
// answered. The error is of a Drill that does not hold together, or w's.
func WriteDrill(w io.Writer, d Drill) error {
	v := &drillView{view: &view{Title: "What comes back", Version: d.Version, Hearing: d.Hearing}, Of: "A drill, " + count(len(d.Items), "question", "questions")}
	data := pageData{Live: true, Questions: map[string]questionData{}}
	for k, it := range d.Items {
		if it.Step == "heard" {
			if d.Heard == nil || data.Hear != nil {
				return errors.New("report: a drill plays the two takes of one lesson")
			}
			h, err := newHear(v.view, it.Lesson, d.Heard, d.Rate)
			if err != nil {
				return fmt.Errorf("report: %w", err)
			}
			h.Scene, h.Slip, h.Drilled = lesson.Paragraphs(it.Scene), it.Slip, true
			data.Hear = &hearData{h.Right, it.Hear.Takes}
			v.Items = append(v.Items, drillItemView{Hear: h})
			continue
		}
		q, scene, answer, facts := it.Predict, it.Scene, it.Measured, it.Facts
		if it.Step == "after" {
			q, scene, answer, facts = it.Transfer.Question, it.Transfer.Scene, it.Transfer.Answer, it.Transfer.Facts
		}
		fill := func(text string) string { return lesson.Filled(text, facts) }
		one := drillItemView{questionView: questionOf(d.ID(k), q, fill), Title: it.Title, Slip: it.Slip, Scene: lesson.Paragraphs(scene), Answer: lesson.Paragraphs(fill(answer))}
		data.Questions[one.ID] = one.data()
		v.Items = append(v.Items, one)
	}
	var err error
	if v.Data, err = jsonOf(data); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return writeSteps(w, "drill", v.view, true, v)
}
