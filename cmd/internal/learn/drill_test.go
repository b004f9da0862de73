package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"drywire/chains/lesson"
	"drywire/chains/lessons"
)

// listener is a simulated one: some wrong ideas are held, each with a probability of going by it
// where it is tempting. A question that is answered for the listener weakens the ideas in it; time
// brings them back in part. How fast are the test's own assumptions, no measurement of people.
type listener struct {
	chance *rand.Rand
	first  map[string]float64 // idea, probability at the beginning
	held   map[string]float64
	slips  float64 // probability of any wrong answer otherwise
	deaf   float64 // probability of a wrong one about what is heard
}

// answer is a choice of a question.
func (l *listener) answer(of *lesson.Lesson, q lesson.Question) lesson.Choice {
	for _, c := range q.Choices {
		if idea := of.Idea(c.Belief); idea != "" && l.chance.Float64() < l.held[idea] {
			return c
		}
	}
	if l.chance.Float64() < l.slips {
		return q.Choices[l.chance.IntN(len(q.Choices))]
	}
	return q.Choices[q.Right()]
}

// corrected is told what is right.
func (l *listener) corrected(of *lesson.Lesson) {
	for _, c := range of.Predict.Choices {
		l.held[c.Idea] *= 0.7
	}
}

// forgets is a day later.
func (l *listener) forgets() {
	for idea, was := range l.first {
		l.held[idea] += (was - l.held[idea]) * (1 - math.Exp(-1.0/60))
	}
}

// asked is a question of a lesson.
func asked(l *lesson.Lesson, step string) lesson.Question {
	if step == "before" {
		return l.Predict
	}
	return l.Transfer.Question
}

// course is a listener's weeks: every day what drill offers, or else the next lesson. What is asked
// in drills goes to seen.
func (l *listener) course(t *testing.T, course []*lesson.Lesson, days int, drill func(*Progress, time.Time) []Item, seen func(Item)) *Progress {
	t.Helper()
	p := &Progress{Path: filepath.Join(t.TempDir(), "lessons.txt")}
	put := func(at time.Time, of *lesson.Lesson, step, question string) {
		a := Answer{At: at, Lesson: of.Name, Step: step}
		if question == "heard" {
			a.Right, a.Said = l.chance.Float64() >= l.deaf, "a take"
		} else {
			c := l.answer(of, asked(of, question))
			a.Right, a.Said = c.Right, c.Belief
			l.corrected(of)
		}
		if err := p.Add(a); err != nil {
			t.Fatal(err)
		}
	}
	for day := range days {
		now := begin.AddDate(0, 0, day)
		items := drill(p, now)
		for k, it := range items {
			seen(it)
			put(now.Add(time.Duration(k)*time.Minute), it.Lesson, Again(it.Step), it.Step)
		}
		if name := p.Next(course); len(items) == 0 && name != "" {
			k := slices.IndexFunc(course, func(l *lesson.Lesson) bool { return l.Name == name })
			for n, step := range Steps {
				put(now.Add(time.Duration(n)*time.Minute), course[k], step, step)
			}
		}
		l.forgets()
	}
	return p
}

// held is a simulated listener who holds one idea.
func newListener(seed uint64, idea string) *listener {
	l := &listener{chance: rand.New(rand.NewPCG(seed, 7)), first: map[string]float64{}, held: map[string]float64{}}
	if idea != "" {
		l.first[idea], l.held[idea] = 0.9, 0.9
	}
	return l
}

func shippedCourse(t *testing.T) []*lesson.Lesson {
	t.Helper()
	course, err := lessons.Course()
	if err != nil {
		t.Fatal(err)
	}
	return course
}

// Who answers all rightly is never drilled, and is through the course in as many days as it has
// lessons.
func TestNoDrillForWhoKnows(t *testing.T) {
	course := shippedCourse(t)
	l := newListener(1, "")
	p := l.course(t, course, len(course), func(p *Progress, now time.Time) []Item { return p.Drill(course, now) }, func(i Item) { t.Errorf("drilled: %s %s", i.Name, i.Step) })
	if name := p.Next(course); name != "" {
		t.Errorf("after %d days, %s is left", len(course), name)
	}
}

