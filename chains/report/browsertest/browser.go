//go:build browser

package browsertest

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Page is what to open, and what it may do.
type Page struct {
	Address string
	// is a request the page's own affair? Quiet complains of the others
	Own      func(request string) bool
	Lifetime time.Duration // of the browser; what is asked of it later fails
	Patience time.Duration // of Wait
	// an expression for what the page tells its reader; Wait gives it where it gives up. May be
	// empty
	Notices string
	// a WAV file that the page hears where it asks for an input; "" for none
	Input string
}

// Browser is a page in a browser without a window, with all that it says and asks for. What the
// browser cannot do ends the test.
type Browser struct {
	Context context.Context // for chromedp's own calls
	t       testing.TB
	page    Page

	mu       sync.Mutex
	requests []string
	console  []string
}

// Open opens a page, 1280 by 900 pixels, until the test ends.
func Open(t testing.TB, p Page) *Browser {
	t.Helper()
	program, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("these tests need Debian's package chromium: ", err)
	}
	file := chromedp.Flag("use-file-for-fake-audio-capture", false)
	if p.Input != "" {
		file = chromedp.Flag("use-file-for-fake-audio-capture", p.Input)
	}
	ac, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(program), chromedp.Headless, chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("no-first-run", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("use-fake-ui-for-media-stream", p.Input != ""), chromedp.Flag("use-fake-device-for-media-stream", p.Input != ""),
		file)
	t.Cleanup(stop)
	first, close := chromedp.NewContext(ac)
	t.Cleanup(close)
	if err := chromedp.Do(first); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(first, p.Lifetime)
	t.Cleanup(cancel)
	b := &Browser{Context: ctx, t: t, page: p}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	chromedp.Listen(ctx, func(ev any) {
		// a page that asks whether to be left is left
		if _, ok := ev.(*page.EventJavascriptDialogOpening); ok {
			go chromedp.Call(ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true})
		}
		if r, ok := ev.(*network.EventRequestWillBeSent); ok {
			b.mu.Lock()
			b.requests = append(b.requests, r.Request.URL)
			b.mu.Unlock()
		}
	})
	go func() {
		for m := range chromedp.Console(ctx) {
			b.mu.Lock()
			b.console = append(b.console, m.String())
			b.mu.Unlock()
		}
	}()
	b.Resize(1280, 900)
	b.Do(chromedp.Navigate(p.Address))
	return b
}

// Do does one thing after the other: clicks, keys, whatever chromedp has.
func (b *Browser) Do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.Context, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// Run runs a script in the page; where its value is a promise, to that promise's end.
func (b *Browser) Run(script string) {
	b.t.Helper()
	b.Do(chromedp.Evaluate[chromedp.Void](script, chromedp.EvalAwaitPromise))
}

// Eval is the value of an expression in the page, or of the promise that it gives. It has to be a
// T: nothing is converted.
func Eval[T any](b *Browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.Context, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// Text is Eval for a string.
func (b *Browser) Text(expression string) string {
	b.t.Helper()
	return Eval[string](b, expression)
}

// Holds is Eval for a truth value.
func (b *Browser) Holds(expression string) bool {
	b.t.Helper()
	return Eval[bool](b, expression)
}

// Number is Eval for a number.
func (b *Browser) Number(expression string) float64 {
	b.t.Helper()
	return Eval[float64](b, expression)
}

// Int is Eval for a whole number.
func (b *Browser) Int(expression string) int {
	b.t.Helper()
	return Eval[int](b, expression)
}

// Samples is a Float32Array of the page, bit for bit: JSON has no word for what is no number.
func (b *Browser) Samples(expression string) []float32 {
	b.t.Helper()
	text := b.Text(`(async () => {
		const x = await (` + expression + `), bytes = new Uint8Array(x.buffer, x.byteOffset, x.byteLength);
		let text = "";
		for (let k = 0; k < bytes.length; k += 4096) text += String.fromCharCode(...bytes.subarray(k, k + 4096));
		return btoa(text);
	})()`)
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		b.t.Fatal(err)
	}
	x := make([]float32, len(raw)/4)
	for k := range x {
		x[k] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*k:]))
	}
	return x
}

