//go:build browser

package cli

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/class"
	"drywire/chains/lesson"
	"drywire/chains/lessons"
	"drywire/chains/report/browsertest"
)

// driver is a browser that a keyboard drives.
type driver interface {
	Wait(expression string)
	eval(expression string) any
	press(keys ...string)
	back() // to the page, from a tab that it has opened
}

// The keys that a walk presses.
const (
	tab, enter, down, pageDown = "tab", "enter", "down", "page down"
)

type chromium struct{ *browsertest.Browser }

func (c chromium) eval(expression string) any { return browsertest.Eval[any](c.Browser, expression) }
func (c chromium) press(keys ...string) {
	for _, k := range keys {
		if name, ok := map[string]string{tab: kb.Tab, enter: kb.Enter, down: kb.ArrowDown, pageDown: kb.PageDown}[k]; ok {
			k = name
		}
		c.Do(chromedp.KeyEvent(k))
	}
}

func (c chromium) back() {}

type firefox struct{ *browsertest.Firefox }

func (f firefox) eval(expression string) any { return f.Eval(expression) }
func (f firefox) press(keys ...string) {
	for _, k := range keys {
		if name, ok := map[string]string{tab: browsertest.FirefoxTab, enter: browsertest.FirefoxEnter, down: browsertest.FirefoxDown, pageDown: browsertest.FirefoxPage}[k]; ok {
			k = name
		}
		f.Press(k)
	}
}

func (f firefox) back() {
	f.Wait("document.hidden") // behind the tab that is opened
	f.Back()
}

// way is how a lesson is gone through: from the file that was exported, or on the page that learn
// serves; in a window of a size, with the large view of a projector perhaps.
type way struct {
	firefox, live, projector bool
	width, height            int
}

func (w way) String() string {
	return fmt.Sprintf("%s, %s, %d px%s", map[bool]string{true: "firefox", false: "chromium"}[w.firefox], map[bool]string{true: "page", false: "file"}[w.live], w.width, map[bool]string{true: ", projector"}[w.projector])
}

func ways() (list []way) {
	for _, size := range []way{{width: 390, height: 844}, {width: 1280, height: 720}, {width: 1920, height: 1080, projector: true}} {
		for _, fox := range []bool{false, true} {
			for _, live := range []bool{false, true} {
				size.firefox, size.live = fox, live
				list = append(list, size)
			}
		}
	}
	return list
}