// A drill asks what this listener confuses: whoever holds an idea is asked where it is tempting,
// more often than a drill of as many questions in the order of the course would, and goes by it
// less often in the end. Nothing that went wrong is forgotten, and no drill is long.
func TestDrillFollowsTheListener(t *testing.T) {
	course := shippedCourse(t)
	const listeners, days = 30, 60
	for _, idea := range []string{"order does not matter", "more is louder", "what comes last decides"} {
		var held, tempting, all [2]float64 // adaptive, fixed
		elsewhere := 0                     // questions of lessons that went well, for the idea's sake
		before := 0.0
		for seed := range uint64(listeners) {
			perDay := map[time.Time]int{}
			for way := range 2 {
				l := newListener(seed, idea)
				before += l.held[idea] / listeners / 2
				next := 0
				drill := func(p *Progress, now time.Time) []Item {
					items := p.Drill(course, now)
					perDay[now] = len(items)
					if len(items) > most {
						t.Errorf("a drill of %d questions", len(items))
					}
					due := 0
					for _, d := range p.Reviews() {
						if !d.At.After(now) {
							due++
						}
					}
					if (due > 0) != (len(items) > 0) {
						t.Errorf("%d are due, and %d are asked", due, len(items))
					}
					return items
				}
				if way == 1 { // as many, in the order of the course, whatever was wrong
					drill = func(p *Progress, now time.Time) (items []Item) {
						var done []*lesson.Lesson
						for _, l := range course {
							if p.Done(l.Name) {
								done = append(done, l)
							}
						}
						for range perDay[now] {
							if len(done) > 0 {
								items = append(items, Item{Lesson: done[next%len(done)], Step: Steps[2*(next%2)]})
								next++
							}
						}
						return items
					}
				}
				l.course(t, course, days, drill, func(i Item) {
					all[way]++
					if way == 0 && i.Wrong == nil && i.Idea == idea {
						elsewhere++
					}
					if tempts(i.Lesson, idea) {
						tempting[way]++
					}
				})
				held[way] += l.held[idea] / listeners
			}
		}
		t.Logf("%q is gone by in %.0f %% at first; after %d days in %.0f %%, of %.0f questions %.0f %% tempting; drilled in the order of the course in %.0f %%, of %.0f questions %.0f %% tempting",
			idea, 100*before, days, 100*held[0], all[0]/listeners, 100*tempting[0]/all[0], 100*held[1], all[1]/listeners, 100*tempting[1]/all[1])
		if share := tempting[0] / all[0]; share < 0.95 {
			t.Errorf("only %.0f %% of the questions tempt who holds %q", 100*share, idea)
		}
		if elsewhere == 0 {
			t.Errorf("%q is never asked where it did not go wrong", idea)
		}
		if held[0] >= held[1] {
			t.Errorf("%q: a fixed drill does as well", idea)
		}
	}
}

// What is heard wrongly comes back as sound, one pair a drill.
func TestDrillPlaysWhatWasMisheard(t *testing.T) {
	course := shippedCourse(t)
	l := newListener(3, "")
	l.deaf = 0.5
	sounds := map[time.Time]int{}
	var today time.Time
	p := l.course(t, course, 90, func(p *Progress, now time.Time) []Item { today = now; return p.Drill(course, now) }, func(i Item) {
		if i.Step != "heard" || i.Wrong == nil {
			t.Errorf("asked %s %s", i.Name, i.Step)
		}
		sounds[today]++
	})
	if len(sounds) < 10 {
		t.Errorf("only %d drills", len(sounds))
	}
	for day, n := range sounds {
		if n != 1 {
			t.Errorf("%d sounds on %s", n, day)
		}
	}
	l.deaf = 0 // and when all goes well, it ends
	for day := range 80 {
		now := begin.AddDate(0, 0, 90+day)
		for _, it := range p.Drill(course, now) {
			if err := p.Add(Answer{At: now, Lesson: it.Name, Step: Again(it.Step), Right: true, Said: "a take"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if left := p.Reviews(); len(left) > 0 {
		t.Errorf("%d come back for ever: %v", len(left), left[0])
	}
}

// The two questions of a lesson take turns.
func TestDrillTakesTurns(t *testing.T) {
	course := shippedCourse(t)
	p := &Progress{Path: filepath.Join(t.TempDir(), "lessons.txt")}
	l := course[7]
	wrong := l.Predict.Choices[(l.Predict.Right()+1)%len(l.Predict.Choices)].Belief
	add := func(at time.Time, step string) {
		t.Helper()
		if err := p.Add(Answer{At: at, Lesson: l.Name, Step: step, Said: wrong}); err != nil {
			t.Fatal(err)
		}
	}
	for k, step := range Steps {
		add(begin.Add(time.Duration(k)*time.Minute), step)
	}
	got := ""
	for day := range 4 {
		now := begin.AddDate(0, 0, 1+day)
		for _, it := range p.Drill(course, now) {
			if it.Step != "heard" {
				got += fmt.Sprint(it.Step, " ")
				add(now, Again(it.Step))
			}
		}
	}
	if got != "before after before after " {
		t.Errorf("asked %s", got)
	}
}
