package produce

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/edit"
	"drywire/chains/experiment"
	"drywire/chains/lesson"
	"drywire/chains/lessons"
	"drywire/chains/measures"
	"drywire/chains/report"
)

// mostBytes is what the page of a lesson stays under, for sending it about.
const mostBytes int = 12e6

const usualLesson = "boost-early-late"

// Every lesson is proved by simulation: each number that it states, each right answer, and its two
// takes told apart, or not, by the margins of package lesson. go test -v prints each number with
// the command that gives it. All of that takes a minute of processor time, so it is for LESSON=all;
// LESSON=NAME asks for one, and without it the one that builds on most is proved.
func TestLessonsAreProved(t *testing.T) {
	only := os.Getenv("LESSON")
	if only == "" || slices.Contains(chains.Shipped(), only) { // a chain file, of TestLessonsOfBoards
		only = usualLesson
	}
	proved := 0
	defer func() {
		if proved == 0 {
			t.Errorf("no lesson %q", only)
		}
	}()
	for _, name := range lessons.Names() {
		if only != "all" && name != only {
			continue
		}
		proved++
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l, err := lessons.Find(name)
			if err != nil {
				t.Fatal(err)
			}
			p, err := ProveLesson(t.Context(), nil, l)
			if err != nil {
				t.Fatal(err)
			}
			show := func(values []lesson.Value, file string) {
				for _, v := range values {
					t.Logf("%-18s stated %-12s measured %-12s %s", v.Name, v.Text, v.Says(), v.Command(file))
				}
			}
			show(p.Values, name+".yaml")
			show(p.Other, name+"-transfer.yaml")
			show(p.Start, name+".yaml")
			show(p.End, name+".yaml")
			h := p.Heard.Pair
			t.Logf("blind: %s: highest probability %s, in %s of the frames", h.Sentence, h.Hearing.Highest.Text(2), h.Hearing.Share.Text(2))
			if len(p.Faults) > 0 {
				t.Error(strings.Join(p.Faults, "\n"))
			}
			page, err := p.Page(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			if err := report.WriteLesson(&text, page); err != nil {
				t.Fatal(err)
			}
			t.Logf("as a page: %.1f MB", float64(text.Len())/1e6)
			if text.Len() >= mostBytes {
				t.Errorf("the page has %d bytes, want fewer than %d", text.Len(), mostBytes)
			}
		})
	}
}

// What is proved is seen to fail: each number once it is falsified by three times its bound, each
// claim turned round, and the two takes with the opposite claimed.
func TestProofSeesWhatIsFalse(t *testing.T) {
	l, err := lessons.Find(usualLesson)
	if err != nil {
		t.Fatal(err)
	}
	p, err := ProveLesson(t.Context(), nil, l)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range append(p.Values, p.Other...) {
		if v.Is += 3 * v.Within; v.Fault() == "" {
			t.Errorf("%s: %s falsified to %g and not seen", v.Name, v.Text, v.Is)
		}
	}
	turned := map[string]string{"over": "under", "under": "over"}
	for _, c := range append(l.Predict.Proof, l.Hear.Proof...) {
		if to, ok := turned[c.Rel]; ok {
			if c.Rel = to; c.Fails(p.Values) == "" {
				t.Errorf("%s %s %s is false and not seen", c.Fact, c.Rel, c.Other)
			}
		}
	}
	claim := l.Hear
	if claim.Heard = !claim.Heard; p.Heard.Kept(claim) == "" {
		t.Error("the hearing falsified and not seen")
	}
}

