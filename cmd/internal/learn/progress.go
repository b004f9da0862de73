// Package learn keeps what a listener has answered in the lessons on this machine, in one file that
// people can read, and says from it which lesson is next: what went wrong comes back, later each
// time that it goes well. It counts no points.
//
// Start reading at Progress, then Next.
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

	"drywire/cmd/internal/files"
)

// Answer is one line of the file: what was answered when.
type Answer struct {
	At     time.Time
	Lesson string
	Step   string // before, heard or after
	Right  bool
	Said   string // the belief, or the take
}

// Steps are the questions of a lesson.
var Steps = []string{"before", "heard", "after"}

// Progress is the file.
type Progress struct {
	Path    string
	Answers []Answer
}

// head is what the file begins with, for whoever opens it.
const head = "# What was answered in the lessons (drywire learn), a line for every answer: when, which lesson, before it,\n" +
	"# heard in it or after it, right or wrong, and what was said. It stays on this machine. Delete lines, or all of it.\n"

// Path is where the file is: in the state folder of files.StateFolder.
func Path() (string, error) {
	folder, err := files.StateFolder()
	return filepath.Join(folder, "lessons.txt"), err
}

// Read reads the file; one that is not there is empty. A line that cannot be read is told with its
// number, and nothing is taken for known.
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
	if !slices.Contains(Steps, f[2]) || f[3] != "right" && f[3] != "wrong" {
		return Answer{}, fmt.Errorf("%.60q: want before, heard or after, and right or wrong", line)
	}
	a := Answer{At: at, Lesson: f[1], Step: f[2], Right: f[3] == "right"}
	if len(f) == 5 {
		a.Said = f[4]
	}
	return a, nil
}

// Add keeps one more answer, at the end of the file.
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

// pauses is after how long a lesson comes back that went wrong, by how often it has gone well in a
// row since: common practice of spaced repetition, no source. After the last, it does not come
// back.
var pauses = []time.Duration{20 * time.Hour, 3 * 24 * time.Hour, 7 * 24 * time.Hour, 21 * 24 * time.Hour}

// Due is a lesson that comes back, and why.
type Due struct {
	Lesson string
	At     time.Time
	Wrong  Answer // what went wrong last
}

// Reviews is the lessons that come back, the one that is due first before the others. What was
// believed before a lesson is no mistake: one is asked in order to find out. What was heard, and
// what was answered after it, is.
func (p *Progress) Reviews() (list []Due) {
	by := map[string]*struct {
		wrong *Answer
		last  time.Time
		well  int
	}{}
	var names []string
	for k := range p.Answers {
		a := &p.Answers[k]
		if a.Step == "before" {
			continue
		}
		s := by[a.Lesson]
		if s == nil {
			s = &struct {
				wrong *Answer
				last  time.Time
				well  int
			}{}
			by[a.Lesson] = s
			names = append(names, a.Lesson)
		}
		switch {
		case !a.Right:
			s.wrong, s.well = a, 0
		case a.Step == "after" && s.wrong != nil && a.At.Sub(s.wrong.At) > time.Hour: // of another time through
			s.well++
		}
		s.last = a.At
	}
	for _, name := range names {
		if s := by[name]; s.wrong != nil && s.well < len(pauses) {
			list = append(list, Due{name, s.last.Add(pauses[s.well]), *s.wrong})
		}
	}
	slices.SortStableFunc(list, func(a, b Due) int { return a.At.Compare(b.At) })
	return list
}

// Done reports whether a lesson was gone through: its last question was answered.
func (p *Progress) Done(lesson string) bool {
	return slices.ContainsFunc(p.Answers, func(a Answer) bool { return a.Lesson == lesson && a.Step == "after" })
}

// Next is the lesson to take now, of a course in its order: the one that is due to come back, or
// else the first that was not gone through; "" where there is neither. back says why it comes back.
func (p *Progress) Next(course []string, now time.Time) (lesson string, back *Due) {
	for _, d := range p.Reviews() {
		if !d.At.After(now) && slices.Contains(course, d.Lesson) {
			return d.Lesson, &d
		}
	}
	for _, name := range course {
		if !p.Done(name) {
			return name, nil
		}
	}
	return "", nil
}