// walk goes through a whole lesson by keyboard alone: predicts, plays and hears, says what was
// heard, reads, opens the board and has it measured where there is one, and answers on another
// board. What comes later is not to be seen before. It returns the answers.
func walk(t *testing.T, d driver, w way, l *lesson.Lesson, look func(state string)) class.Answers {
	t.Helper()
	fail := func(format string, args ...any) { t.Helper(); t.Errorf(w.String()+": "+format, args...) }
	to := func(selector string) {
		t.Helper()
		for range 80 {
			if d.eval("document.activeElement.matches(`"+selector+"`)") == true {
				return
			}
			d.press(tab)
		}
		t.Fatalf("%s: the tabulator never comes to %s", w, selector)
	}
	fits := func() {
		t.Helper()
		if d.eval("document.documentElement.scrollWidth > innerWidth") == true {
			fail("the page is wider than its window: %v of %v", d.eval("document.documentElement.scrollWidth"), d.eval("innerWidth"))
		}
	}
	seen := func(selector string) bool {
		return d.eval("document.querySelector(`"+selector+"`).checkVisibility()") == true
	}
	d.Wait(`document.readyState === "complete" && document.documentElement.classList.contains("live")`)
	if w.projector {
		d.press("p")
	}
	if n := d.eval(`[...document.querySelectorAll(".step")].filter(s => s.checkVisibility()).length`); n != 1.0 {
		fail("%v steps are shown at first", n)
	}
	look("1-question")
	fits()
	to("input[name=before]")
	d.press(down, enter)
	d.Wait("document.querySelector(`.step:has(form[data-step=heard])`).checkVisibility()")
	if seen("#which") || seen("#s-transfer") || d.eval("document.querySelector(`.blind .true`).checkVisibility({visibilityProperty: true})") == true {
		fail("what there was to hear is told before it was heard")
	}
	to("#play")
	d.press(" ")
	d.Wait("drywire.player?.takes.length === 2 && drywire.player.takes[0].duration > 1")
	d.press("2")
	d.Wait("document.querySelectorAll(`.choose`)[1].getAttribute(`aria-pressed`) === `true`")
	d.press(" ")
	look("2-listen")
	fits()
	to("input[name=heard]")
	d.press(down)
	to("textarea[name=saw]")
	d.press("g", "r", "i", "t")
	to("form[data-step=heard] button.main")
	d.press(enter)
	d.Wait("document.querySelector(`#which`).checkVisibility()")
	if told, _ := d.eval("document.querySelector(`#which`).textContent").(string); !strings.Contains(told, l.Hear.Takes[0]) || !strings.Contains(told, l.Hear.Takes[1]) {
		fail("told %q", told)
	}
	for k := 3; w.projector && !seen("form[data-step=after]"); k++ {
		look(fmt.Sprintf("%d", k))
		if w.live && seen("#judge") {
			hands(t, d, w, to)
		}
		was := d.eval("document.querySelector(`.step.current h2`).id")
		d.press(pageDown)
		if d.eval("document.querySelector(`.step.current h2`).id") == was {
			t.Fatalf("%s: page down stays at %v", w, was)
		}
	}
	if w.live && !w.projector {
		hands(t, d, w, to)
	}
	look("8-another")
	fits()
	to("input[name=after]")
	d.press(down, enter)
	d.Wait("document.querySelector(`#answers`).checkVisibility()")
	to("#who")
	d.press("A", "d", "a")
	look("9-end")
	fits()
	text, _ := d.eval("document.querySelector(`#answers`).value").(string)
	answers, err := class.ParseAnswers("answers", []byte(text))
	if err != nil || len(answers) != 1 {
		t.Fatalf("%s: %v\n%s", w, err, text)
	}
	a := answers[0]
	if a.Lesson != l.Name || a.Who != "Ada" || a.Saw != "grit" || a.Before == "" || a.Heard == "" || a.After == "" {
		fail("answered %+v", a)
	}
	return a
}

// hands opens the board and has it measured. Nothing was done to it, so its goal is not reached.
func hands(t *testing.T, d driver, w way, to func(string)) {
	t.Helper()
	to("#bench")
	d.press(enter)
	d.back()
	to("#judge")
	d.press(enter)
	judged := ""
	for range 240 {
		judged, _ = d.eval("document.querySelector(`#judged`).textContent").(string)
		if judged != "" && judged != "Measuring…" {
			if !strings.Contains(judged, "open the board first") {
				break
			}
			d.press(enter) // the board is on its way
		}
		time.Sleep(250 * time.Millisecond)
	}
	if !strings.HasPrefix(judged, "Not there yet.") || !strings.Contains(judged, "Wanted: ") {
		t.Errorf("%s: judged %q", w, judged)
	}
}

// learning runs learn for a lesson until the test ends, and returns the address of its page.
func learning(t *testing.T, name string) string {
	t.Helper()
	ctx, interrupt := context.WithCancel(context.Background())
	out, to := io.Pipe()
	var errs strings.Builder
	code := make(chan int, 1)
	go func() {
		code <- Run(ctx, []string{"learn", name, "--no-open"}, strings.NewReader(""), to, &errs)
		to.Close()
	}()
	t.Cleanup(func() {
		interrupt()
		if c := <-code; c != done {
			t.Errorf("exit code %d: %s", c, errs.String())
		}
	})
	lines := bufio.NewScanner(out)
	lines.Scan()
	go io.Copy(io.Discard, out)
	return lines.Text()
}

