//go:build browser

package report

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// browser is a page in a browser without a window, with all that it says and asks for.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	requests []string
	console  []string
}

// open writes a page to the disk and opens it from there.
func open(t *testing.T, p Page) *browser {
	t.Helper()
	file := filepath.Join(t.TempDir(), "page.html")
	var b bytes.Buffer
	if err := Write(&b, p); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return openFile(t, file)
}

func openFile(t *testing.T, file string) *browser {
	t.Helper()
	program, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("these tests need Debian's package chromium: ", err)
	}
	ac, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(program), chromedp.Headless, chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("no-first-run", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true))
	t.Cleanup(stop)
	first, close := chromedp.NewContext(ac)
	t.Cleanup(close)
	if err := chromedp.Do(first); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(first, 2*time.Minute)
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	chromedp.Listen(ctx, func(ev any) {
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
	b.do(chromedp.EmulateViewport(1280, 900), chromedp.Navigate("file://"+file))
	return b
}

func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// eval is the value of an expression in the page.
func eval[T any](b *browser, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// samples is a Float32Array of the page.
func (b *browser) samples(expression string) []float32 {
	b.t.Helper()
	text := eval[string](b, `(async () => {
		const x = await (`+expression+`), bytes = new Uint8Array(x.buffer, x.byteOffset, x.byteLength);
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

// quiet fails where the page asked for anything but itself, or had something to say.
func (b *browser) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.requests) == 0 {
		b.t.Error("no request was seen, not even for the page: the watch is blind")
	}
	for _, r := range b.requests {
		if !strings.HasPrefix(r, "data:font/") && !(strings.HasPrefix(r, "file://") && strings.HasSuffix(r, ".html")) {
			b.t.Errorf("the page asked for %.100s", r)
		}
	}
	for _, m := range b.console {
		b.t.Errorf("the console says: %s", m)
	}
}

// heard is what Chromium makes of 16 bits: positive samples over 32767, negative ones over 32768.
func heard(x []int32) []float64 {
	y := make([]float64, len(x))
	for k, v := range x {
		y[k] = float64(v) / 32768
		if v > 0 {
			y[k] = float64(v) / 32767
		}
	}
	return y
}

func TestOpensFromDisk(t *testing.T) {
	b := open(t, made())
	for _, width := range []int64{1280, 900, 390} {
		b.do(chromedp.EmulateViewport(width, 900))
		if wide := eval[int64](b, "document.documentElement.scrollWidth"); wide > width {
			t.Errorf("at %d px the page is %d px wide", width, wide)
		}
	}
	if got := eval[string](b, "document.title"); got != "Which comes first?" {
		t.Errorf("title %q", got)
	}
	if !eval[bool](b, "document.fonts.ready.then(() => document.fonts.check('16px Go') && [...document.fonts].every(f => f.status === 'loaded' || f.status === 'unloaded'))") {
		t.Error("the page's letters are not there")
	}
	b.quiet()
}

// The watch sees what leaves the page, and what the policy of the page stops.
func TestWatchSees(t *testing.T) {
	b := open(t, made())
	b.do(chromedp.Evaluate[chromedp.Void](`fetch("https://example.invalid/").catch(() => 0); document.body.append(Object.assign(new Image(), {src: "https://example.invalid/x.png"}))`))
	time.Sleep(300 * time.Millisecond)
	b.mu.Lock()
	defer b.mu.Unlock()
	said := strings.Join(b.console, "\n")
	if !strings.Contains(said, "connect-src") && !strings.Contains(said, "default-src") || !strings.Contains(said, "img-src") {
		t.Errorf("the policy did not stop a fetch and a picture: %s", said)
	}
}

// What leaves the player is the take, sample for sample; a switch goes on at the same place of the other take, over 10 ms along a line.
func TestOutputIsTheTake(t *testing.T) {
	p := made()
	b := open(t, p)
	const from, at, whole = testRate / 2, 16384, 65536 // samples: where the music begins, when takes are switched, how long it lasts
	out := b.samples(`(async () => {
		const takes = await drywire.decode(48000), context = new OfflineAudioContext(1, 65536, 48000);
		const player = new drywire.Player(context, takes, [1, 0.5, 0.25]);
		player.volume.node.gain.value = 1;
		player.offset = 0.5;
		player.play(0);
		context.suspend(16384 / 48000).then(() => { player.choose(1); context.resume(); });
		return (await context.startRendering()).getChannelData(0);
	})()`)
	if len(out) != whole {
		t.Fatalf("%d samples, want %d", len(out), whole)
	}
	one, two := heard(quantise(p.Sounds[0].Channels[0])), heard(quantise(p.Sounds[1].Channels[0]))
	const fade = 480 // 10 ms
	worst, place, differ := 0.0, 0, 0.0
	for k, got := range out {
		if k == 0 { // the ramp of no length begins and ends here
			continue
		}
		w := math.Max(0, math.Min(1, float64(k-at)/fade))
		want := (1-w)*one[from+k] + w*two[from+k]
		if e := math.Abs(float64(got) - want); e > worst {
			worst, place = e, k
		}
		differ = math.Max(differ, math.Abs(one[from+k]-two[from+k]))
	}
	t.Logf("largest error %.2g of full scale, at sample %d", worst, place)
	if worst > 1e-6 { // 32-bit floats: 6e-8 a step; gains along the fade are computed in them too
		t.Errorf("the output is %.3g off at sample %d", worst, place)
	}
	if differ < 0.1 {
		t.Error("the takes are too much alike for this to be a check")
	}
}

// Many takes of long chains with long names fit on a telephone.
func TestManyTakes(t *testing.T) {
	p := made()
	long := strings.Repeat("unbreakable", 15)
	var order []string
	for k := range 14 {
		order = append(order, fmt.Sprintf("block-number-%d", k))
	}
	p.Comparison.Title = long
	p.ListenFor, p.Remarks = []string{long}, []string{long}
	first := p.Comparison.Takes[0]
	p.Comparison.Takes, p.Sounds = nil, nil
	measures, noise, response := p.Measures[0], p.Noise[0], p.Responses[0]
	jack := measures.Jacks[1]
	measures.Jacks = nil
	for _, b := range order {
		jack.Jack = b + ".in"
		measures.Jacks = append(measures.Jacks, jack)
	}
	p.Measures, p.Noise, p.Responses, p.Guitar = nil, nil, nil, nil
	for k := range 13 {
		take := first
		take.Number, take.Name, take.Order, take.Set = k+1, long, order, []string{long}
		p.Comparison.Takes = append(p.Comparison.Takes, take)
		p.Sounds = append(p.Sounds, Sound{testRate, [][]float32{tone(200 + 30*float64(k))}})
		p.Measures, p.Noise, p.Responses, p.Guitar = append(p.Measures, measures), append(p.Noise, noise), append(p.Responses, response), append(p.Guitar, response)
	}
	b := open(t, p)
	for _, width := range []int64{1280, 700, 390} {
		b.do(chromedp.EmulateViewport(width, 900))
		b.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach(d => d.open = true)`))
		if wide := eval[int64](b, "document.documentElement.scrollWidth"); wide > width {
			what := eval[string](b, fmt.Sprintf(`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d && !e.closest(".scroll, .across, pre")).map(e => e.tagName + "." + e.className).slice(0, 5).join()`, width))
			t.Errorf("at %d px the page is %d px wide: %s", width, wide, what)
		}
	}
	b.quiet()
}

