package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the page's parts
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"drywire/chains/experiment"
	"drywire/chains/internal/sketch"
	"drywire/chains/lesson"
)

// Lesson is what a lesson's page shows: one file, like the report, with its player, its level
// diagram and its letters. A prediction is asked for and kept, two takes are heard blind and what
// was heard is kept, and only then comes what was measured.
type Lesson struct {
	Version string // of the program
	*lesson.Lesson
	Proof    *lesson.Proof
	Measures []*experiment.Measures // of the takes to look at, each once, in their order
	Rate     int                    // Hz
	Hearing  string                 // what to heed before listening
	Builds   []string               // titles of the lessons that it builds on
	Live     string                 // the address of the board on the page that serves this; "" for a file
}

var (
	//go:embed lesson.html
	lessonHTML string
	//go:embed drill.html
	drillHTML string
	//go:embed lesson.css
	lessonCSS string
	//go:embed lesson.js
	lessonJS string
)

var lessonPage = template.Must(template.Must(template.Must(page.Clone()).New("lesson").Parse(lessonHTML)).New("drill").Parse(drillHTML))

// lessonView is a lesson in words. Of view it has the player and the ladders.
type lessonView struct {
	*view
	L                    Lesson
	Of, Builds           string
	Scene, Measured, Why []string
	Not, TransferScene   []string
	Answer               []string
	Predict, Transfer    questionView
	Hear                 *hearView
	Looks                []lookView
	Numbers              table
	Goal                 string
	Data                 template.JS
}

type questionView struct {
	ID, Ask string
	Choices []lesson.Choice
	Right   int
}

// hearView is two takes to be told apart; of view it has the player.
type hearView struct {
	*view
	Scene                             []string
	Caution, Ask, Tells, Likely, Slip string
	Right                             string // the take, or neither
	Drilled                           bool   // as a question of a drill, whose answers have no number
}

// Shared is the part of the page that the report has as well.
func (v *hearView) Shared() *view { return v.view }

// newHear puts what is played into the page of inner.
func newHear(inner *view, l *lesson.Lesson, heard *lesson.Heard, rate int) (*hearView, error) {
	v := &hearView{view: inner, Caution: l.Caution, Ask: l.Hear.Ask, Tells: lesson.Filled(l.Hear.Tells, l.Facts), Likely: likely(heard.Pair), Right: "neither"}
	if l.Hear.Right < len(l.Hear.Takes) {
		v.Right = l.Hear.Takes[l.Hear.Right]
	}
	return v, inner.play(heard, rate)
}

type lookView struct {
	Ladder ladderView
	Says   []lookSays
}

type lookSays struct{ Jack, Says string }

// WriteLesson writes the page of a lesson that is proved. The same Lesson gives the same bytes. The
// error is of a lesson that is not proved, or w's.
func WriteLesson(w io.Writer, l Lesson) error {
	if l.Lesson == nil || l.Proof == nil || l.Proof.Heard == nil {
		return errors.New("report: a lesson that is not proved")
	}
	v, err := newLessonView(l)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return writeSteps(w, "lesson", v.view, l.Live != "", v)
}

// writeSteps writes a page of one step after the other, by its template. One that is live tells
// whoever serves it what was answered.
func writeSteps(w io.Writer, name string, v *view, live bool, data any) error {
	script := lessonJS + pageJS
	v.Style = template.CSS(sketch.Faces(true) + pageCSS + lessonCSS)
	v.Script = template.JS(script)
	sum := sha256.Sum256([]byte(script))
	v.Policy = "default-src 'none'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; style-src 'unsafe-inline'; font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
	if live {
		v.Policy += "; connect-src 'self'"
	}
	var b bytes.Buffer
	if err := lessonPage.ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err := b.WriteTo(w)
	return err
}

func newLessonView(l Lesson) (*lessonView, error) {
	fill := func(text string) string { return lesson.Filled(text, l.Facts) }
	other := func(text string) string { return lesson.Filled(text, l.Transfer.Facts) }
	pars := lesson.Paragraphs
	v := &lessonView{
		view: &view{Title: l.Title, Version: l.Version, Hearing: l.Hearing}, L: l,
		Scene: pars(l.Scene), Measured: pars(fill(l.Measured)), Why: pars(fill(l.Why)), Not: pars(fill(l.Not)),
		TransferScene: pars(l.Transfer.Scene), Answer: pars(other(l.Transfer.Answer)),
		Predict:  questionOf("before", l.Predict, fill),
		Transfer: questionOf("after", l.Transfer.Question, other),
		Of:       count(int(l.Minutes), "minute", "minutes"), Builds: strings.Join(l.Builds, "; "),
	}
	if l.Place > 0 {
		v.Of = fmt.Sprintf("Lesson %d, %s", l.Place, v.Of)
	}
	if l.Hands != nil {
		v.Goal = l.Hands.Goal
	}
	var err error
	if v.Hear, err = newHear(v.view, l.Lesson, l.Proof.Heard, l.Rate); err != nil {
		return nil, err
	}
	if err := v.looks(l, fill); err != nil {
		return nil, err
	}
	v.numbers(l)
	v.Data, err = jsonOf(pageData{Lesson: l.Name, Live: l.Live != "", Hear: &hearData{v.Hear.Right, l.Hear.Takes},
		Questions: map[string]questionData{"before": v.Predict.data(), "after": v.Transfer.data()}})
	return v, err
}

