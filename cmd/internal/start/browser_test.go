//go:build browser

package start

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/report/browsertest"
)

// seen is a start page in a browser.
func seen(t *testing.T, o *opened) *browsertest.Browser {
	t.Helper()
	return browsertest.Open(t, browsertest.Page{
		Address: o.address,
		Own: func(request string) bool {
			return strings.HasPrefix(request, "http://127.0.0.1:") || strings.HasPrefix(request, "data:") || strings.HasPrefix(request, "blob:http://127.0.0.1:")
		},
		Lifetime: 3 * time.Minute,
		Patience: 30 * time.Second,
		Notices:  `document.body.innerText.slice(0, 400)`,
	})
}

// outside finds texts that reach out of the page or are cut off, and what does not fit on one
// screen of those that have to.
const outside = `[...document.querySelectorAll("main :is(button, label, p, h2, h3, legend, small, select, input)")].filter(e => e.checkVisibility() && !e.closest(".unseen"))
	.filter(e => { const r = e.getBoundingClientRect(); return r.width && (r.right > innerWidth + 0.5 || r.left < -0.5 || e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline" && e.tagName !== "SELECT" && e.tagName !== "INPUT"); }).map(e => e.tagName + " " + e.textContent.slice(0, 40))`

// picture is kept where PICTURES names a folder.
func picture(b *browsertest.Browser, name string, width int) {
	if folder := os.Getenv("PICTURES"); folder != "" {
		b.Picture(filepath.Join(folder, name), width)
	}
}

