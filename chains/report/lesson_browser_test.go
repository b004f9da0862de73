//go:build browser

package report

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/report/browsertest"
)

// openLesson opens the page of a lesson: LESSON names one that was exported, or else it is small.
func openLesson(t *testing.T) *browsertest.Browser {
	t.Helper()
	if file := os.Getenv("LESSON_PAGE"); file != "" {
		return openFile(t, file)
	}
	var b bytes.Buffer
	if err := WriteLesson(&b, taught()); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "lesson.html")
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return openFile(t, file)
}

// tabTo presses the tabulator until what is wanted has the focus.
func tabTo(t *testing.T, b *browsertest.Browser, selector string) {
	t.Helper()
	for range 60 {
		if b.Holds(`document.activeElement.matches(` + quoted(selector) + `)`) {
			return
		}
		b.Tab()
	}
	t.Fatalf("the tabulator never comes to %s", selector)
}

func quoted(s string) string { return "'" + s + "'" }

// A whole lesson by keyboard alone, at three sizes: prediction, hearing, answer, text to paste.
// What comes later is not to be seen before.
func TestLessonByKeyboard(t *testing.T) {
	for _, size := range []struct {
		width, height int
		projector     bool
	}{{390, 844, false}, {1280, 900, false}, {1920, 1080, true}} {
		b := openLesson(t)
		b.Resize(size.width, size.height)
		press := func(keys string) { t.Helper(); b.Do(chromedp.KeyEvent(keys)) }
		shown := func() int {
			return b.Int(`[...document.querySelectorAll(".step")].filter(s => s.checkVisibility()).length`)
		}
		if size.projector {
			press("p")
		}
		if n := shown(); n != 1 {
			t.Errorf("%d px: %d steps are shown at first, want the question alone", size.width, n)
		}
		tabTo(t, b, "input[name=before]")
		press(kb.ArrowDown)
		press(kb.Enter)
		b.Wait(`document.querySelector(".step:has(form[data-step=heard])").checkVisibility()`)
		if b.Holds(`document.getElementById("which").checkVisibility()`) || b.Holds(`document.querySelector(".blind").classList.contains("told")`) {
			t.Errorf("%d px: what there was to hear is told before it was heard", size.width)
		}
		if b.Holds(`document.querySelector(".blind .true").checkVisibility({visibilityProperty: true})`) {
			t.Errorf("%d px: the true levels tell which is which", size.width)
		}
		tabTo(t, b, "#play")
		press(" ")
		b.Wait(`drywire.player?.deck`)
		press("2")
		b.Wait(`drywire.player.chosen === 1`)
		press(" ")
		tabTo(t, b, "input[name=heard]")
		press(kb.ArrowDown) // Two
		if !b.Holds(`document.querySelector("input[name=heard]:checked").value === "2"`) {
			t.Errorf("%d px: the arrow does not choose", size.width)
		}
		tabTo(t, b, "textarea[name=saw]")
		press("rain in the gaps p 1")
		if size.projector && !b.Holds(`document.documentElement.classList.contains("projector")`) {
			t.Error("a letter that is typed leaves the projector's view")
		}
		tabTo(t, b, "form[data-step=heard] button.main")
		press(kb.Enter)
		b.Wait(`document.getElementById("which").checkVisibility()`)
		if told := b.Text(`document.getElementById("which").textContent`); !strings.Contains(told, "One was “") {
			t.Errorf("%d px: told %q", size.width, told)
		}
		for size.projector && b.Holds(`!document.querySelector("form[data-step=after]").checkVisibility()`) {
			was := b.Int(`[...document.querySelectorAll(".step")].findIndex(s => s.classList.contains("current"))`)
			press(kb.PageDown)
			if now := b.Int(`[...document.querySelectorAll(".step")].findIndex(s => s.classList.contains("current"))`); now != was+1 {
				t.Fatalf("page down goes from step %d to %d", was, now)
			}
		}
		tabTo(t, b, "input[name=after]")
		press(kb.ArrowDown)
		press(kb.Enter)
		b.Wait(`document.getElementById("answers").checkVisibility()`)
		tabTo(t, b, "#who")
		press("Ada")
		answers := b.Text(`document.getElementById("answers").value`)
		for _, want := range []string{"drywire answers 1\n", "who: Ada\n", "saw: rain in the gaps p 1\n"} {
			if !strings.Contains(answers, want) {
				t.Errorf("%d px: answers %q have no %q", size.width, answers, want)
			}
		}
		for _, key := range []string{"before: -\n", "heard: -\n", "after: -\n"} {
			if strings.Contains(answers, key) {
				t.Errorf("%d px: %q in %q", size.width, key, answers)
			}
		}
		if wide := b.Int("document.documentElement.scrollWidth"); wide > size.width {
			t.Errorf("at %d px the page is %d px wide", size.width, wide)
		}
		b.Quiet()
	}
}