// pageData is what the script of the page goes by.
type pageData struct {
	Lesson    string                  `json:"lesson,omitempty"` // of one whose answers are a text to paste
	Live      bool                    `json:"live"`
	Questions map[string]questionData `json:"questions"`
	Hear      *hearData               `json:"hear,omitempty"`
}

type questionData struct {
	Right   int      `json:"right"`
	Beliefs []string `json:"beliefs"`
}

type hearData struct {
	Right string    `json:"right"`
	Takes [2]string `json:"takes"`
}

func questionOf(id string, q lesson.Question, fill func(string) string) questionView {
	v := questionView{ID: id, Ask: fill(q.Ask), Right: q.Right()}
	for _, c := range q.Choices {
		c.Say, c.Thinks = fill(c.Say), fill(c.Thinks)
		v.Choices = append(v.Choices, c)
	}
	return v
}

func (q questionView) data() questionData {
	d := questionData{Right: q.Right}
	for _, c := range q.Choices {
		d.Beliefs = append(d.Beliefs, c.Belief)
	}
	return d
}

// likely is what the model of hearing says about the two takes.
func likely(p experiment.Pair) string {
	f := p.Hearing.Highest
	switch {
	case p.Heard == experiment.HeardSame:
		return "To the last bit, they are the same."
	case !f.OK():
		return ""
	case f.Value < 0.5:
		return fmt.Sprintf("A model of hearing says that nobody is likely to tell them apart: at their clearest moment the chance is %.0f %%.", 100*f.Value)
	}
	return fmt.Sprintf("A model of hearing says that they are told apart: at their clearest moment the chance is %.0f %%.", 100*f.Value)
}

// play puts the two takes into the player, which knows them as One and Two.
func (v *view) play(h *lesson.Heard, rate int) error {
	p := Page{Comparison: &experiment.Comparison{}}
	for k, name := range []string{"One", "Two"} {
		sound := Sound{Rate: rate}
		for _, x := range h.Channels[k] {
			y := make([]float32, len(x))
			for i, s := range x {
				y[i] = float32(s)
			}
			sound.Channels = append(sound.Channels, y)
		}
		p.Sounds = append(p.Sounds, sound)
		p.Comparison.Takes = append(p.Comparison.Takes, experiment.Take{Number: k + 1, Name: name, Matched: true, GainDB: -h.Before[k]})
	}
	v.takes(p)
	for k := range v.Takes {
		v.Takes[k].Flow = nil // it would tell which is which
	}
	return v.sounds(p)
}

// looks is the ladders of the takes to look at, with what there is to see.
func (v *lessonView) looks(l Lesson, fill func(string) string) error {
	var takes []string
	for _, look := range l.Look {
		if !slices.Contains(takes, look.Take) {
			takes = append(takes, look.Take)
		}
	}
	if len(takes) != len(l.Measures) {
		return fmt.Errorf("%d takes to look at, and %d that are measured", len(takes), len(l.Measures))
	}
	inner := &view{}
	for k, name := range takes {
		inner.Takes = append(inner.Takes, takeView{Number: k + 1, Name: name, Color: string(take(k)), Sample: template.HTML(sample(k))})
	}
	inner.ladders(Page{Measures: l.Measures})
	for k, name := range takes {
		look := lookView{Ladder: inner.Ladders[k]}
		for _, one := range l.Look {
			if one.Take == name {
				look.Says = append(look.Says, lookSays{one.Jack, fill(one.Says)})
			}
		}
		v.Looks = append(v.Looks, look)
	}
	return nil
}

// numbers is every number that the lesson states, beside what this run has measured, and the
// command that prints it.
func (v *lessonView) numbers(l Lesson) {
	v.Numbers = table{Caption: "Every number, and the command that gives it",
		Head: []headView{{Text: "what", Words: true}, {Text: "stated"}, {Text: "measured now"}, {Text: "how", Words: true}}}
	add := func(values []lesson.Value, file string) {
		for _, one := range values {
			if one.Text == "" {
				continue
			}
			how := one.Command(file)
			if one.Measure == "" {
				how = fmt.Sprintf("%s less %s", one.Less[0], one.Less[1])
			}
			v.Numbers.Rows = append(v.Numbers.Rows, rowView{Head: one.Name, Cells: []string{minus(one.Text), minus(one.Says()), how}})
		}
	}
	add(l.Proof.Values, l.Name+".yaml")
	add(l.Proof.Other, l.Name+"-transfer.yaml")
	v.Numbers.Note = fmt.Sprintf("The boards come out of drywire lesson %s --boards FOLDER.", l.Name)
}