// Takes of any length and rate come out of the browser's decoder as long as they went in.
func TestLengths(t *testing.T) {
	for n, rate := range map[int]int{1: 48000, 15: 48000, 4097: 44100, 8193: 96000, 50000: 192000} {
		p := made()
		for k := range p.Sounds {
			p.Sounds[k].Rate = rate
			p.Sounds[k].Channels[0] = p.Sounds[k].Channels[0][:n]
		}
		b := open(t, p)
		if got := eval[int](b, fmt.Sprintf("drywire.decode(%d).then(t => t[2].length)", rate)); got != n {
			t.Errorf("%d samples at %d Hz became %d", n, rate, got)
		}
	}
}

// A take in stereo beside one in mono: left stays left.
func TestStereo(t *testing.T) {
	p := made()
	p.Sounds[1].Channels = append(p.Sounds[1].Channels, p.Sounds[2].Channels[0])
	b := open(t, p)
	for side, from := range []int{1, 2} {
		out := b.samples(fmt.Sprintf(`(async () => {
			const takes = await drywire.decode(48000), context = new OfflineAudioContext(2, 48000, 48000);
			const player = new drywire.Player(context, takes, [1, 1, 1]);
			player.volume.node.gain.value = 1;
			player.chosen = 1;
			player.play(0);
			return (await context.startRendering()).getChannelData(%d);
		})()`, side))
		want := heard(quantise(p.Sounds[from].Channels[0]))
		for k := 1; k < len(out); k++ {
			if math.Abs(float64(out[k])-want[k]) > 1e-6 {
				t.Fatalf("side %d, sample %d: %.3g, want %.3g", side, k, out[k], want[k])
			}
		}
	}
}

