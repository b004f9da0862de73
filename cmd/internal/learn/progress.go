// Package learn keeps what a listener has answered in the lessons on this machine, in one file that
// people can read, and says from it what to ask next: what went wrong comes back in a drill, later
// each time that it goes well, with other questions on what this listener confuses. It counts no
// points.
//
// Start reading at Progress (the file), then Reviews (when what comes back) and Drill (what is
// asked).
package learn

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"drywire/chains/lesson"
	"drywire/cmd/internal/files"
)

// Answer is one line of the file: what was answered when.
type Answer struct {
	At     time.Time
	Lesson string
	Step   string // before, heard or after; with again behind it, in a drill
	Right  bool
	Said   string // the belief, or the take
}

// Steps are the questions of a lesson.
var Steps = []string{"before", "heard", "after"}

// again is the ending of a step that was asked in a drill.
const again = "-again"

// Again is a question of a lesson, as a drill asks it.
func Again(step string) string { return step + again }

// question is which of Steps was asked.
func (a Answer) question() string { return strings.TrimSuffix(a.Step, again) }

// Progress is the file.
type Progress struct {
	Path    string
	Answers []Answer
}

// head is what the file begins with, for whoever opens it.
const head = "# What was answered in the lessons (drywire learn), a line for every answer: when, which lesson, before it,\n" +
	"# heard in it or after it (again: in a drill), right or wrong, and what was said. It stays on this machine. Delete lines, or all of it.\n"

// Path is where the file is: in the state folder of files.StateFolder. The error is that of
// files.StateFolder.
func Path() (string, error) {
	folder, err := files.StateFolder()
	return filepath.Join(folder, "lessons.txt"), err
}

// Read reads the file; one that is not there is empty. A line that cannot be read is an error that
// has its number, and nothing is taken for known; others are the file system's.
func Read(path string) (*Progress, error) {
	p := &Progress{Path: path}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return p, nil
	}
	if err != nil {
		return nil, err
	}
	lines := bufio.NewScanner(bytes.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		a, err := parse(line)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", path, n, err)
		}
		p.Answers = append(p.Answers, a)
	}
	return p, lines.Err()
}

func parse(line string) (Answer, error) {
	f := strings.SplitN(line, " ", 5)
	if len(f) < 4 {
		return Answer{}, fmt.Errorf("%.40q is no answer; want a time, a lesson, before, heard or after, right or wrong, and what was said", line)
	}
	at, err := time.Parse(time.RFC3339, f[0])
	if err != nil {
		return Answer{}, fmt.Errorf("%.40q is no time like 2026-03-01T18:30:00Z", f[0])
	}
	a := Answer{At: at, Lesson: f[1], Step: f[2], Right: f[3] == "right"}
	if !slices.Contains(Steps, a.question()) || f[3] != "right" && f[3] != "wrong" {
		return Answer{}, fmt.Errorf("%.60q: want before, heard or after, and right or wrong", line)
	}
	if len(f) == 5 {
		a.Said = f[4]
	}
	return a, nil
}

// Add keeps one more answer, at the end of the file. The error is the file system's; the answer is
// then not among Answers.
func (p *Progress) Add(a Answer) error {
	if err := os.MkdirAll(filepath.Dir(p.Path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(p.Path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	text := ""
	if info, err := f.Stat(); err == nil && info.Size() == 0 {
		text = head
	}
	right := map[bool]string{true: "right", false: "wrong"}[a.Right]
	text += strings.Join(append([]string{a.At.UTC().Format(time.RFC3339), a.Lesson, a.Step, right}, strings.Fields(a.Said)...), " ") + "\n"
	_, err = f.WriteString(text)
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	p.Answers = append(p.Answers, a)
	return nil
}

// pauses is after how long comes back what went wrong, by how often it has gone well in a row
// since; after the last of them, it does not come back. That what is known waits longer and what
// was wrong begins anew is the scheme of a box of cards in compartments (a book on how to learn,
// 1972; from memory); that spaced questions are kept longer than massed ones: Psychological
// Bulletin 132(3), 354-380, 2006 (from memory). How long each waits is common practice, no source.
var pauses = []time.Duration{20 * time.Hour, 3 * 24 * time.Hour, 7 * 24 * time.Hour, 21 * 24 * time.Hour}

// Due is what comes back of a lesson, and why: what was heard, or what was thought.
type Due struct {
	Lesson string
	Sound  bool // the two takes, and not the questions
	At     time.Time
	Wrong  Answer // what went wrong last
}

// Reviews is what comes back, what is due first before the others. What was believed before a
// lesson is no mistake: one is asked in order to find out. What was heard, and what was answered
// after it or in a drill, is. What goes well before it is due changes nothing: cramming is no
// spacing.
func (p *Progress) Reviews() (list []Due) {
	type card struct {
		lesson string
		sound  bool
	}
	type state struct {
		due  Due
		well int
	}
	by := map[card]*state{}
	var order []card
	for _, a := range p.Answers {
		if a.Step == "before" {
			continue
		}
		c := card{a.Lesson, a.question() == "heard"}
		s := by[c]
		switch {
		case !a.Right && s == nil:
			by[c] = &state{due: Due{a.Lesson, c.sound, a.At.Add(pauses[0]), a}}
			order = append(order, c)
		case !a.Right:
			s.well, s.due.At, s.due.Wrong = 0, a.At.Add(pauses[0]), a
		case s != nil && s.well < len(pauses) && !a.At.Before(s.due.At):
			if s.well++; s.well < len(pauses) {
				s.due.At = a.At.Add(pauses[s.well])
			}
		}
	}
	for _, c := range order {
		if s := by[c]; s.well < len(pauses) {
			list = append(list, s.due)
		}
	}
	slices.SortStableFunc(list, func(a, b Due) int { return a.At.Compare(b.At) })
	return list
}

// Done reports whether a lesson was gone through: its last question was answered.
func (p *Progress) Done(lesson string) bool {
	return slices.ContainsFunc(p.Answers, func(a Answer) bool { return a.Lesson == lesson && a.Step == "after" })
}

// Next is the first lesson of a course that was not gone through; "" where there is none.
func (p *Progress) Next(course []*lesson.Lesson) string {
	for _, l := range course {
		if !p.Done(l.Name) {
			return l.Name
		}
	}
	return ""
}
