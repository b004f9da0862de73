//go:build browser

package page_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Beside Play stands what makes B differ from A, and what is complained of is answered with changes
// that one press takes over as side B.
func TestWhyOnThePage(t *testing.T) {
	b := open(t, shipped(t, "fuzz-or-buffer-first.yaml"))
	wait(b, `document.getElementById("why").textContent.includes("ecause")`)
	if said := b.Text(`document.getElementById("why").textContent`); !strings.Contains(said, "buffer") || !strings.Contains(said, "fuzz") {
		t.Errorf("why: %q", said)
	}
	picture(b, "because", 1280, 720)
	b.Quiet()

	b = open(t, testChain)
	b.Run(`document.getElementById("hear-B").click()`)
	b.Run(`document.getElementById("tab-why").click()`)
	b.Run(`document.getElementById("complaint").value = "smeared-echoes"`)
	b.Run(`document.getElementById("ask-why").click()`)
	b.Wait(`document.querySelector("#answer progress")`)
	picture(b, "why-asks", 1280, 720)
	b.Run(`document.getElementById("ask-why").click()`) // cancel, and ask again at once
	b.Wait(`document.getElementById("ask-why").textContent === "Find out why"`)
	b.Run(`document.getElementById("ask-why").click()`)
	wait(b, `document.querySelector("#answer .fixes button")`)
	complained := b.Text(`drywire.state().sides.B.take`)
	if said := b.Text(`document.querySelector("#answer .found").textContent`); !strings.Contains(said, "rive") {
		t.Errorf("answer: %q", said)
	}
	picture(b, "why-answers", 1280, 720)
	picture(b, "why-answers", 390, 1400)
	b.Resize(1280, 720)
	b.Run(`document.querySelector("#answer .fixes button").click()`)
	b.Wait(`drywire.state().undo === 1`)
	if now := b.Text(`drywire.state().sides.A.take`); now != complained {
		t.Errorf("side A is %q, and %q was complained of", now, complained)
	}
	if now := b.Text(`drywire.state().sides.B.take`); now == complained {
		t.Errorf("side B is %q", now)
	}
	wait(b, `document.getElementById("why").textContent.includes("ecause")`)
	picture(b, "why-taken", 1280, 720)
	b.Quiet()
}

// picture is kept where PICTURES names a folder.
func picture(b *browser, name string, width, height int) {
	folder := os.Getenv("PICTURES")
	if folder == "" {
		return
	}
	b.Resize(width, height)
	b.Picture(filepath.Join(folder, name+".png"), width)
}

// wait is Wait with the patience that an answer asks for: it simulates some fifty variants.
func wait(b *browser, expression string) {
	b.t.Helper()
	for range 10 {
		if b.Holds(`(new Promise(done => { const end = Date.now() + 20000; (function look() { if (` + expression + ` || Date.now() > end) done(Boolean(` + expression + `)); else setTimeout(look, 100); })(); }))`) {
			return
		}
	}
	b.t.Fatalf("never came to be: %s", expression)
}