// Whole lessons, as they are exported and as learn serves them, are gone through by keyboard alone
// in both browsers: on a telephone, on a small screen and on a projector. What was answered on the
// served page is in the file of answers, and the checker of accessibility finds nothing in any
// state. Two lessons are gone through, each once in every size, by turns in either browser, from the
// file and served. LESSON=all does so with every lesson; LESSON=NAME goes through one in all twelve
// ways. PICTURES names a folder for what Chromium shows.
func TestWholeLessons(t *testing.T) {
	names, all := []string{"levels", "noise-hunt"}, false
	switch only := os.Getenv("LESSON"); only {
	case "":
	case "all":
		names = lessons.Names()
	default:
		names, all = []string{only}, true
	}
	var axe browsertest.Axe
	if os.Getenv("AXE") != "" {
		axe = browsertest.NeedAxe(t)
	}
	var fox *browsertest.Firefox
	walks := 0
	for n, name := range names {
		l, err := lessons.Find(name)
		if err != nil {
			t.Fatal(err)
		}
		state := t.TempDir()
		t.Setenv("XDG_STATE_HOME", state)
		file := filepath.Join(state, name+".html")
		mustRun(t, "lesson", name, "-o", file)
		address := learning(t, name)
		served := strings.TrimSuffix(address, "lesson")
		for k, w := range ways() {
			if !all && k%4 != (3*n+k/4)%4 {
				continue
			}
			at := "file://" + file
			if w.live {
				at = address
			}
			var d driver
			look := func(string) {}
			quiet := func() {}
			if w.firefox {
				if fox == nil {
					fox = browsertest.OpenFirefox(t, at, w.width, w.height)
				} else {
					fox.Go(at, w.width, w.height)
				}
				d = firefox{fox}
			} else {
				b := browsertest.Open(t, browsertest.Page{Address: at, Lifetime: 3 * time.Minute, Patience: 20 * time.Second,
					Own: func(r string) bool {
						return r == at || w.live && strings.HasPrefix(r, served) || strings.HasPrefix(r, "data:") || strings.HasSuffix(r, "/favicon.ico")
					}})
				b.Resize(w.width, w.height)
				// the browser's own word on a judgement without a board
				d, quiet = chromium{b}, func() { b.Quiet("409") }
				look = func(state string) {
					t.Helper()
					if axe != "" {
						for _, v := range axe.Check(b).Violations {
							t.Errorf("%s, %s, %s: %s (%s): %s\n%s", name, w, state, v.ID, v.Impact, v.Help, strings.Join(v.Where, "\n"))
						}
					}
					if folder := os.Getenv("PICTURES"); folder != "" {
						b.Shot(filepath.Join(folder, fmt.Sprintf("%s-%d-%s.png", name, w.width, state)))
					}
				}
			}
			if b, ok := d.(chromium); ok && !w.live && w.width == 1280 {
				if pages := b.PaperPages(); pages != 2 {
					t.Errorf("%s: worksheet and answers are printed on %d pages, want one each", name, pages)
				}
			}
			before := kept(t, state)
			a := walk(t, d, w, l, look)
			quiet()
			walks++
			if !w.live {
				continue
			}
			lines := kept(t, state)
			if len(lines) != len(before)+3 {
				t.Errorf("%s, %s: %d answers are kept, want 3 more than %d", name, w, len(lines), len(before))
				continue
			}
			for i, want := range []string{"before ", "heard ", "after "} {
				want = " " + name + " " + want
				said := []string{a.Before, a.Heard + ": grit", a.After}[i]
				if line := lines[len(before)+i]; !strings.Contains(line, want) || !strings.HasSuffix(line, " "+said) {
					t.Errorf("%s, %s: kept %q, want %s… %s", name, w, line, want, said)
				}
			}
		}
	}
	t.Logf("%d lessons, gone through %d times", len(names), walks)
	if want := map[bool]int{true: 12, false: 3}[all] * len(names); walks != want {
		t.Errorf("gone through %d times, want %d", walks, want)
	}
}

// kept is the lines of the file of answers.
func kept(t *testing.T, state string) (lines []string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(state, "drywire", "lessons.txt"))
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if !strings.HasPrefix(line, "#") {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}
