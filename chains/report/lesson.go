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
	Live     string                 // the address of the board on the page that serves this; "" for a file
	Review   string                 // why this lesson has come back; "" where it has not
}

var (
	//go:embed lesson.html
	lessonHTML string
	//go:embed lesson.css
	lessonCSS string
	//go:embed lesson.js
	lessonJS string
)

var lessonPage = template.Must(template.Must(page.Clone()).New("lesson").Parse(lessonHTML))

// lessonView is a lesson in words. Of view it has the player and the ladders.
type lessonView struct {
	*view
	L                      Lesson
	Of, Builds             string
	Scene, Measured, Why   []string
	Not, TransferScene     []string
	Answer                 []string
	Predict, Transfer      questionView
	HearAsk, Tells, Likely string
	HearRight              string
	Looks                  []lookView
	Numbers                table
	Goal                   string
	Data                   template.JS
}

type questionView struct {
	ID, Ask string
	Choices []lesson.Choice
	Right   int
}

type lookView struct {
	Ladder ladderView
	Says   []lookSays
}

type lookSays struct{ Jack, Says string }

// WriteLesson writes the page of a lesson that is proved. The same Lesson gives the same bytes.
func WriteLesson(w io.Writer, l Lesson) error {
	if l.Lesson == nil || l.Proof == nil || l.Proof.Heard == nil {
		return errors.New("report: a lesson that is not proved")
	}
	v, err := newLessonView(l)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	script := lessonJS + pageJS
	v.Style = template.CSS(fonts() + pageCSS + lessonCSS)
	v.Script = template.JS(script)
	sum := sha256.Sum256([]byte(script))
	v.Policy = "default-src 'none'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; style-src 'unsafe-inline'; font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
	if l.Live != "" {
		v.Policy += "; connect-src 'self'"
	}
	var b bytes.Buffer
	if err := lessonPage.ExecuteTemplate(&b, "lesson", v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	_, err = b.WriteTo(w)
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
		Predict:   questionOf("before", l.Predict, fill),
		Transfer:  questionOf("after", l.Transfer.Question, other),
		HearAsk:   l.Hear.Ask,
		Tells:     fill(l.Hear.Tells),
		HearRight: "neither",
		Of:        count(int(l.Minutes), "minute", "minutes"), Builds: strings.Join(l.After, ", "),
	}
	if l.Place > 0 {
		v.Of = fmt.Sprintf("Lesson %d, %s", l.Place, v.Of)
	}
	if l.Hear.Right < len(l.Hear.Takes) {
		v.HearRight = l.Hear.Takes[l.Hear.Right]
	}
	if l.Hands != nil {
		v.Goal = l.Hands.Goal
	}
	v.Likely = likely(l.Proof.Heard.Pair)
	if err := v.play(l); err != nil {
		return nil, err
	}
	if err := v.looks(l, fill); err != nil {
		return nil, err
	}
	v.numbers(l)
	var err error
	v.Data, err = jsonOf(map[string]any{
		"lesson": l.Name, "title": l.Title, "live": l.Live,
		"right":  map[string]any{"before": v.Predict.Right, "after": v.Transfer.Right, "heard": v.HearRight},
		"belief": l.Predict.Choices[v.Predict.Right].Belief, "takes": l.Hear.Takes,
		"beliefs": map[string][]string{"before": beliefs(l.Predict.Choices), "after": beliefs(l.Transfer.Choices)},
	})
	return v, err
}

// Shared is the part of the page that the report has as well.
func (v *lessonView) Shared() *view { return v.view }

func questionOf(id string, q lesson.Question, fill func(string) string) questionView {
	v := questionView{ID: id, Ask: fill(q.Ask), Right: q.Right()}
	for _, c := range q.Choices {
		c.Say, c.Thinks = fill(c.Say), fill(c.Thinks)
		v.Choices = append(v.Choices, c)
	}
	return v
}

func beliefs(list []lesson.Choice) (names []string) {
	for _, c := range list {
		names = append(names, c.Belief)
	}
	return names
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
func (v *lessonView) play(l Lesson) error {
	h := l.Proof.Heard
	p := Page{Comparison: &experiment.Comparison{}}
	for k, name := range []string{"One", "Two"} {
		sound := Sound{Rate: l.Rate}
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