// In front of a class, no letter has capitals lower than a fortieth of the height.
func TestProjectorLetters(t *testing.T) {
	b := openLesson(t)
	b.Resize(1920, 1080)
	b.Do(chromedp.KeyEvent("p"))
	steps := b.Int(`document.querySelectorAll(".step").length`)
	seen := 0
	for k := range steps {
		small := browsertest.Eval[[]string](b, `(() => {
			const list = [], c = document.createElement("canvas").getContext("2d"), least = innerHeight / 40;
			const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
			globalThis.lettersSeen = 0;
			for (let n = walk.nextNode(); n; n = walk.nextNode()) {
				const e = n.parentElement;
				if (!n.textContent.trim() || !e.checkVisibility({visibilityProperty: true}) || e.closest(".unseen, .skip, script, style, option")) continue;
				const s = getComputedStyle(e);
				c.font = s.fontWeight + " " + s.fontSize + " " + s.fontFamily;
				let cap = c.measureText("H").actualBoundingBoxAscent;
				const svg = e.closest("svg");
				if (svg) cap *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
				globalThis.lettersSeen++;
				if (cap < least - 0.5) list.push(e.tagName + "." + e.className?.toString() + " " + cap.toFixed(1) + " of " + least + ": " + n.textContent.trim().slice(0, 30));
			}
			return list;
		})()`)
		for _, s := range small {
			t.Errorf("step %d: %s", k+1, s)
		}
		seen += b.Int("lettersSeen")
		b.Do(chromedp.KeyEvent(kb.PageDown))
	}
	if seen < 50 {
		t.Errorf("only %d texts seen", seen)
	}
}

// The checker of accessibility finds nothing, in any state of the page, light and dark.
func TestLessonAccess(t *testing.T) {
	axe := browsertest.NeedAxe(t)
	for _, scheme := range []string{"light", "dark"} {
		b := openLesson(t)
		b.Scheme(scheme)
		look := func(state string) {
			t.Helper()
			b.Do(chromedp.Sleep(0))
			found := axe.Check(b)
			if found.Passes < 10 {
				t.Errorf("%s, %s: only %d rules kept: nothing was looked at", scheme, state, found.Passes)
			}
			for _, v := range found.Violations {
				t.Errorf("%s, %s: %s (%s): %s\n%s", scheme, state, v.ID, v.Impact, v.Help, strings.Join(v.Where, "\n"))
			}
		}
		for _, width := range []int{390, 1280} {
			b.Resize(width, 900)
			look("question")
		}
		b.Run(`for (const p of document.querySelectorAll(".pass")) p.click()`)
		for _, width := range []int{390, 1280} {
			b.Resize(width, 900)
			look("all")
		}
		b.Resize(1920, 1080)
		b.Run(`document.getElementById("projector").click()`)
		look("projector")
	}
}

// Pictures for the eye, where PICTURES names a folder.
func TestLessonPictures(t *testing.T) {
	folder := os.Getenv("PICTURES")
	if folder == "" {
		t.Skip("PICTURES names no folder")
	}
	b := openLesson(t)
	b.Picture(filepath.Join(folder, "question-1280.png"), 1280)
	b.Run(`for (const p of document.querySelectorAll(".pass")) p.click()`)
	b.Picture(filepath.Join(folder, "all-1280.png"), 1280)
	b.Picture(filepath.Join(folder, "all-390.png"), 390)
	b.Resize(1920, 1080)
	b.Run(`document.getElementById("projector").click()`)
	for k := range 4 {
		b.Shot(filepath.Join(folder, "beam-"+string(rune('1'+k))+".png"))
		b.Do(chromedp.KeyEvent(kb.PageUp))
	}
}