// A lesson is made of every chain file that ships, and proved: no question lies within its margin.
// One file is done by default, LESSON=all does them all, LESSON=NAME one.
func TestLessonsOfBoards(t *testing.T) {
	names := []string{"boost-before-or-after-drive"}
	switch only := os.Getenv("LESSON"); {
	case only == "all":
		names = chains.Shipped()
	case slices.Contains(chains.Shipped(), only):
		names = []string{only}
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			src, err := chains.ReadShipped(name)
			if err != nil {
				t.Fatal(err)
			}
			text, err := edit.Read(name+".yaml", src)
			if err != nil {
				t.Fatal(err)
			}
			out, err := LessonFrom(t.Context(), NewLoader(nowhere{}), text, "")
			if err != nil {
				t.Fatal(err)
			}
			l, err := lesson.Parse(name+".yaml", out)
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			p, err := ProveLesson(t.Context(), nil, l)
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Faults) > 0 {
				t.Fatalf("%s\n%s", strings.Join(p.Faults, "\n"), out)
			}
			for _, f := range withinMargin(p) {
				t.Error(f)
			}
			t.Logf("%s %s", l.Predict.Ask, l.Predict.Choices[l.Predict.Right()].Say)
			t.Logf("%s against %s: %s %d: told apart %s", l.Hear.Takes[0], l.Hear.Takes[1], l.Hear.Ask, l.Hear.Right+1, p.Heard.Pair.Hearing.Highest.Text(2))
			t.Logf("%s %s", l.Transfer.Ask, l.Transfer.Choices[l.Transfer.Question.Right()].Say)
		})
	}
}

// withinMargin says what of a generated lesson lies nearer to the wrong answers, or to the threshold
// of hearing, than the help of lesson states: 3 dB, 20 % of the noise, a chance of 90 % and of 10 %.
// Two levels that are called the same are so within 0.5 dB.
func withinMargin(p *Proved) (faults []string) {
	for _, part := range []struct {
		claims []lesson.Claim
		values []lesson.Value
	}{{p.Predict.Proof, p.Values}, {p.Transfer.Proof, p.Other}} {
		value := func(name string) lesson.Value {
			return part.values[slices.IndexFunc(part.values, func(v lesson.Value) bool { return v.Name == name })]
		}
		for _, c := range part.claims {
			a, b := value(c.Fact), value(c.Other)
			off, margin := math.Abs(a.Measured.Value-b.Measured.Value), 3.0
			switch a.Measure {
			case "noise_share":
				margin = 20
			case "told-apart":
				margin = 80
			}
			if c.Rel == "near" && off > 0.5 || c.Rel != "near" && off < margin {
				faults = append(faults, fmt.Sprintf("%s: %s %s %s: %g off", a.Measure, c.Fact, c.Rel, c.Other, off))
			}
		}
		for _, v := range part.values {
			if chance := v.Measured.Value; v.Measure == "told-apart" && chance > 10 && chance < 90 {
				faults = append(faults, fmt.Sprintf("%s: a chance of %g %%", v.Name, chance))
			}
		}
	}
	if h := p.Heard.Pair; h.Heard != experiment.HeardSame && (!h.Hearing.Highest.OK() || h.Hearing.Highest.Value > 0.1 && h.Hearing.Highest.Value < 0.9) {
		faults = append(faults, "the two takes: "+h.Hearing.Highest.Text(2))
	}
	return faults
}

// withinMargin sees what lies within a margin: two headrooms 2 dB apart, a level that is called the
// same 0.6 dB off, a chance of a half, and two takes that are told apart with one of a half.
func TestWithinMarginSees(t *testing.T) {
	value := func(name, of string, v float64) lesson.Value {
		return lesson.Value{Fact: lesson.Fact{Name: name, Measure: of}, Measured: measures.Figure{Value: v}}
	}
	heard := &lesson.Heard{Pair: experiment.Pair{Hearing: experiment.Hearing{Highest: measures.Figure{Value: 0.5}}}}
	p := &Proved{Lesson: &lesson.Lesson{}, Proof: &lesson.Proof{Heard: heard, Values: []lesson.Value{
		value("a", "headroom_db", 1), value("b", "headroom_db", 3), value("c", "told-apart", 50), value("d", "told-apart", 0), value("e", "loudness_lufs", -20), value("f", "loudness_lufs", -20.6),
	}}}
	p.Predict.Proof = []lesson.Claim{{Fact: "b", Rel: "over", Other: "a"}, {Fact: "c", Rel: "over", Other: "d"}, {Fact: "e", Rel: "near", Other: "f"}}
	if got := withinMargin(p); len(got) != 5 {
		t.Errorf("saw %d faults of 5: %q", len(got), got)
	}
}
