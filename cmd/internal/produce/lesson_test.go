package produce

import (
	"os"
	"strings"
	"sync"
	"testing"

	"drywire/chains"
	"drywire/chains/edit"
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

// A lesson is made of chain files that ship, and proved: no generated question lies within its
// margin. Of a file of which not enough lies clear, that is said and nothing is made. LESSON=all
// does it for every file.
func TestLessonsOfBoards(t *testing.T) {
	names := []string{"boost-before-or-after-drive"}
	if os.Getenv("LESSON") == "all" {
		names = chains.Shipped()
	}
	var mu sync.Mutex
	made := 0
	t.Cleanup(func() {
		t.Logf("%d lessons of %d chain files", made, len(names))
		if 2*made < len(names) {
			t.Errorf("only %d lessons of %d chain files", made, len(names))
		}
	})
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
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
				if !strings.Contains(err.Error(), "lie clear of the other answers") {
					t.Fatal(err)
				}
				t.Log(err)
				return
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
			mu.Lock()
			made++
			mu.Unlock()
			t.Logf("%s Right: %s. %s %s: %s. %s Right: %s.", l.Predict.Ask, l.Predict.Choices[l.Predict.Right()].Belief, l.Hear.Takes[1], l.Hear.Ask, p.Heard.Pair.Hearing.Highest.Text(2), l.Transfer.Ask, l.Transfer.Choices[l.Transfer.Question.Right()].Belief)
		})
	}
}