// A drill by keyboard alone, in its three sizes: a question, its answer at once, the next one; what
// was answered is told to whoever serves it, and the checker of accessibility finds nothing.
func TestDrillByKeyboard(t *testing.T) {
	l := taught()
	var text bytes.Buffer
	if err := WriteDrill(&text, Drill{Items: []DrillItem{
		{Lesson: l.Lesson, Step: "before", Slip: "The last time, you thought “more in, more out”."},
		{Lesson: l.Lesson, Step: "heard", Slip: "The last time, you heard “after”."},
		{Lesson: l.Lesson, Step: "after", Slip: "It was asked because “more is louder” is tempting here as well."},
	}, Heard: l.Proof.Heard, Rate: l.Rate, Hearing: l.Hearing}); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var kept []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/kept" {
			body, _ := io.ReadAll(r.Body)
			mu.Lock()
			kept = append(kept, string(body))
			mu.Unlock()
			fmt.Fprint(w, "{}")
			return
		}
		w.Write(text.Bytes())
	}))
	defer server.Close()
	for _, size := range []struct {
		width, height int
		projector     bool
	}{{390, 844, false}, {1280, 720, false}, {1920, 1080, true}} {
		b := browsertest.Open(t, browsertest.Page{Address: server.URL + "/lesson", Lifetime: time.Minute, Patience: 10 * time.Second,
			Own: func(r string) bool { return strings.HasPrefix(r, server.URL) || strings.HasPrefix(r, "data:") }})
		b.Resize(size.width, size.height)
		look := func(state string) {
			t.Helper()
			if wide := b.Int("document.documentElement.scrollWidth"); wide > size.width {
				t.Errorf("at %d px the page is %d px wide", size.width, wide)
			}
			if os.Getenv("AXE") != "" {
				for _, v := range browsertest.NeedAxe(t).Check(b).Violations {
					t.Errorf("%d px, %s: %s: %s\n%s", size.width, state, v.ID, v.Help, strings.Join(v.Where, "\n"))
				}
			}
			if folder := os.Getenv("PICTURES"); folder != "" {
				b.Shot(filepath.Join(folder, fmt.Sprintf("drill-%d-%s.png", size.width, state)))
			}
		}
		press := func(keys string) { t.Helper(); b.Do(chromedp.KeyEvent(keys)) }
		if size.projector {
			press("p")
		}
		if n := b.Int(`[...document.querySelectorAll(".step")].filter(s => s.checkVisibility()).length`); n != 1 {
			t.Errorf("%d px: %d steps are shown at first", size.width, n)
		}
		look("1")
		for _, step := range []string{"q1", "heard", "q3"} {
			for size.projector && !b.Holds(`document.querySelector("form[data-step=`+step+`]").checkVisibility()`) {
				press(kb.PageDown)
			}
			tabTo(t, b, "input[name="+step+"]")
			press(kb.ArrowDown + kb.Enter)
			b.Wait(`document.querySelector("form[data-step=` + step + `] input").disabled`)
			look("after-" + step)
		}
		b.Wait(`[...document.querySelectorAll("#thinks-q1 .yours, #thinks-q3 .yours")].filter(y => !y.hidden).length === 2`)
		b.Quiet()
	}
	mu.Lock()
	defer mu.Unlock()
	if len(kept) != 9 {
		t.Fatalf("%d answers are kept, want 9: %s", len(kept), kept)
	}
	for k, want := range []string{`{"step":"q1","said":"after a clipper, louder","right":true}`, `{"step":"heard"`, `{"step":"q3","said":"after a clipper, louder","right":true}`} {
		if !strings.HasPrefix(kept[k], want) {
			t.Errorf("kept %s, want %s", kept[k], want)
		}
	}
}

// The same lesson in Firefox, by keyboard alone.
func TestLessonInFirefox(t *testing.T) {
	file := os.Getenv("LESSON_PAGE")
	if file == "" {
		var b bytes.Buffer
		if err := WriteLesson(&b, taught()); err != nil {
			t.Fatal(err)
		}
		file = filepath.Join(t.TempDir(), "lesson.html")
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f := browsertest.OpenFirefox(t, "file://"+file, 1280, 900)
	to := func(selector string) {
		t.Helper()
		for range 60 {
			if f.Eval("document.activeElement.matches('"+selector+"')") == true {
				return
			}
			f.Press(browsertest.FirefoxTab)
		}
		t.Fatalf("the tabulator never comes to %s", selector)
	}
	to("input[name=before]")
	f.Press(browsertest.FirefoxDown + browsertest.FirefoxEnter)
	f.Wait(`document.querySelector(".step:has(form[data-step=heard])").checkVisibility()`)
	if f.Eval(`document.getElementById("which").checkVisibility()`) == true {
		t.Error("what there was to hear is told before it was heard")
	}
	to("#play")
	f.Press(" ")
	// without a sound card, this browser's clock of sounds stands still: that they are decoded is
	// what can be seen
	f.Wait(`drywire.player?.takes.length === 2 && drywire.player.takes[0].duration > 0.5`)
	f.Press("2")
	f.Wait(`document.querySelectorAll(".choose")[1].getAttribute("aria-pressed") === "true"`)
	to("input[name=heard]")
	f.Press(browsertest.FirefoxDown)
	to("form[data-step=heard] button.main")
	f.Press(browsertest.FirefoxEnter)
	f.Wait(`document.getElementById("which").textContent.includes("One was")`)
	to("input[name=after]")
	f.Press(browsertest.FirefoxDown + browsertest.FirefoxEnter)
	f.Wait(`document.getElementById("answers").checkVisibility()`)
	answers, _ := f.Eval(`document.getElementById("answers").value`).(string)
	for _, not := range []string{"before: -\n", "heard: -\n", "after: -\n"} {
		if strings.Contains(answers, not) {
			t.Errorf("%q in %q", not, answers)
		}
	}
	if wide := f.Eval("document.documentElement.scrollWidth > innerWidth"); wide == true {
		t.Error("the page is wider than the window")
	}
}
