package learn

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var begin = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

// A lesson that went wrong comes back after the pauses, later each time that it goes well, at once
// on the ladder's first rung when it goes wrong again, and in the end no more. One that went well
// does not come back.
func TestWhatWentWrongComesBack(t *testing.T) {
	course := []string{"levels", "ladder", "loading"}
	p := &Progress{Path: filepath.Join(t.TempDir(), "state", "lessons.txt")}
	add := func(at time.Time, lesson, step string, right bool) {
		t.Helper()
		if err := p.Add(Answer{at, lesson, step, right, "some  belief\nof two lines"}); err != nil {
			t.Fatal(err)
		}
	}
	next := func(at time.Time, want string, back bool) {
		t.Helper()
		got, due := p.Next(course, at)
		if got != want || (due != nil) != back {
			t.Errorf("after %v: %q (comes back: %t), want %q (%t)", at.Sub(begin), got, due != nil, want, back)
		}
	}
	next(begin, "levels", false)
	add(begin, "levels", "before", false) // a belief, no mistake
	add(begin, "levels", "heard", true)
	add(begin, "levels", "after", true)
	next(begin.AddDate(1, 0, 0), "ladder", false)

	add(begin, "ladder", "before", true)
	add(begin, "ladder", "heard", false)
	add(begin.Add(time.Minute), "ladder", "after", true) // of the same time through
	next(begin.Add(time.Hour), "loading", false)
	at := begin.Add(time.Minute)
	for k, pause := range pauses {
		if k > 0 {
			next(at.Add(pause-time.Minute), "loading", false)
		}
		at = at.Add(pause + time.Minute)
		next(at, "ladder", true)
		add(at, "ladder", "heard", true)
		add(at, "ladder", "after", true)
	}
	next(at.AddDate(1, 0, 0), "loading", false)
	add(at, "ladder", "after", false)
	next(at.Add(pauses[0]+time.Minute), "ladder", true)

	again, err := Read(p.Path)
	if err != nil {
		t.Fatal(err)
	}
	if len(again.Answers) != len(p.Answers) || again.Answers[0].Said != "some belief of two lines" || !again.Answers[0].At.Equal(begin) {
		t.Errorf("read back %d answers of %d, the first %+v", len(again.Answers), len(p.Answers), again.Answers[0])
	}
	text, _ := os.ReadFile(p.Path)
	if strings.Count(string(text), head) != 1 {
		t.Errorf("the head is there %d times", strings.Count(string(text), head))
	}
}

func TestReadTellsTheLine(t *testing.T) {
	file := filepath.Join(t.TempDir(), "lessons.txt")
	if p, err := Read(file); err != nil || len(p.Answers) != 0 {
		t.Errorf("a file that is not there: %v", err)
	}
	for text, want := range map[string]string{
		"# a remark\n\nyesterday levels after right so\n":         ":3: \"yesterday\" is no time",
		"2026-03-01T18:00:00Z levels later right so\n":            ":1: ",
		"2026-03-01T18:00:00Z levels after perhaps so\n":          ":1: ",
		"2026-03-01T18:00:00Z levels\n":                           ":1: ",
		"2026-03-01T18:00:00Z levels after right\nnothing else\n": ":2: ",
	} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(file); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func TestPath(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", "/a/state")
	if got, err := Path(); err != nil || got != filepath.FromSlash("/a/state/drywire/lessons.txt") {
		t.Errorf("%s, %v", got, err)
	}
	t.Setenv("XDG_STATE_HOME", "relative")
	t.Setenv("HOME", "/a/home")
	if got, err := Path(); err != nil || got != filepath.FromSlash("/a/home/.local/state/drywire/lessons.txt") {
		t.Errorf("%s, %v", got, err)
	}
}