// True levels play a take at its own level against the loudest.
func TestTrueLevels(t *testing.T) {
	p := made()
	b := open(t, p)
	out := b.samples(`(async () => {
		const takes = await drywire.decode(48000), context = new OfflineAudioContext(1, 48000, 48000);
		const data = JSON.parse(document.getElementById("player-data").textContent);
		const player = new drywire.Player(context, takes, data.takes.map(t => t.gain));
		player.volume.node.gain.value = 1;
		player.chosen = 2;
		player.trueLevels = true;
		player.play(0);
		return (await context.startRendering()).getChannelData(0);
	})()`)
	take := heard(quantise(p.Sounds[2].Channels[0]))
	gain := math.Pow(10, -6.0/20) // takes 1 and 3 have gains of 12 and 18 dB
	for k := 1; k < len(out); k++ {
		if e := math.Abs(float64(out[k]) - gain*take[k]); e > 2e-6 {
			t.Fatalf("sample %d is %.3g, want %.3g", k, out[k], gain*take[k])
		}
	}
}

// listen takes what comes out of the running player, and finds it in a take: its place in samples, and how far off it is.
func (b *browser) listen(take []float64, volume float64) (place int, worst float64) {
	b.t.Helper()
	x := b.samples(`(() => { const x = new Float32Array(8192); tap.getFloatTimeDomainData(x); return x; })()`)
	at, best := 0, math.Inf(1)
	for from := range take {
		sum := 0.0
		for k := 0; k < 64 && sum < best; k++ {
			i := 128 * k
			e := float64(x[i]) - volume*take[(from+i)%len(take)]
			sum += e * e
		}
		if sum < best {
			at, best = from, sum
		}
	}
	for k, v := range x {
		worst = math.Max(worst, math.Abs(float64(v)-volume*take[(at+k)%len(take)]))
	}
	return at, worst
}

// A click on Play is heard, quietly at first; a key switches to another take at the same place.
func TestPlaysAndSwitches(t *testing.T) {
	p := made()
	b := open(t, p)
	takes := make([][]float64, len(p.Sounds))
	for k := range takes {
		takes[k] = heard(quantise(p.Sounds[k].Channels[0]))
	}
	b.do(chromedp.Click("#play"))
	b.wait(`drywire.player && drywire.player.deck !== null`)
	eval[bool](b, `(() => {
		const c = drywire.player.context;
		globalThis.tap = new AnalyserNode(c, {fftSize: 8192});
		drywire.player.volume.node.connect(tap);
		return true;
	})()`)
	if v := eval[float64](b, "drywire.player.volume.node.gain.value"); math.Abs(v-0.1) > 1e-6 {
		t.Errorf("the volume begins at %.3g, want 0.1 (-20 dB)", v)
	}
	if v := eval[float64](b, "drywire.player.deck.all.node.gain.value"); v > 0.9 {
		t.Errorf("the sound does not fade in: %.3g of it is there at once", v)
	}
	b.wait(`drywire.player.position() > 1.9`) // the fade of 1.5 s is over
	for k, key := range []string{"", "2", "3", "1"} {
		which := []int{0, 1, 2, 0}[k]
		if key != "" {
			b.do(chromedp.KeyEvent(key))
			time.Sleep(400 * time.Millisecond) // the analyser looks back 171 ms
		}
		place, worst := b.listen(takes[which], 0.1)
		if worst > 1e-6 {
			t.Errorf("after key %q the output is %.3g off take %d", key, worst, which+1)
		}
		// The analyser's newest sample is where the player is, within the age of a position: some quanta of 128 samples, and the calls between.
		behind := math.Mod(eval[float64](b, "drywire.player.position()")*testRate-float64(place+8192)+2*testFrames, testFrames)
		if behind > 0.3*testRate {
			t.Errorf("after key %q the output is %.0f samples behind the player's position", key, behind)
		}
		if _, other := b.listen(takes[(which+1)%3], 0.1); other < 1e-3 {
			t.Errorf("another take matches too (%.3g): this is no check", other)
		}
	}
	b.do(chromedp.KeyEvent(" "))
	b.wait(`drywire.player.deck === null`)
	time.Sleep(400 * time.Millisecond)
	if x := b.samples(`(() => { const x = new Float32Array(2048); tap.getFloatTimeDomainData(x); return x; })()`); loudest([][]float32{x}) > 1e-9 {
		t.Errorf("stopped, and still %.3g", loudest([][]float32{x}))
	}
	b.quiet()
}

