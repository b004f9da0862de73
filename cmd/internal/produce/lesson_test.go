package produce

import (
	"os"
	"strings"
	"testing"

	"drywire/chains/lesson"
	"drywire/chains/lessons"
)

const usualLesson = "boost-early-late"

// Every lesson is proved by simulation: each number that it states, each right answer, and its two
// takes told apart, or not, by the margins of package lesson. go test -v prints each number with
// the command that gives it. All of that takes a minute of processor time, so it is for LESSON=all;
// LESSON=NAME asks for one, and without it the one that builds on most is proved.
func TestLessonsAreProved(t *testing.T) {
	only := os.Getenv("LESSON")
	if only == "" {
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
