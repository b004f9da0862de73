package cli

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drywire/chains/lessons"
)

// What went wrong comes back as a drill, with a sound and questions of several lessons; what is
// answered there is kept under the lesson that it is of, and the drill does not come twice.
func TestLearnDrills(t *testing.T) {
	state := t.TempDir()
	t.Setenv("XDG_STATE_HOME", state)
	file := filepath.Join(state, "drywire", "lessons.txt")
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		t.Fatal(err)
	}
	var kept strings.Builder
	for day, name := range []string{"guitar-volume", "eq-early-late", "boost-early-late"} {
		l, err := lessons.Find(name)
		if err != nil {
			t.Fatal(err)
		}
		said := l.Predict.Choices[l.Predict.Right()].Belief
		right := "right"
		for _, c := range l.Predict.Choices {
			if c.Idea == "order does not matter" && name != "guitar-volume" {
				said, right = c.Belief, "wrong"
			}
		}
		at := time.Now().AddDate(0, 0, day-9).UTC().Format(time.RFC3339)
		heard := map[bool]string{true: "wrong", false: "right"}[name == "eq-early-late"]
		fmt.Fprintf(&kept, "%s %s before %s %s\n%s %s heard %s %s\n%s %s after %s %s\n", at, name, right, said, at, name, heard, l.Hear.Takes[0], at, name, right, said)
	}
	if err := os.WriteFile(file, []byte(kept.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, interrupt := context.WithCancel(context.Background())
	defer interrupt()
	out, to := io.Pipe()
	var errs strings.Builder
	code := make(chan int, 1)
	go func() {
		code <- Run(ctx, []string{"learn", "--no-open"}, strings.NewReader(""), to, &errs)
		to.Close()
	}()
	lines := bufio.NewScanner(out)
	lines.Scan()
	address := lines.Text()
	go io.Copy(io.Discard, out)
	r, err := http.Get(address)
	if err != nil {
		t.Fatalf("%q: %v: %s", address, err, errs.String())
	}
	body, _ := io.ReadAll(r.Body)
	r.Body.Close()
	for _, want := range []string{
		"A drill, 4 questions", "Bending the sound, before or after", "Behind that is the idea that order does not matter.",
		"The last time, you heard “equaliser first”.", "It was asked because “order does not matter” is tempting here as well.",
		`<script type="text/plain" class="sound">`, `data-step="heard"`,
	} {
		if !strings.Contains(string(body), want) {
			t.Errorf("the drill does not have %q", want)
		}
	}
	for _, step := range []string{"heard", "q1", "q2", "q3", "q4", "q5"} {
		q, err := http.NewRequest(http.MethodPost, strings.TrimSuffix(address, "lesson")+"kept", strings.NewReader(`{"step":"`+step+`","said":"so it is","right":true}`))
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Content-Type", "application/json")
		q.Header.Set("X-Drywire", "1")
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		t.Logf("%s: %d", step, r.StatusCode)
	}
	interrupt()
	select {
	case c := <-code:
		if c != done {
			t.Errorf("exit code %d, and said %q", c, errs.String())
		}
	case <-time.After(20 * time.Second):
		t.Fatal("an interrupt does not end it")
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	added := strings.TrimPrefix(string(text), kept.String())
	t.Log("\n" + added)
	for _, want := range []string{" eq-early-late heard-again right so it is\n", " boost-early-late before-again right so it is\n", " eq-early-late before-again right so it is\n", " guitar-volume before-again right so it is\n"} {
		if !strings.Contains(added, want) {
			t.Errorf("%q is not kept", want)
		}
	}
	if list := mustRun(t, "learn", "--list"); strings.Contains(list, "comes back now") {
		t.Errorf("something is due still:\n%s", list)
	}
}
