//go:build browser

package page_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// A file to take away shows how far it is and is called off by a button: the program stops rendering,
// nothing is downloaded, and the next export is made at once and whole.
func TestExportsShowProgressAndCanBeCancelled(t *testing.T) {
	b := open(t, testChain)
	b.Run(`globalThis.saved = []; globalThis.shares = [];
		HTMLAnchorElement.prototype.click = function () { saved.push(this.download); };
		URL.createObjectURL = file => { file.arrayBuffer().then(x => { saved.bytes = x.byteLength; saved.head = String.fromCharCode(...new Uint8Array(x, 0, 15)); }); return "about:blank"; };
		new MutationObserver(() => { const v = document.getElementById("export-bar").value; if (v > 0 && shares.at(-1) !== v) shares.push(v); }).observe(document.getElementById("export-bar"), { attributes: true })`)
	b.Do(chromedp.Click("#more"))
	link := func(what string) string { return `#downloads a[href*="what=` + what + `"]` }

	b.Do(chromedp.Click(link("report")))
	b.Wait(`document.getElementById("export-bar").value > 0`)
	if folder := os.Getenv("PICTURES"); folder != "" {
		b.Shot(filepath.Join(folder, "export.png"))
	}
	said := `document.getElementById("export-said").textContent`
	if got := b.Text(said); !strings.Contains(got, "Rendering") {
		t.Errorf("while it is made the page says %q", got)
	}
	b.Do(chromedp.Click("#export-cancel"))
	b.Wait(said + `.includes("cancelled")`)
	if n := b.Int(`saved.length`); n != 0 {
		t.Errorf("%d files after a cancelled export", n)
	}

	// the program has let go of it: another one is not told that an export is under way
	b.Wait(`document.getElementById("export-cancel").checkVisibility() === false`)
	b.Wait(`(async () => { document.querySelector('` + link("wav") + `').dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true })); await new Promise(r => setTimeout(r, 1500)); return !` + said + `.includes("could not"); })()`)
	b.Wait(`saved.bytes > 1000`)
	if got := b.Text(`saved[0] + " " + saved.head.slice(0, 4)`); !strings.HasSuffix(got, ".wav RIFF") || !strings.HasPrefix(got, "chain ") {
		t.Errorf("the file is %q", got)
	}
	if n := b.Int(`shares.length`); n < 1 || !b.Holds(`shares.every(v => v > 0 && v <= 1)`) {
		t.Errorf("the bar showed %s", b.Text(`shares.join()`))
	}
	if got := b.Text(said); !strings.Contains(got, "is made") {
		t.Errorf("at its end the page says %q", got)
	}
	b.Quiet()
}
