//go:build browser

package page_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/report/browsertest"
)

// shipped is a chain file that comes with the program.
func shipped(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Player, both orders and the whole board stand on the first screen: of five stations, of sixteen
// pedals all on, of two amplifiers.
func TestFirstScreen(t *testing.T) {
	for chain, take := range map[string]string{"fuzz-or-buffer-first.yaml": "", "reference-board.yaml": "everything on", "two-amplifiers.yaml": ""} {
		b := open(t, shipped(t, chain))
		if take != "" {
			b.Run(`(() => { const s = document.getElementById("pick-take-A"); s.value = "` + take + `"; s.dispatchEvent(new Event("change")); })()`)
			b.Wait(`drywire.state().sides.A.take === "` + take + `"`)
		}
		for visit := range 2 {
			if visit == 1 {
				b.Run(`document.getElementById("start").classList.add("known")`)
				b.Run(`document.getElementById("verdict").textContent = "B against A: a held note rings 1.7 s shorter, 3.7 LU softer unmatched, noise 3.7 dB louder when nobody plays, duller, less middle, less bass, less distorted."`)
			}
			b.Resize(1280, 720)
			below := browsertest.Eval[[]string](b.Browser, `[...document.querySelectorAll("#play, #verdict, .order, #lane .station .main-row, #lane .folded")]
				.filter(e => { const r = e.getBoundingClientRect(); return !r.width || r.bottom > innerHeight; }).map(e => (e.id || e.className) + " " + e.textContent.slice(0, 20) + " " + Math.round(e.getBoundingClientRect().bottom))`)
			rows := b.Int(`document.querySelectorAll("#lane .station .main-row").length`)
			if rows < 6 {
				t.Errorf("%s: only %d rows", chain, rows)
			}
			if len(below) > 0 {
				t.Errorf("%s, visit %d: below the first screen: %s", chain, visit+1, strings.Join(below, "; "))
			}
		}
		b.Quiet()
	}
}

// badWords finds words that are broken over lines, cut off, or written over each other; and things
// outside of the page.
const badWords = `(() => {
	const bad = [], range = document.createRange(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), rows = [];
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.parentElement;
		if (!n.data.trim() || !e.checkVisibility({ visibilityProperty: true }) || e.closest(".unseen, option, svg, dialog, .skip")) continue;
		for (const m of n.data.matchAll(/[\p{L}\p{N}]+/gu)) {
			range.setStart(n, m.index);
			range.setEnd(n, m.index + m[0].length);
			const r = [...range.getClientRects()].filter(r => r.width);
			if (!r.length) continue;
			if (new Set(r.map(r => Math.round(r.top))).size > 1) bad.push("broken: " + m[0] + " in " + e.className);
			if (r.some(r => r.right > innerWidth + 0.5 || r.left < -0.5)) bad.push("outside: " + m[0] + " in " + e.className);
			for (let box = e; box && box !== document.body; box = box.parentElement) {
				const c = getComputedStyle(box);
				if (c.textOverflow === "ellipsis") break; // cut, and says so
				if (c.overflowX !== "visible" && c.webkitLineClamp === "none" && c.overflowX !== "auto" && r.some(r => r.right > box.getBoundingClientRect().right + 1)) { bad.push("cut: " + m[0] + " in " + box.className); break; }
			}
		}
		if (e.closest("#lane .box")) {
			range.selectNodeContents(n);
			rows.push([e.closest(".box"), range.getBoundingClientRect(), n.data]);
		}
	}
	for (const [box, r, text] of rows) for (const [other, s, said] of rows) if (box === other && text !== said && r.left < s.left && r.right > s.left + 1 && r.top < s.bottom && s.top < r.bottom) bad.push("over each other: " + text + " and " + said);
	return [...new Set(bad)];
})()`

// Whatever the window, no word is broken, cut off or written over, nothing is outside, and the
// player is on the first screen.
func TestLooks(t *testing.T) {
	for _, chain := range []string{"fuzz-or-buffer-first.yaml", "reference-board.yaml", "two-amplifiers.yaml"} {
		b := open(t, shipped(t, chain))
		b.Wait(`document.querySelectorAll("#figures .line.sounding").length >= 3 && document.querySelectorAll("#lane .headroom .v:not(:empty)").length >= 3`)
		// 640 × 360 is 1280 × 720 at 200 %
		for _, size := range [][2]int{{1280, 720}, {1280, 1024}, {1000, 700}, {640, 360}, {390, 844}, {320, 640}} {
			b.Resize(size[0], size[1])
			for _, tab := range []string{"block", "ladder", "spectrum", "noise", "why"} {
				b.Run(`document.getElementById("tab-` + tab + `").click()`)
				if bad := browsertest.Eval[[]string](b.Browser, badWords); len(bad) > 0 {
					t.Errorf("%s, %v, %s: %s", chain, size, tab, strings.Join(bad, "; "))
				}
				if wide := b.Int("document.documentElement.scrollWidth"); wide > size[0] {
					t.Errorf("%s, %v, %s: the page is %d px wide", chain, size, tab, wide)
				}
			}
			if !b.Holds(`(() => { const r = document.getElementById("play").getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight; })()`) {
				t.Errorf("%s, %v: Play is not on the first screen", chain, size)
			}
		}
		if b.Holds(`/dBV|LUFS/.test(document.getElementById("lane").textContent + document.getElementById("see-noise").textContent)`) {
			t.Errorf("%s: levels in another unit than dBu", chain)
		}
		b.Quiet()
	}
}

// The rule of the test above sees what it is there for.
func TestLooksSees(t *testing.T) {
	b := open(t, testChain)
	b.Run(`for (const [text, how] of [["plate", { width: "1ch", overflowWrap: "anywhere" }], ["buffer", { width: "2ch", overflow: "hidden" }], ["guitar", { position: "absolute", left: "-20px" }]]) {
		const p = document.createElement("p");
		p.textContent = text;
		Object.assign(p.style, how);
		document.getElementById("main").append(p);
	}`)
	bad := strings.Join(browsertest.Eval[[]string](b.Browser, badWords), "; ")
	for _, want := range []string{"broken: plate", "cut: buffer", "outside: guitar"} {
		if !strings.Contains(bad, want) {
			t.Errorf("%q says no %q", bad, want)
		}
	}
}

// Presses count from the board as it is drawn: held down, the key moves a block place by place, and
// never off the board.
func TestHeldKey(t *testing.T) {
	b := open(t, shipped(t, "reference-board.yaml"))
	b.Run(`(() => { const s = document.getElementById("pick-take-A"); s.value = "everything on"; s.dispatchEvent(new Event("change")); })()`)
	b.Wait(`drywire.state().sides.A.take === "everything on"`)
	place := func() int {
		return b.Int(`(async () => { const o = await import("./order.js"); return o.where(drywire.lane.now(), "octave"); })()`)
	}
	press := func(n int) {
		b.Run(fmt.Sprintf(`(async () => {
			for (let k = 0; k < %d; k++) {
				document.querySelector('[data-block="octave"] .grip').dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowDown", altKey: true, bubbles: true, repeat: k > 0 }));
				await new Promise(r => setTimeout(r, 33));
			}
		})()`, n))
	}
	b.Do(chromedp.Focus(`[data-block="octave"] .grip`))
	before := place()
	press(20)
	if got := place(); got != before+20 {
		t.Errorf("twenty presses move it from place %d to %d", before, got)
	}
	entries := func(of string) string {
		return b.Text(`(async () => { const o = await import("./order.js"); return JSON.stringify(o.entries(` + of + `)); })()`)
	}
	drawn := entries("drywire.lane.now()")
	b.Wait(`!drywire.lane.ahead`)
	b.want("what the program made of it", entries("o.board(drywire.state().sides.A)"), drawn)
	b.Wait(`document.getElementById("spoken").textContent.includes("octave, place")`)
	press(30)
	b.Wait(`!drywire.lane.ahead`)
	if b.Holds(`drywire.state().sides.A.tray.some(s => s.block === "octave")`) {
		t.Error("the last place is the tray")
	}
	// On the way it would stand between a valve power amplifier and its loudspeaker, which is
	// refused.
	b.Quiet("status of 422") // the browser says so itself
}

// A chip of either side is dragged to another place in its order; what is held is solid, and its
// place is marked.
func TestDragsChips(t *testing.T) {
	b := open(t, testChain)
	b.drag(`.side-b .chip[data-chip="echo"]`, `.side-b .chip[data-chip="drive"]`, 0)
	b.Wait(`drywire.state().sides.B.lane.map(s => s.block).join(" ") !== "echo lift drive"`)
	b.want("side B", b.order("B"), "lift echo drive")
	b.want("side A", b.order("A"), "lift drive echo")
	b.Wait(`document.getElementById("name-B").textContent === "echo first, moved"`)
	b.want("nothing is held any more", b.Text(`String(document.querySelectorAll(".held, .slot").length)`), "0")
	b.Quiet()
}

// A block is added behind the one that is chosen.
func TestAddsInPlace(t *testing.T) {
	b := open(t, testChain)
	b.Do(chromedp.Click(`[data-block="lift"] .pick`))
	b.Run(`(() => { const s = document.getElementById("add"); s.value = "phaser"; s.dispatchEvent(new Event("change")); })()`)
	b.Wait(`drywire.state().sides.A.lane.length === 4`)
	b.want("the board", b.lane(), "lift phaser drive echo")
	b.want("the panel", b.Text(`document.querySelector("#see-block h3").textContent.trim()`), "phaser")
	b.Quiet()
}

// Both sides' blocks stand among the levels, wherever they are.
func TestLadderOfBoth(t *testing.T) {
	b := open(t, strings.Replace(testChain, "order: [echo, lift, drive]", "order: [echo, drive]", 1))
	b.Do(chromedp.KeyEvent("b"))
	b.Wait(`document.querySelectorAll("#figures .line.other").length >= 3 && !document.querySelector(".stale")`)
	if names := b.Text(`drywire.figures.ladder.plot.names.join(" ")`); !strings.Contains(names, "lift") || !strings.Contains(names, "echo") {
		t.Errorf("the ladder has %s", names)
	}
	b.Quiet()
}

// The verdict's words are those of a comparison, and the reason is the loading that differs; a page
// loaded anew goes on where it was, with what is not saved.
func TestVerdictAndReload(t *testing.T) {
	b := open(t, shipped(t, "fuzz-or-buffer-first.yaml"))
	said := func(want ...string) {
		t.Helper()
		b.Wait(`!document.getElementById("verdict").classList.contains("soft")`)
		text := b.Text(`document.getElementById("verdict").textContent + " " + document.getElementById("why").textContent`)
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%q has no %q", text, w)
			}
		}
	}
	// The shipped question: behind the buffer the fuzz is brighter, softer and noisier, and no
	// longer loads the guitar.
	said("brighter", "louder when nobody plays", "softer", "Why: fuzz (982 Ω in) is driven by buffer (100 Ω) in B, by the guitar")
	b.Do(chromedp.Click(".side-b .letter"), chromedp.Focus(`#lane [data-block="buffer"] .grip`), chromedp.KeyEvent(kb.ArrowDown, chromedp.KeyModifiers(chromedp.ModifierAlt)))
	b.Wait(`drywire.state().dirty`)
	said("A and B are the same")
	b.Run(`globalThis.old = true`)
	b.Run(`setTimeout(() => location.reload(), 50)`)
	b.Wait(`!globalThis.old && globalThis.drywire?.state()`)
	b.want("loaded anew, side B", b.order("B"), "fuzz buffer echo plate")
	b.want("still", b.Text(`document.getElementById("saved").textContent`), "not saved yet")
}
