//go:build browser

package start

import (
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

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

// driver is a browser that a newcomer sits at.
type driver interface {
	Resize(width, height int)
	Wait(expression string)
	eval(expression string) any
	press(keys string) // letters, and \r for Enter
	sounds() bool      // without a sound card
}

type chromium struct{ *browsertest.Browser }

func (c chromium) eval(expression string) any { return browsertest.Eval[any](c.Browser, expression) }
func (c chromium) press(keys string)          { c.Do(chromedp.KeyEvent(keys)) }
func (c chromium) sounds() bool               { return true }

type firefox struct{ *browsertest.Firefox }

func (f firefox) eval(expression string) any { return f.Eval(expression) }
func (f firefox) sounds() bool               { return false } // its audio contexts wait for a card
func (f firefox) press(keys string) {
	f.Press(strings.ReplaceAll(keys, "\r", browsertest.FirefoxEnter))
}

// TestFirstTenMinutes is what a newcomer does, in both browsers: takes the first question, plays,
// moves a block, reads what that does, flips, comes back, brings a recording, builds a board of ten
// blocks by keyboard, reloads, and has lost nothing.
func TestFirstTenMinutes(t *testing.T) {
	t.Run("chromium", func(t *testing.T) {
		o := open(t)
		b := seen(t, o)
		firstTenMinutes(t, o, chromium{b}, func(name string, width int) { picture(b, name, width) })
		b.Quiet()
	})
	t.Run("firefox", func(t *testing.T) {
		o := open(t)
		firstTenMinutes(t, o, firefox{browsertest.OpenFirefox(t, o.address, 1280, 720)}, func(string, int) {})
	})
}

func firstTenMinutes(t *testing.T, o *opened, b driver, picture func(name string, width int)) {
	run := func(script string) { b.eval("(() => { " + script + " })()") }
	text := func(expression string) string { return fmt.Sprint(b.eval(expression)) }
	number := func(expression string) float64 {
		switch v := b.eval(expression).(type) {
		case float64:
			return v
		default:
			t.Fatalf("%s is %v", expression, v)
			return 0
		}
	}
	fits := func(what string) {
		t.Helper()
		for _, size := range [][2]int{{1280, 720}, {390, 844}} {
			b.Resize(size[0], size[1])
			if bad := text("(" + outside + `).join("; ")`); bad != "" {
				t.Errorf("%s, %d wide: outside: %s", what, size[0], bad)
			}
			picture(fmt.Sprintf("%s-%d.png", what, size[0]), size[0])
		}
		b.Resize(1280, 720)
	}
	b.Wait(`document.querySelectorAll("#questions button").length > 10`)
	fits("start")
	if last := number(`Math.max(...[...document.querySelectorAll("#questions button, #build")].map(e => e.getBoundingClientRect().bottom))`); last > 720 {
		t.Errorf("the last question ends at %g, below the first screen", last)
	}

	run(`document.querySelector("#questions button").click()`)
	b.Wait(`globalThis.drywire?.state()`)
	first := text(`drywire.state().file`)
	run(`document.getElementById("play").click()`)
	if b.sounds() {
		b.Wait(`drywire.sound.playing && drywire.sound.holds("A")`)
	}
	b.Wait(`!document.getElementById("verdict").classList.contains("soft")`)
	// The first question is whether a boost belongs before a drive, or behind it, where it makes
	// loud.
	if said := text(`document.getElementById("verdict").textContent`); !strings.HasPrefix(said, "B against A: ") || !strings.Contains(said, "louder unmatched") {
		t.Errorf("the verdict is %q", said)
	}
	if low := number(`document.querySelector('#lane [data-block="lift"] .grip').getBoundingClientRect().bottom`); low > 720 {
		t.Errorf("the block to move ends at %g, below the first screen", low)
	}
	run(`document.querySelector('#lane [data-block="lift"] .grip').dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowDown", altKey: true, bubbles: true }))`)
	b.Wait(`drywire.state().dirty && document.getElementById("verdict").textContent.startsWith("A and B are the same")`)
	b.press("b")
	b.Wait(`drywire.sound.side === "B"`)
	run(`document.getElementById("undo").click()`)
	b.Wait(`!drywire.state().dirty`)
	run(`document.getElementById("others").click()`)
	b.Wait(`document.querySelectorAll("#boards button").length === 1`)
	if got := text(`document.querySelector("#boards small").textContent`); !strings.Contains(got, first) {
		t.Errorf("the board that was opened is not among those of the player: %s", got)
	}

	run(`document.getElementById("build").click()`)
	b.Wait(`document.activeElement.id === "heading"`)
	for _, word := range []string{"fuzz", "octave", "compress", "louder, otherwise", "soft break", "mid cut", "shimmer", "echo", "room", "tuner"} {
		run(`document.getElementById("find").value = ""; document.getElementById("find").focus()`)
		b.press(word + "\r")
	}
	if n := number(`document.querySelectorAll("#chain li").length`); n != 10 {
		t.Errorf("%g pedals are chosen, want 10", n)
	}
	run(`document.querySelector("#chain li:nth-child(10) .up").focus()`)
	b.press("\r")
	fits("build")
	if end := number(`document.getElementById("make").getBoundingClientRect().bottom`); end > 720 {
		t.Errorf("the form ends at %g, below the first screen", end)
	}
	riff, err := os.ReadFile(filepath.Join("..", "..", "..", "samples", "recordings", "riff.wav"))
	if err != nil {
		t.Fatal(err)
	}
	run(`const files = new DataTransfer(), own = document.getElementById("own"), raw = atob("` + base64.StdEncoding.EncodeToString(riff) + `");
		files.items.add(new File([Uint8Array.from(raw, c => c.charCodeAt(0))], "my riff.wav"));
		own.files = files.files;
		own.dispatchEvent(new Event("change"))`)
	b.Wait(`document.getElementById("recording").value === "my riff.wav"`)
	run(`document.getElementById("name").value = "Pit board"; document.getElementById("make").click()`)
	b.Wait(`globalThis.drywire?.state()?.file === "pit-board.yaml"`)
	run(`document.body.dataset.old = "yes"; setTimeout(() => location.reload(), 50)`)
	b.Wait(`document.body && !document.body.dataset.old && globalThis.drywire?.state()?.file === "pit-board.yaml"`)
	picture("pit-board.png", 1280)
	board, err := os.ReadFile(filepath.Join(o.folder, "pit-board.yaml"))
	if err != nil || !strings.Contains(string(board), "file: 'my riff.wav'") || !strings.Contains(strings.Join(strings.Fields(string(board)), " "), "order: [fuzz, octave-down, compressor, boost, overdrive, mid-carve, chorus, delay, tuner, reverb]") {
		t.Errorf("%v\n%s", err, board)
	}
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
