package page

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"

	"drywire/cmd/internal/produce"
)

// A lesson is served beside its board; answers come to whoever keeps them, and the judge gets the
// board as the listener has made it.
func TestLessonBesideItsBoard(t *testing.T) {
	var kept []string
	var judged, take string
	l := &Lesson{
		Page: []byte("<!doctype html><title>A lesson</title>"), Steps: []string{"heard", "after"}, Take: "late",
		Kept: func(step, said string, right bool) error {
			if said == "full" {
				return errors.New("the disk is full")
			}
			kept = append(kept, step+" "+said)
			return nil
		},
		Judge: func(_ context.Context, p *produce.Project, of string) ([]string, error) {
			judged, take = string(p.Text.Source), of
			return []string{"Not there yet."}, nil
		},
	}
	p := openPage(t, quickFile, func(_ string, o *Options) { o.Lesson = l })
	r, err := p.client.Get(p.address + "lesson")
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(r.Body)
	r.Body.Close()
	if string(body) != string(l.Page) || !strings.HasPrefix(r.Header.Get("Content-Type"), "text/html") || r.Header.Get("Content-Security-Policy") != "frame-ancestors 'none'" {
		t.Errorf("served %q with %v", body, r.Header)
	}
	for _, c := range []struct {
		path, body string
		status     int
		want       string
	}{
		{"kept", `{"step":"heard","said":"plain","right":true}`, 200, "{}"},
		{"kept", `{"step":"perhaps","said":"plain","right":true}`, 400, `no step`},
		{"kept", `{"step":"after","said":"full","right":true}`, 409, "the disk is full"},
		{"judge", `{}`, 409, "open the board first"},
		{"api/open", `{}`, 200, "session"},
		{"judge", `{}`, 200, "Not there yet."},
	} {
		if status, text := p.post(c.path, json.RawMessage(c.body), nil); status != c.status || !strings.Contains(string(text), c.want) {
			t.Errorf("%s %s: %d %s, want %d %s", c.path, c.body, status, text, c.status, c.want)
		}
	}
	if len(kept) != 1 || kept[0] != "heard plain" {
		t.Errorf("kept %q", kept)
	}
	if judged != quickFile || take != "late" {
		t.Errorf("judged take %q of %q", take, judged)
	}
}

// Without a lesson there is none.
func TestNoLesson(t *testing.T) {
	p := openPage(t, quickFile)
	r, err := p.client.Get(p.address + "lesson")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusNotFound {
		t.Errorf("%d, want 404", r.StatusCode)
	}
}