// TestFirstTenMinutes is what a newcomer does: takes the first question, comes back, brings a
// recording, builds a board of ten blocks by keyboard, reloads, and has lost nothing.
func TestFirstTenMinutes(t *testing.T) {
	o := open(t)
	b := seen(t, o)
	b.Wait(`document.querySelectorAll("#questions button").length > 10`)
	for _, size := range [][2]int{{1280, 720}, {390, 844}} {
		b.Resize(size[0], size[1])
		if bad := browsertest.Eval[[]string](b, outside); len(bad) > 0 {
			t.Errorf("%d wide: outside: %s", size[0], strings.Join(bad, "; "))
		}
		picture(b, fmt.Sprintf("start-%d.png", size[0]), size[0])
	}
	b.Resize(1280, 720)
	if last := b.Number(`Math.max(...[...document.querySelectorAll("#questions button, #build")].map(e => e.getBoundingClientRect().bottom))`); last > 720 {
		t.Errorf("the last question ends at %g, below the first screen", last)
	}

	b.Run(`document.querySelector("#questions button").click()`)
	b.Wait(`globalThis.drywire?.state()`)
	first := b.Text(`drywire.state().file`)
	b.Run(`document.getElementById("others").click()`)
	b.Wait(`document.querySelectorAll("#boards button").length === 1`)
	if got := b.Text(`document.querySelector("#boards small").textContent`); !strings.Contains(got, first) {
		t.Errorf("the board that was opened is not among those of the player: %s", got)
	}

	sound := filepath.Join(t.TempDir(), "my riff.wav")
	riff, err := os.ReadFile(filepath.Join("..", "..", "..", "samples", "recordings", "riff.wav"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(sound, riff, 0o600); err != nil {
		t.Fatal(err)
	}
	b.Do(chromedp.Click("#build"))
	b.Wait(`document.activeElement.id === "heading"`)
	for _, word := range []string{"fuzz", "octave", "compress", "louder, otherwise", "soft break", "mid cut", "shimmer", "echo", "room", "tuner"} {
		b.Run(`document.getElementById("find").value = ""; document.getElementById("find").focus()`)
		b.Do(chromedp.KeyEvent(word + kb.Enter))
	}
	if n := b.Int(`document.querySelectorAll("#chain li").length`); n != 10 {
		t.Errorf("%d pedals are chosen, want 10", n)
	}
	b.Run(`document.querySelector("#chain li:nth-child(10) .up").focus()`)
	b.Do(chromedp.KeyEvent(kb.Enter))
	for _, size := range [][2]int{{1280, 720}, {390, 844}} {
		b.Resize(size[0], size[1])
		if bad := browsertest.Eval[[]string](b, outside); len(bad) > 0 {
			t.Errorf("the form, %d wide: outside: %s", size[0], strings.Join(bad, "; "))
		}
		picture(b, fmt.Sprintf("build-%d.png", size[0]), size[0])
	}
	b.Resize(1280, 720)
	if end := b.Number(`document.getElementById("make").getBoundingClientRect().bottom`); end > 720 {
		t.Errorf("the form ends at %g, below the first screen", end)
	}
	if err := upload(b, "#own", sound); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.getElementById("recording").value === "my riff.wav"`)
	b.Run(`document.getElementById("name").value = "Pit board"`)
	b.Run(`document.getElementById("make").click()`)
	b.Wait(`globalThis.drywire?.state()?.file === "pit-board.yaml"`)
	b.Run(`globalThis.old = true; setTimeout(() => location.reload(), 50)`)
	b.Wait(`!globalThis.old && globalThis.drywire?.state()?.file === "pit-board.yaml"`)
	picture(b, "pit-board.png", 1280)
	text, err := os.ReadFile(filepath.Join(o.folder, "pit-board.yaml"))
	if err != nil || !strings.Contains(string(text), "file: 'my riff.wav'") || !strings.Contains(strings.Join(strings.Fields(string(text)), " "), "order: [fuzz, octave-down, compressor, boost, overdrive, mid-carve, chorus, delay, tuner, reverb]") {
		t.Errorf("%v\n%s", err, text)
	}
	b.Quiet()
}

// TestManyBoards holds that the questions stay on the first screen however many boards there are,
// and that all boards can be seen.
func TestManyBoards(t *testing.T) {
	o := open(t)
	if err := os.Mkdir(o.folder, 0o700); err != nil {
		t.Fatal(err)
	}
	for k := range 12 {
		text := fmt.Sprintf("drywire: 1\ntitle: Board %d\nrecording: {sample: riff}\nblocks: {a: {kind: buffer}}\norder: [a]\n", k)
		if err := os.WriteFile(filepath.Join(o.folder, fmt.Sprintf("b%02d.yaml", k)), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b := seen(t, o)
	b.Resize(1280, 720)
	b.Wait(`document.querySelectorAll("#questions button").length > 10`)
	picture(b, "many-1280.png", 1280)
	b.Resize(1280, 720)
	if at := b.Number(`document.querySelector("#questions button").getBoundingClientRect().bottom`); at > 500 {
		t.Errorf("the first question ends at %g", at)
	}
	if n := b.Int(`document.querySelectorAll("#boards button").length`); n != 6 {
		t.Errorf("%d boards at first", n)
	}
	if text := b.Text(`document.querySelector("#boards small").textContent`); text != "b00.yaml · 1 take" {
		t.Errorf("a board of the folder is called %q", text)
	}
	b.Run(`document.getElementById("all").click()`)
	if n := b.Int(`document.querySelectorAll("#boards button").length`); n != 12 {
		t.Errorf("%d boards of 12", n)
	}
	if b.Holds(`!document.getElementById("all").hidden`) {
		t.Error("all are there, and more are offered")
	}
	b.Quiet()
}

// upload puts a file into an input.
func upload(b *browsertest.Browser, selector, file string) error {
	root, err := chromedp.Call(b.Context, dom.GetDocument, dom.GetDocumentParams{})
	if err != nil {
		return err
	}
	node, err := chromedp.Call(b.Context, dom.QuerySelector, dom.QuerySelectorParams{NodeID: root.Root.NodeID, Selector: selector})
	if err != nil {
		return err
	}
	_, err = chromedp.Call(b.Context, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: []string{file}, NodeID: node.NodeID})
	return err
}

// TestStartIsAccessible looks at the list and the form, light and dark.
func TestStartIsAccessible(t *testing.T) {
	axe := browsertest.NeedAxe(t)
	b := seen(t, open(t))
	b.Wait(`document.querySelectorAll("#questions button").length > 10`)
	for _, scheme := range []string{"light", "dark"} {
		b.Scheme(scheme)
		for _, form := range []bool{false, true} {
			if form {
				b.Run(`document.getElementById("build").click(); document.querySelector("#palette button").click()`)
			}
			for _, v := range axe.Check(b).Violations {
				t.Errorf("%s, form %v: %s: %s %v", scheme, form, v.ID, v.Help, v.Where)
			}
		}
		b.Run(`document.getElementById("back").click()`)
	}
}
