package learn

import (
	"cmp"
	"slices"
	"time"

	"drywire/chains/lesson"
)

// How long a drill is, in questions. Common practice, no source: it is over before one is tired.
const (
	least = 3 // where there are so many on what is confused
	most  = 5
	// how many answers back an idea is looked for, and from what share of them on it is drilled in
	// full
	recent = 6
	often  = 0.5
)

// Item is one question of a drill.
type Item struct {
	*lesson.Lesson
	Step  string  // before, heard or after: which of its questions
	Wrong *Answer // what went wrong the last time; nil: it is asked for its Idea
	Idea  string  // the wrong idea that is tempting in it; may be ""
}

// Drill is what to ask again now, of a course. What is due comes first, of the ideas that this
// listener confuses most often before the others; of two takes to be told apart, one a drill. Then
// come questions of other lessons in which the same ideas are tempting, those asked longest ago
// first: drills that follow a listener's weakness beat fixed ones (references on ear training:
// eight listeners, one month). Where nothing is due, there is no drill.
func (p *Progress) Drill(course []*lesson.Lesson, now time.Time) (items []Item) {
	by := map[string]*lesson.Lesson{}
	for _, l := range course {
		by[l.Name] = l
	}
	due := slices.DeleteFunc(p.Reviews(), func(d Due) bool { return d.At.After(now) || by[d.Lesson] == nil })
	if len(due) == 0 {
		return nil
	}
	idea := func(d Due) string { return by[d.Lesson].Idea(d.Wrong.Said) }
	slices.SortStableFunc(due, func(a, b Due) int {
		return cmp.Compare(p.Confuses(course, idea(b)), p.Confuses(course, idea(a)))
	})
	sounds := 0
	var ideas []string
	for _, d := range due {
		if len(items) == most || d.Sound && sounds > 0 {
			continue
		}
		it := Item{Lesson: by[d.Lesson], Step: "heard", Wrong: &d.Wrong}
		if d.Sound {
			sounds++
		} else {
			it.Step, it.Idea = p.longestAgo(d.Lesson), idea(d)
		}
		if it.Idea != "" && !slices.Contains(ideas, it.Idea) {
			ideas = append(ideas, it.Idea)
		}
		items = append(items, it)
	}
	for _, one := range ideas {
		want := least
		if p.Confuses(course, one) >= often {
			want = most
		}
		for _, l := range p.tempting(course, one) {
			asked := slices.ContainsFunc(items, func(i Item) bool { return i.Lesson == l && i.Step != "heard" })
			if len(items) < want && !asked {
				items = append(items, Item{Lesson: l, Step: p.longestAgo(l.Name), Idea: one})
			}
		}
	}
	return items
}

// Confuses is in which share of the last answers, of those where an idea was tempting, this
// listener went by it; nought of "".
func (p *Progress) Confuses(course []*lesson.Lesson, idea string) float64 {
	of, wrong := 0, 0
	for _, a := range slices.Backward(p.Answers) {
		if idea == "" || of == recent {
			break
		}
		k := slices.IndexFunc(course, func(l *lesson.Lesson) bool { return l.Name == a.Lesson })
		if k < 0 || a.question() == "heard" || !tempts(course[k], idea) {
			continue
		}
		of++
		if !a.Right && course[k].Idea(a.Said) == idea {
			wrong++
		}
	}
	if of == 0 {
		return 0
	}
	return float64(wrong) / float64(of)
}

// tempting is the lessons that were gone through in which an idea is tempting, those asked about
// longest ago first.
func (p *Progress) tempting(course []*lesson.Lesson, idea string) (list []*lesson.Lesson) {
	for _, l := range course {
		if p.Done(l.Name) && tempts(l, idea) {
			list = append(list, l)
		}
	}
	last := func(l *lesson.Lesson) time.Time {
		return slices.MaxFunc([]time.Time{p.asked(l.Name, "before"), p.asked(l.Name, "after")}, time.Time.Compare)
	}
	slices.SortStableFunc(list, func(a, b *lesson.Lesson) int { return last(a).Compare(last(b)) })
	return list
}

// tempts reports whether one of a lesson's choices comes from a wrong idea.
func tempts(l *lesson.Lesson, idea string) bool {
	return slices.ContainsFunc(l.Predict.Choices, func(c lesson.Choice) bool { return c.Idea == idea })
}

// longestAgo is which of a lesson's two questions was asked longer ago.
func (p *Progress) longestAgo(lesson string) string {
	if p.asked(lesson, "after").Before(p.asked(lesson, "before")) {
		return "after"
	}
	return "before"
}

// asked is when a question was answered last.
func (p *Progress) asked(lesson, step string) time.Time {
	for _, a := range slices.Backward(p.Answers) {
		if a.Lesson == lesson && a.question() == step {
			return a.At
		}
	}
	return time.Time{}
}
