//go:build browser

package browsertest

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// Axe is a checker of accessibility, as a script. It is given by its path, since it is no part of
// this project (axe-core of npm).
type Axe string

// NeedAxe reads the checker that AXE names, and skips the test where it names none.
func NeedAxe(t testing.TB) Axe {
	t.Helper()
	path := os.Getenv("AXE")
	if path == "" {
		t.Skip("AXE does not name a file axe.min.js")
	}
	script, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return Axe(script)
}

// Access is what the checker says of a page as it stands: how many rules it keeps, and those that
// it breaks.
type Access struct {
	Passes     int
	Violations []struct {
		ID, Impact, Help string
		Where            []string // the first places, each with its HTML
	}
}

// Check lets the checker look at a page.
func (a Axe) Check(b *Browser) Access {
	b.t.Helper()
	if !b.Holds(`"axe" in globalThis`) {
		b.Run(string(a))
	}
	return Eval[Access](b, `axe.run().then(r => ({Passes: r.passes.length, Violations: r.violations.map(v => ({ID: v.id, Impact: v.impact, Help: v.help, Where: v.nodes.slice(0, 5).map(n => n.html.slice(0, 160) + " " + (n.any[0]?.message ?? ""))}))}))`)
}

// Stop is where the tabulator stops: what that is (tag, id, class), its name, and how wide its
// outline is, in pixels.
type Stop struct {
	What, Name string
	Outline    float64
}

// Tab presses the tabulator's key.
func (b *Browser) Tab() Stop {
	b.t.Helper()
	b.Do(chromedp.KeyEvent(kb.Tab))
	return Eval[Stop](b, `(() => { const e = document.activeElement, c = getComputedStyle(e);
		return {What: e.tagName + " " + e.id + " " + e.className, Name: e.ariaLabel || e.labels?.[0]?.textContent || e.textContent, Outline: c.outlineStyle === "none" ? 0 : parseFloat(c.outlineWidth)}; })()`)
}