// wait waits for an expression to hold.
func (b *browser) wait(expression string) {
	b.t.Helper()
	for range 200 {
		if eval[bool](b, "Boolean("+expression+")") {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatalf("never came to be: %s", expression)
}

func TestKeyboard(t *testing.T) {
	b := open(t, made())
	chosen := func() string {
		return eval[string](b, `[...document.querySelectorAll("button.choose")].map(b => b.getAttribute("aria-pressed")).join()`)
	}
	want := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	want("at first", chosen(), "true,false,false")
	b.do(chromedp.KeyEvent("3"))
	want("key 3", chosen(), "false,false,true")
	b.do(chromedp.KeyEvent("9"))
	want("key 9, where there is none", chosen(), "false,false,true")
	clock := `document.getElementById("clock").textContent`
	b.do(chromedp.KeyEvent(kb.ArrowRight))
	want("arrow right", eval[string](b, clock), "1.0")
	b.do(chromedp.KeyEvent(kb.ArrowLeft))
	want("arrow left", eval[string](b, clock), "0.0")
	b.do(chromedp.KeyEvent("l"))
	want("key l", eval[string](b, `String(document.getElementById("loop").checked)`), "false")
	b.do(chromedp.KeyEvent("t"))
	want("key t", eval[string](b, `String(document.getElementById("true-levels").checked)`), "true")
	b.do(chromedp.KeyEvent(" "))
	b.wait(`document.getElementById("play").textContent.trim() === "Stop"`)
	b.do(chromedp.KeyEvent(" "))
	b.wait(`document.getElementById("play").textContent.trim() === "Play"`)

	b.do(chromedp.Focus("#keys"), chromedp.KeyEvent(" "), chromedp.KeyEvent("1"))
	want("keys switched off", chosen(), "false,false,true")
	b.do(chromedp.KeyEvent(" "), chromedp.KeyEvent("1"))
	want("and on again", chosen(), "true,false,false")

	// A stop of the tabulator is to be seen, and every one has a name.
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".skip").focus()`))
	seen := map[string]bool{}
	for range 40 {
		b.do(chromedp.KeyEvent(kb.Tab))
		s := eval[struct {
			What, Name string
			Outline    float64
		}](b, `(() => { const e = document.activeElement, c = getComputedStyle(e);
			return {What: e.tagName + " " + e.id + " " + e.className, Name: e.ariaLabel || e.labels?.[0]?.textContent || e.textContent, Outline: c.outlineStyle === "none" ? 0 : parseFloat(c.outlineWidth)}; })()`)
		if strings.HasPrefix(s.What, "BODY") {
			break
		}
		seen[s.What+s.Name] = true
		if s.Outline < 2 || strings.TrimSpace(s.Name) == "" {
			t.Errorf("focus on %q (named %q) has an outline of %.0f px", s.What, s.Name, s.Outline)
		}
	}
	if len(seen) < 10 {
		t.Errorf("only %d stops of the tabulator: %v", len(seen), seen)
	}
	b.quiet()
}

// The end of a take that does not loop stops the player at the beginning.
func TestEnds(t *testing.T) {
	b := open(t, made())
	b.do(chromedp.KeyEvent("l"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(" "))
	b.wait(`drywire.player?.deck`)
	b.wait(`drywire.player.deck === null`)
	b.wait(`document.getElementById("clock").textContent === "0.0"`)
	b.quiet()
}

// Values are read off a plot by pointing and by keyboard, and are the data's.
func TestReadsValues(t *testing.T) {
	p := made()
	b := open(t, p)
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-plot=response]").scrollIntoView({block: "center", behavior: "instant"})`))
	text := func() string {
		return eval[string](b, `document.querySelector("[data-plot=response] output").textContent`)
	}
	// A first-order low-pass at 1, 2 and 3 kHz. The cell above 1 kHz is at 20·1000^(136.5/240) Hz = 1.02 kHz, 0.1 dB finer.
	point := eval[struct{ X, Y float64 }](b, `(() => { const d = document.querySelector("[data-plot=response] svg.wide"), r = d.getBoundingClientRect();
		const l = Number(d.dataset.left), w = Number(d.dataset.right) - l, k = r.width / d.viewBox.baseVal.width;
		return {X: r.left + k * (l + w * Math.log(1017 / 20) / Math.log(1000)), Y: r.top + r.height / 3}; })()`)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, point.X, point.Y))
	for _, want := range []string{"1.02 kHz", "\u22123.1 dB", "\u22121.0 dB", "\u22120.5 dB"} {
		if got := text(); !strings.Contains(got, want) {
			t.Errorf("pointing at 1.02 kHz: %q says no %q", got, want)
		}
	}
	before := text()
	b.do(chromedp.Focus("#response-at"), chromedp.KeyEvent(kb.ArrowRight))
	if got := text(); got == before || !strings.Contains(got, "1.05 kHz") {
		t.Errorf("a step by keyboard: %q, want 1.05 kHz", got)
	}
	if got := eval[string](b, `document.getElementById("response-at").getAttribute("aria-valuetext")`); got != "1.05 kHz" {
		t.Errorf("the slider says %q", got)
	}
	if live := eval[string](b, `document.querySelector("[data-plot=response] output").getAttribute("aria-live")`); live != "polite" {
		t.Errorf("aria-live is %q", live)
	}
	b.quiet()
}

