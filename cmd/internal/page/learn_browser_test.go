//go:build browser

package page_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/lessons"
	"drywire/chains/report"
	"drywire/chains/report/browsertest"
	"drywire/cmd/internal/page"
	"drywire/cmd/internal/produce"
)

// A lesson that is served beside its board, by keyboard alone: what is answered comes to whoever
// keeps it, and the goal is judged by the board that is open.
func TestLearnByKeyboard(t *testing.T) {
	l, err := lessons.Find("levels")
	if err != nil {
		t.Fatal(err)
	}
	p, err := produce.ProveLesson(t.Context(), nil, l)
	if err != nil {
		t.Fatal(err)
	}
	data, err := p.Page(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	data.Live = "./"
	var text bytes.Buffer
	if err := report.WriteLesson(&text, data); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "levels.yaml")
	if err := os.WriteFile(file, l.Board.Text, 0o600); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	kept := map[string]string{}
	o := page.Options{File: file, Lesson: &page.Lesson{
		Page: text.Bytes(), Steps: []string{"before", "heard", "after"},
		Kept: func(step, said string, right bool) error {
			mu.Lock()
			defer mu.Unlock()
			kept[step] = said
			return nil
		},
		Judge: func(_ context.Context, p *produce.Project, take string) ([]string, error) {
			return []string{"Not there yet: " + take}, nil
		},
	}}
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	o.Ready = func(address string) { ready <- address }
	go func() { ended <- page.Serve(ctx, o) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	address := <-ready
	b := browsertest.Open(t, browsertest.Page{
		Address: address + "lesson", Lifetime: 2 * time.Minute, Patience: 10 * time.Second,
		Own: func(request string) bool {
			return strings.HasPrefix(request, address) || strings.HasPrefix(request, "data:font/") || strings.HasSuffix(request, "/favicon.ico")
		},
	})
	to := func(selector string) {
		t.Helper()
		for range 60 {
			if b.Holds("document.activeElement.matches('" + selector + "')") {
				return
			}
			b.Tab()
		}
		t.Fatalf("the tabulator never comes to %s", selector)
	}
	press := func(keys string) { b.Do(chromedp.KeyEvent(keys)) }
	to("input[name=before]")
	press(kb.ArrowDown + kb.Enter)
	to("input[name=heard]")
	press(kb.ArrowDown + kb.Enter)
	b.Wait(`document.getElementById("judge").checkVisibility()`)
	to("#judge")
	press(kb.Enter)
	b.Wait(`document.getElementById("judged").textContent.includes("open the board first")`)
	// as a window does
	b.Run(`fetch("api/open", {method: "POST", headers: {"Content-Type": "application/json", "X-Drywire": "1"}, body: "{}"})`)
	press(kb.Enter)
	b.Wait(`document.getElementById("judged").textContent.includes("Not there yet: no boost")`)
	to("input[name=after]")
	press(kb.ArrowDown + kb.Enter)
	b.Wait(`document.getElementById("answers").checkVisibility()`)
	for range 100 {
		mu.Lock()
		n := len(kept)
		mu.Unlock()
		if n == 3 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	mu.Lock()
	defer mu.Unlock()
	if kept["before"] == "" || kept["heard"] == "" || kept["after"] == "" {
		t.Errorf("kept %v", kept)
	}
	b.Quiet("409") // the browser's own word on the first judgement
}
