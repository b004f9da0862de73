package learn

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

var begin = time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

// What went wrong comes back after the pauses, later each time that it goes well, at once on the
// first rung when it goes wrong again, and in the end no more. What went well does not come back,
// nor does what was believed beforehand; what goes well before it is due changes nothing.
func TestWhatWentWrongComesBack(t *testing.T) {
	p := &Progress{Path: filepath.Join(t.TempDir(), "state", "lessons.txt")}
	add := func(at time.Time, lesson, step string, right bool) {
		t.Helper()
		if err := p.Add(Answer{at, lesson, step, right, "some  belief\nof two lines"}); err != nil {
			t.Fatal(err)
		}
	}
	due := func(at time.Time, want ...string) {
		t.Helper()
		got := []string{}
		for _, d := range p.Reviews() {
			if !d.At.After(at) {
				got = append(got, d.Lesson+map[bool]string{true: " sound"}[d.Sound])
			}
		}
		if !slices.Equal(got, want) && len(got)+len(want) > 0 {
			t.Errorf("after %v: %q, want %q", at.Sub(begin), got, want)
		}
	}
	due(begin)
	add(begin, "levels", "before", false) // a belief, no mistake
	add(begin, "levels", "heard", true)
	add(begin, "levels", "after", true)
	due(begin.AddDate(1, 0, 0))

	add(begin, "ladder", "before", true)
	add(begin, "ladder", "heard", false)
	add(begin, "ladder", "after", true) // of another card: what was thought is not what was heard
	at := begin
	for _, pause := range pauses {
		due(at.Add(pause - time.Minute))
		add(at.Add(pause-time.Minute), "ladder", "heard-again", true) // too early to count
		at = at.Add(pause)
		due(at, "ladder sound")
		add(at, "ladder", "heard-again", true)
	}
	due(at.AddDate(1, 0, 0))
	add(at, "ladder", "heard-again", false)
	add(at, "ladder", "before-again", false) // in a drill, this is a mistake
	due(at.Add(pauses[0] - time.Minute))
	due(at.Add(pauses[0]), "ladder sound", "ladder")
	add(at.Add(pauses[0]), "ladder", "after-again", false)
	due(at.Add(pauses[0]), "ladder sound")

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
		"2026-03-01T18:00:00Z levels again right so\n":            ":1: ",
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