// Nothing that a checker of accessibility finds serious. It is given by its path, since it is no part of this project (axe-core of npm).
func TestAccessible(t *testing.T) {
	path := os.Getenv("AXE")
	if path == "" {
		t.Skip("AXE does not name a file axe.min.js")
	}
	axe, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{1280, 390} {
			b := open(t, made())
			b.do(chromedp.EmulateViewport(width, 900))
			b.scheme(scheme)
			b.do(chromedp.Evaluate[chromedp.Void](string(axe)), chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach(d => d.open = true)`))
			type finding struct {
				ID, Impact, Help string
				Where            []string
			}
			r := eval[struct {
				Passes     int
				Violations []finding
			}](b, `axe.run().then(r => ({Passes: r.passes.length, Violations: r.violations.map(v => ({ID: v.id, Impact: v.impact, Help: v.help, Where: v.nodes.slice(0, 5).map(n => n.html.slice(0, 120) + " " + (n.any[0]?.message ?? ""))}))}))`)
			t.Logf("%s, %d px: %d rules kept, %d broken", scheme, width, r.Passes, len(r.Violations))
			if r.Passes < 20 {
				t.Errorf("only %d rules looked at", r.Passes)
			}
			for _, v := range r.Violations {
				t.Errorf("%s, %d px: %s (%s): %s\n  %s", scheme, width, v.ID, v.Impact, v.Help, strings.Join(v.Where, "\n  "))
			}
		}
	}
}

func (b *browser) scheme(name string) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}}}); err != nil {
		b.t.Fatal(err)
	}
}

// A page that the program wrote opens, fits, plays and keeps quiet. PAGE names it; PICTURES, if set, is a folder for pictures of it, to be looked at.
func TestGivenPage(t *testing.T) {
	page, folder := os.Getenv("PAGE"), os.Getenv("PICTURES")
	if page == "" {
		t.Skip("PAGE does not name a page")
	}
	path, err := filepath.Abs(page)
	if err != nil {
		t.Fatal(err)
	}
	b := openFile(t, path)
	for _, width := range []int64{1280, 390} {
		for _, scheme := range []string{"light", "dark"} {
			b.do(chromedp.EmulateViewport(width, 1000))
			b.scheme(scheme)
			b.do(chromedp.Evaluate[chromedp.Void](`document.fonts.ready`, chromedp.EvalAwaitPromise), chromedp.Sleep(200*time.Millisecond))
			if wide := eval[int64](b, "document.documentElement.scrollWidth"); wide > width {
				t.Errorf("at %d px the page is %d px wide", width, wide)
			}
			if folder == "" {
				continue
			}
			height := eval[int64](b, "document.documentElement.scrollHeight")
			b.do(chromedp.EmulateViewport(width, height), chromedp.Sleep(100*time.Millisecond))
			png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("%s-%d.png", scheme, width)), png, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	b.do(chromedp.KeyEvent("2"), chromedp.KeyEvent(" "))
	b.wait(`drywire.player && drywire.player.deck !== null && drywire.player.position() > 0.2`)
	if k := eval[int](b, "drywire.player.chosen"); k != 1 {
		t.Errorf("take %d plays, want 2", k+1)
	}
	b.quiet()
}
