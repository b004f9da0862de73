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

// In a browser nothing is cut, and on A4 paper the sheet is two pages at most, without its labels.
func TestPrintedSheet(t *testing.T) {
	for k, name := range boards {
		for _, tape := range []int{sheet.Tapes[k%len(sheet.Tapes)]} {
			_, text := made(t, chaintest.ShippedFile(t, name), tape)
			file := filepath.Join(t.TempDir(), "sheet.html")
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			b := browsertest.Open(t, browsertest.Page{
				Address: "file://" + file,
				Own: func(request string) bool {
					return strings.HasPrefix(request, "file://") && strings.HasSuffix(request, ".html")
				},
				Lifetime: time.Minute, Patience: 5 * time.Second,
			})
			if b.Int(`document.querySelectorAll('.label').length`) == 0 {
				t.Fatalf("%s: no labels on the page", name)
			}
			if over := b.Text(cut); over != "" {
				t.Errorf("%s, %d mm: cut:\n%s", name, tape, over)
			}
			b.Quiet()
			b.Run(`document.querySelectorAll('.next, .tape').forEach(e => e.remove())`)
			paper, err := chromedp.Run(b.Context, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
			if err != nil {
				t.Fatal(err)
			}
			if n := len(pdfPage.FindAll(paper, -1)); n < 1 || n > 2 {
				t.Errorf("%s: %d pages", name, n)
			}
		}
	}
}
