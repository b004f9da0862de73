//go:build browser

package sheet_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"drywire/chains/internal/chaintest"
	"drywire/chains/report/browsertest"
	"drywire/chains/sheet"
)

// cut lists what a browser lays outside of the page's width, and what does not fit into its label
// or cell.
const cut = `[...document.querySelectorAll('body *')].filter(e => {
	const edge = document.body.getBoundingClientRect(), box = e.getBoundingClientRect();
	return box.right > edge.right + 0.5 || box.left < edge.left - 0.5 ||
		e.matches('.label, td, th, .block') && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1);
}).map(e => e.tagName + ' ' + e.textContent.slice(0, 40)).join('\n')`

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b`)

// tiny lists letters under 9.5 points (12.67 pixels) outside of labels.
const tiny = `[...document.querySelectorAll('body *')].filter(e => !e.closest('.label, svg') &&
	[...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && parseFloat(getComputedStyle(e).fontSize) < 12.66
).map(e => e.tagName + ' ' + e.textContent.slice(0, 40) + ' ' + getComputedStyle(e).fontSize).join('\n')`

// In a browser nothing is cut, no cell is narrower than its longest word, no letters are under 9.5
// points, and on A4 paper the sheet is two pages at most, without its labels; with trims for each
// guitar as well.
func TestPrintedSheet(t *testing.T) {
	for k, name := range boards {
		tape := sheet.Tapes[k%len(sheet.Tapes)]
		f := chaintest.ShippedFile(t, name)
		s, _ := made(t, f, tape)
		trimmed(f, s)
		var page strings.Builder
		if err := s.HTML(&page, tape); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "sheet.html")
		if err := os.WriteFile(file, []byte(page.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		b := browsertest.Open(t, browsertest.Page{
			Address: "file://" + file,
			Own: func(request string) bool {
				page := strings.HasPrefix(request, "file:") && strings.HasSuffix(request, ".html")
				return page || strings.HasPrefix(request, "data:font/")
			},
			Lifetime: time.Minute, Patience: 5 * time.Second,
		})
		if !b.Holds(`document.fonts.load("bold 12px Go").then(list => list.length > 0)`) {
			t.Errorf("%s: the page does not bring its letters", name)
		}
		if b.Int(`document.querySelectorAll('.label').length`) == 0 {
			t.Fatalf("%s: no labels on the page", name)
		}
		b.Run(`document.head.append(Object.assign(document.createElement('style'), {textContent: 'td, th { overflow-wrap: normal !important; }'}))`)
		if over := b.Text(cut); over != "" {
			t.Errorf("%s, %d mm: cut:\n%s", name, tape, over)
		}
		if list := b.Text(tiny); list != "" {
			t.Errorf("%s: letters under 9.5 points:\n%s", name, list)
		}
		b.Quiet()
		b.Run(`document.querySelectorAll('.next, .tape').forEach(e => e.remove())`)
		paper, err := chromedp.Run(b.Context, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
		if err != nil {
			t.Fatal(err)
		}
		n := len(pdfPage.FindAll(paper, -1))
		if n < 1 || n > 2 {
			t.Errorf("%s: %d pages", name, n)
		}
		if box := regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`).FindSubmatch(paper); box == nil || string(box[1])[:3] != "595" && string(box[1])[:3] != "594" {
			t.Errorf("%s: the paper is %q, want A4, 595 points wide", name, box)
		}
	}
}
