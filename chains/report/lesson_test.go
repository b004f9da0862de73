package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/lesson"
	"drywire/chains/measures"
)

// taught is a small lesson as if it had been proved.
func taught() Lesson {
	choices := []lesson.Choice{
		{Say: "More goes in, so more comes out.", Belief: "more in, more out", Thinks: "Until it clips."},
		{Say: "After it.", Belief: "after a clipper, louder", Thinks: "Nothing cuts it off there.", Right: true},
	}
	facts := []lesson.Fact{{Name: "late", Measure: "level_lu", Take: "after", Other: "before", Text: "12.0 LU", Is: 12, Within: 0.3, Unit: "LU"}}
	values := []lesson.Value{{Fact: facts[0], Measured: measures.Figure{Value: 12.04}}}
	l := &lesson.Lesson{
		Name: "small", Title: "A <small> lesson", Place: 3, Minutes: 6, After: []string{"levels"}, Enables: "You can choose.",
		Words: []lesson.Word{{Term: "boost", Means: "a pedal that makes louder"}}, Caution: "Start soft.", Scene: "One boost.\n\nOne drive.",
		Predict: lesson.Question{Ask: "Where does it help?", Choices: choices},
		Hear:    lesson.Hearing{Takes: [2]string{"before", "after"}, Heard: true, Ask: "Which is dirtier?", Right: 0, Tells: "The soft notes."},
		Facts:   facts, Measured: "It makes {late}.", Why: "There is room.", Not: "Your amplifier.",
		Look:     []lesson.Look{{Take: "before", Jack: "drive.in", Says: "Far over it."}, {Take: "after", Jack: "out", Says: "Higher."}},
		Transfer: lesson.Transfer{Scene: "An amplifier.", Question: lesson.Question{Ask: "And here?", Choices: choices}, Facts: facts, Answer: "In the loop: {late}."},
		Sources:  []string{"from memory"},
	}
	heard := &lesson.Heard{Before: [2]float64{-30, -18}}
	for k, hz := range []float64{440, 660} {
		x := make([]float64, 48000)
		for i := range x {
			x[i] = 0.2 * math.Sin(2*math.Pi*hz*float64(i)/48000)
		}
		heard.Channels[k] = [][]float64{x}
	}
	heard.Pair = experiment.Pair{Heard: experiment.HeardMostly, Hearing: experiment.Hearing{Highest: measures.Figure{Value: 0.99}}}
	m := made().Measures
	return Lesson{Version: "0.1", Lesson: l, Proof: &lesson.Proof{Values: values, Other: values, Heard: heard}, Measures: m[:2], Rate: 48000, Hearing: "Start soft.", Builds: []string{"What a level is"}}
}

func TestLessonPage(t *testing.T) {
	var b, again bytes.Buffer
	if err := WriteLesson(&b, taught()); err != nil {
		t.Fatal(err)
	}
	if err := WriteLesson(&again, taught()); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Error("the same lesson gives two pages")
	}
	page := b.String()
	for _, want := range []string{
		"A &lt;small&gt; lesson", "Lesson 3, 6 minutes", "Builds on: What a level is", "It makes 12.0\u00a0LU.", "drywire compare small.yaml", "small-transfer.yaml",
		`<section class="answers">`, "the chance is 99 %", "Look at <code>drive.in</code>",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not have %q", want)
		}
	}
	for _, not := range []string{"{late}", "http://", "https://", "connect-src"} {
		if strings.Contains(page, not) {
			t.Errorf("the page has %q", not)
		}
	}
	// the sounds do not say which take they are, before the script has been asked
	if at := strings.Index(page, `class="player"`); strings.Contains(page[at:at+2000], "before") {
		t.Error("the player tells which take is which")
	}
}

func TestLessonThatIsNotProved(t *testing.T) {
	l := taught()
	l.Proof = nil
	if err := WriteLesson(&bytes.Buffer{}, l); err == nil {
		t.Error("a page of a lesson that nobody has proved")
	}
}