// Wait waits for an expression to become truthy.
func (b *Browser) Wait(expression string) {
	b.t.Helper()
	const step = 25 * time.Millisecond
	for range b.page.Patience / step {
		holds, err := chromedp.Run(b.Context, chromedp.Evaluate[bool]("Boolean("+expression+")", chromedp.EvalAwaitPromise))
		// a page that is loaded anew has no answer yet
		if err != nil && !strings.Contains(err.Error(), "Inspected target navigated") {
			b.t.Fatalf("%s: %v", expression, err)
		}
		if holds {
			return
		}
		time.Sleep(step)
	}
	if b.page.Notices == "" {
		b.t.Fatalf("never came to be: %s", expression)
	}
	b.t.Fatalf("never came to be: %s; the page says %q", expression, b.Text(b.page.Notices))
}

// Resize gives the page another width and height, in pixels.
func (b *Browser) Resize(width, height int) {
	b.t.Helper()
	b.Do(chromedp.EmulateViewport(int64(width), int64(height)))
}

// Scheme has the reader prefer a colour scheme: light or dark.
func (b *Browser) Scheme(name string) {
	b.t.Helper()
	if _, err := chromedp.Call(b.Context, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}}); err != nil {
		b.t.Fatal(err)
	}
}

// Picture writes the whole page as a PNG, at a width in pixels; it leaves the page as high as it is
// long.
func (b *Browser) Picture(file string, width int) {
	b.t.Helper()
	b.Resize(width, b.Int("document.documentElement.scrollHeight"))
	b.Shot(file)
}

// Shot writes what the window shows as a PNG.
func (b *Browser) Shot(file string) {
	b.t.Helper()
	b.Do(chromedp.Sleep(300 * time.Millisecond)) // for what moves to its place
	png, err := chromedp.Run(b.Context, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// Paper is the page as it is printed on A4.
type Paper struct {
	Pages    int
	Headings []Heading
}

// Heading is where a heading of the page lies on paper.
type Heading struct {
	Text string
	Page string  // the number of its object in the PDF
	Foot float64 // from the lower edge of the sheet up to the heading's upper edge, points
}

// headings are the entries of a PDF's outline (ISO 32000-1, 12.3.3): a title, and a page and a
// place on it, in points from the lower left corner.
var headings = regexp.MustCompile(`/Title \((.*)\)\n/Dest \[(\d+) 0 R /XYZ [-0-9.]+ ([-0-9.]+) `)

// Print prints the page.
func (b *Browser) Print() Paper {
	b.t.Helper()
	yes := true
	r, err := chromedp.Call(b.Context, page.PrintToPDF, page.PrintToPDFParams{
		PaperWidth: 8.27, PaperHeight: 11.69, PreferCSSPageSize: &yes, GenerateTaggedPDF: &yes, GenerateDocumentOutline: &yes,
	})
	if err != nil {
		b.t.Fatal(err)
	}
	p := Paper{Pages: bytes.Count([]byte(r.Data), []byte("/Type /Page\n"))}
	for _, m := range headings.FindAllSubmatch([]byte(r.Data), -1) {
		foot, err := strconv.ParseFloat(string(m[3]), 64)
		if err != nil {
			b.t.Fatal(err)
		}
		p.Headings = append(p.Headings, Heading{string(m[1]), string(m[2]), foot})
	}
	return p
}

// PaperPages is on how many pages of A4 the page is printed.
func (b *Browser) PaperPages() int {
	b.t.Helper()
	return b.Print().Pages
}

// Console is what the page has said on the console up to now, and what the browser said there of
// the page.
func (b *Browser) Console() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.console)
}

// Quiet fails where the page asked for anything that is not its own, or had something to say but
// messages with these words.
func (b *Browser) Quiet(but ...string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.requests) == 0 {
		b.t.Error("no request was seen, not even for the page: the watch is blind")
	}
	for _, r := range b.requests {
		if !b.page.Own(r) {
			b.t.Errorf("the page asked for %.100s", r)
		}
	}
	for _, m := range b.console {
		if !slices.ContainsFunc(but, func(words string) bool { return strings.Contains(m, words) }) {
			b.t.Errorf("the console says: %s", m)
		}
	}
}
