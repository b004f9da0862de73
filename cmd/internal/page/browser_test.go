//go:build browser

package page_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/report/browsertest"
	"drywire/cmd/internal/page"
)

// A chain that renders fast and sounds different in every order. Its comments and its layout have
// to survive.
const testChain = `# Kept by hand.
drywire: 1
title:   Does the echo belong before the drive?   # a question
recording: {sample: riff}
guitar: {pickup: humbucker, cable: 3 m}

blocks:
  lift:  {kind: boost, gain: 6 dB}     # clean
  drive: {kind: overdrive, drive: 7}
  echo:  {kind: delay, time: 220 ms, mix: 40 %}

order: [lift, drive, echo]   # as on the floor
takes:
  - name: echo last
  - name: echo first
    order: [echo, lift, drive]
`

// browser is the page in a browser, and the server behind it.
type browser struct {
	*browsertest.Browser
	t       *testing.T
	address string
	file    string
}

// open serves a chain file and opens its page.
func open(t *testing.T, chain string) *browser {
	t.Helper()
	return plugged(t, chain, "")
}

// plugged is open with a WAV file at the machine's input.
func plugged(t *testing.T, chain, input string) *browser {
	t.Helper()
	file := filepath.Join(t.TempDir(), "chain.yaml")
	if err := os.WriteFile(file, []byte(chain), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan string, 1), make(chan error, 1)
	o := page.Options{File: file, Ready: func(address string) { ready <- address }}
	go func() { ended <- page.Serve(ctx, o) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	b := &browser{t: t, file: file}
	select {
	case b.address = <-ready:
	case err := <-ended:
		ended <- err
		t.Fatal(err)
	}
	b.Browser = browsertest.Open(t, browsertest.Page{
		Address: b.address,
		Own: func(request string) bool {
			return strings.HasPrefix(request, b.address) || strings.HasPrefix(request, "data:") || strings.HasPrefix(request, "blob:"+b.address[:20])
		},
		Lifetime: 3*time.Minute + loopFor(),
		Patience: 30 * time.Second,
		Input:    input,
		Notices:  `document.getElementById("notices").textContent + document.getElementById("state").textContent`,
	})
	b.Wait(`globalThis.drywire?.state()`)
	b.Run(`drywire.sound.setNoise(false)`) // tests of noise switch it on
	return b
}

// played is what one side sends for its loop: volts, and the gain to play them at.
type played struct {
	volts []float32
	gain  float64
}

// exact asks the server, past all that the page plays, for the exact sound of a side; two channels
// come frame by frame.
func (b *browser) exact(side string) played {
	b.t.Helper()
	b.Run(`(async () => {
		const { stream } = await import("./wire.js"), [a, z] = drywire.sound.region;
		const got = globalThis.got = { gain: 0, x: new Float32Array(z - a), have: 0 };
		await stream("render", { session: drywire.session(), side: "` + side + `", from: a, region: [a, z], jack: drywire.sound.jack, noise: drywire.sound.hisses() }, {
			json: (type, v) => { if (type === 1 && v.layer === "exact") got.gain = v.gain, got.channels = v.channels; },
			audio: (exact, start, x) => {
				if (!exact) return;
				const n = got.channels;
				if (got.x.length < n * (z - a)) got.x = new Float32Array(n * (z - a));
				for (let k = 0; k < x.length; k++) got.x[(n * (start - a) + k) % (n * (z - a))] = x[k], got.have++;
			},
		}, new AbortController().signal);
	})()`)
	s := played{b.Samples("got.x"), b.Number("got.gain")}
	if have := b.Int("got.have"); have < len(s.volts) || s.gain == 0 {
		b.t.Fatalf("side %s: %d of %d frames of exact sound, gain %g", side, have, len(s.volts), s.gain)
	}
	return s
}

// region loops a part of the recording, in frames.
func (b *browser) region(from, to int) {
	b.t.Helper()
	b.Run(fmt.Sprintf("drywire.wave.set(%d, %d)", from, to))
}

// watch keeps what the worklet says it plays, and the sound of previews as it is handed over: key
// by key, frame by frame of the loop.
const watch = `(() => {
	const s = drywire.sound, told = s.told.bind(s), post = s.deck.port.postMessage.bind(s.deck.port);
	globalThis.heard = [];
	globalThis.previews = {};
	s.told = m => { const l = heard.at(-1); if (m.key && (l?.key !== m.key || l.layer !== m.layer)) heard.push({ key: m.key, layer: m.layer, time: performance.now() }); told(m); };
	s.deck.port.postMessage = (m, t) => {
		if (m.do === "piece" && m.layer === "preview") {
			const channels = s.held.get(m.key).channels;
			(previews[m.key] ??= new Float32Array((s.region[1] - s.region[0]) * channels)).set(m.piece, m.at * channels);
		}
		post(m, t);
	};
})()`

// play presses Play, and taps what leaves the worklet, before the volume.
func (b *browser) play() {
	b.t.Helper()
	b.Do(chromedp.Click("#play"))
	b.Wait("drywire.sound.deck && drywire.sound.playing")
	b.Run(watch)
	b.Run(`globalThis.tap ??= (() => { const t = new AnalyserNode(drywire.sound.context, { fftSize: 32768 }); drywire.sound.deck.connect(t); return t; })()`)
}

// both waits for the exact sound of both sides to be held, and for that of the side that is chosen
// to be what is heard.
func (b *browser) both() {
	b.t.Helper()
	b.Wait(`drywire.sound.holds("A") && drywire.sound.holds("B") && drywire.sound.heard.layer === "exact" && drywire.sound.heard.key === drywire.sound.orders[drywire.sound.side].key`)
}

const window = 32768 // frames of a tap: 0.68 s

// tapped is the last of what left the worklet.
func (b *browser) tapped() []float32 {
	b.t.Helper()
	return b.Samples(`(() => { const x = new Float32Array(32768); tap.getFloatTimeDomainData(x); return x; })()`)
}

// find is where in a sound what was tapped begins, and how far off it is at most.
func find(x []float32, s played) (at int, worst float64) {
	n, best := len(s.volts), math.Inf(1)
	for from := range n {
		sum := 0.0
		for k := 0; k < 48 && sum < best; k++ {
			i := k * len(x) / 48
			e := float64(x[i]) - s.gain*float64(s.volts[(from+i)%n])
			sum += e * e
		}
		if sum < best {
			at, best = from, sum
		}
	}
	return at, off(x, s, at)
}

// off is the largest difference of what was tapped from a sound that begins at a place.
func off(x []float32, s played, at int) float64 {
	worst := 0.0
	for k, v := range x {
		worst = math.Max(worst, math.Abs(float64(v)-s.gain*float64(s.volts[(at+k)%len(s.volts)])))
	}
	return worst
}

func loudest(x []float32) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, math.Abs(float64(v)))
	}
	return m
}

// lane is the order that the page draws, and side is the order of a side of the state.
func (b *browser) lane() string {
	b.t.Helper()
	return b.Text(`[...document.querySelectorAll(".stations.main > .station[data-block]")].map(e => e.dataset.block).join(" ")`)
}

func (b *browser) order(side string) string {
	b.t.Helper()
	return b.Text(`drywire.state().sides.` + side + `.lane.map(s => s.block).join(" ")`)
}

func (b *browser) want(what, got, want string) {
	b.t.Helper()
	if got != want {
		b.t.Errorf("%s: %q, want %q", what, got, want)
	}
}

// near is floats' arithmetic: 32 bits of a signal under full scale, times a gain of up to some
// tens.
const near = 2e-6

func TestOpens(t *testing.T) {
	b := open(t, testChain)
	for _, width := range []int{1280, 1100, 700, 390, 320} {
		b.Resize(width, 900)
		if wide := b.Int("document.documentElement.scrollWidth"); wide > width {
			what := b.Text(fmt.Sprintf(`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d).map(e => e.tagName + "." + e.className).slice(0, 5).join()`, width))
			t.Errorf("at %d px the page is %d px wide: %s", width, wide, what)
		}
	}
	b.want("title", b.Text(`document.querySelector("h1").textContent`), "Does the echo belong before the drive?")
	b.want("lane", b.lane(), "lift drive echo")
	b.want("takes", b.Text(`["A", "B"].map(s => document.getElementById("name-" + s).textContent).join()`), "echo last,echo first")
	if !b.Holds("document.fonts.load('16px Go').then(f => f.length > 0 && document.fonts.check('16px Go'))") {
		t.Error("the page's letters are not there")
	}
	b.Wait(`document.querySelectorAll("#figures .line.sounding").length >= 3 && document.querySelectorAll("#figures .line.other").length >= 3`)
	b.Quiet()
}

// The watch sees what leaves the page, and what the policy of the page stops.
func TestWatchSees(t *testing.T) {
	b := open(t, testChain)
	b.Run(`fetch("https://example.invalid/").catch(() => 0); document.body.append(Object.assign(new Image(), {src: "https://example.invalid/x.png"}))`)
	time.Sleep(300 * time.Millisecond)
	said := strings.Join(b.Console(), "\n")
	if !strings.Contains(said, "connect-src") || !strings.Contains(said, "img-src") {
		t.Errorf("the policy did not stop a fetch and a picture: %s", said)
	}
}

// What leaves the worklet is what the program sent for the side, sample for sample, at the place
// that the page shows; quietly at first.
func TestPlays(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	if v := b.Number("drywire.sound.volume.gain.value"); v > 0.03 {
		t.Errorf("the volume begins at %.3g, want to rise from 0 to -24 dB", v)
	}
	b.both()
	time.Sleep(900 * time.Millisecond) // the tap looks back 0.68 s
	a, other := b.exact("A"), b.exact("B")
	for _, side := range []string{"A", "B", "A"} {
		b.Do(chromedp.KeyEvent(strings.ToLower(side)))
		time.Sleep(900 * time.Millisecond)
		mine, theirs := a, other
		if side == "B" {
			mine, theirs = other, a
		}
		x := b.tapped()
		at, worst := find(x, mine)
		if worst > near {
			t.Errorf("side %s: the output is %.3g off", side, worst)
		}
		if loudest(x) < 0.05 {
			t.Errorf("side %s: next to nothing is heard, %.3g", side, loudest(x))
		}
		if _, wrong := find(x, theirs); wrong < 0.01 {
			t.Errorf("side %s: the other side matches too (%.3g): this is no check", side, wrong)
		}
		// The tap's newest frame is where the picture is, but for the output's latency and the time
		// between the two questions.
		loop := float64(len(mine.volts))
		apart := math.Mod(b.Number("drywire.sound.position() - drywire.sound.region[0]")-float64(at+window)+2.5*loop, loop) - loop/2
		if math.Abs(apart) > 0.2*48000 {
			t.Errorf("side %s: the picture is %.0f ms from the sound", side, apart/48)
		}
	}
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`!drywire.sound.playing && document.getElementById("play").textContent.trim() === "Play"`)
	if v := b.Number(`new Promise(r => setTimeout(() => r(drywire.sound.context.state === "suspended" ? 1 : 0), 700))`); v != 1 {
		t.Error("stopped, and the sound card still runs")
	}
	b.Quiet()
}

// Two amplifiers are heard in two channels, each where it belongs.
func TestPlaysStereo(t *testing.T) {
	b := open(t, `drywire: 1
title: Two amplifiers
recording: {sample: riff}
guitar: {pickup: humbucker}
blocks:
  left:  {kind: boost, gain: 3 dB}
  right: {kind: overdrive}
order:
  - split: {left: [left], right: [right]}
takes: [{name: as it is}, {name: softer, set: {left.gain: 0 dB}}]
`)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	b.Run(`globalThis.taps = (() => {
		const c = drywire.sound.context, apart = new ChannelSplitterNode(c, { numberOfOutputs: 2 });
		drywire.sound.deck.connect(apart);
		return [0, 1].map(k => { const t = new AnalyserNode(c, { fftSize: 32768 }); apart.connect(t, k); return t; });
	})()`)
	both := b.exact("A")
	var channels [2]played
	for k := range channels {
		channels[k].gain = both.gain
		for j := k; j < len(both.volts); j += 2 {
			channels[k].volts = append(channels[k].volts, both.volts[j])
		}
	}
	time.Sleep(900 * time.Millisecond)
	x := b.Samples(`(() => { const x = new Float32Array(2 * 32768); taps.forEach((t, k) => { const y = new Float32Array(32768); t.getFloatTimeDomainData(y); x.set(y, k * 32768); }); return x; })()`)
	for k := range channels {
		mine := x[k*window : (k+1)*window]
		at, worst := find(mine, channels[k])
		if worst > near || loudest(mine) < 0.05 {
			t.Errorf("channel %d is %.3g off, its loudest frame %.3g", k, worst, loudest(mine))
		}
		if _, wrong := find(mine, channels[1-k]); wrong < 0.01 {
			t.Errorf("channel %d is the other one too (%.3g, at %d): this is no check", k, wrong, at)
		}
	}
	// Either one alone, in both ears; and what the meter says of it is what there is.
	b.Do(chromedp.Click(`#channels button:nth-child(2)`))
	time.Sleep(200 * time.Millisecond)
	if gains := b.Text(`JSON.stringify(drywire.sound.crossing.map(r => r.map(g => g.gain.value)))`); gains != "[[1,1],[0,0]]" {
		t.Errorf("left alone goes by %s", gains)
	}
	if text := b.Text(`document.getElementById("out-text").textContent`); !strings.HasSuffix(text, "dB") {
		t.Errorf("the meter says %q", text)
	}
	b.Quiet()
}

// A flip goes over 20 ms along a straight line, from one sound to the other at the same place: that
// is all that happens.
func TestFlipIsALine(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	from, to := b.exact("A"), b.exact("B")
	b.both()
	time.Sleep(900 * time.Millisecond)
	for n, key := range []string{"x", "x", "x"} {
		b.Do(chromedp.KeyEvent(key))
		time.Sleep(250 * time.Millisecond)
		x := b.tapped()
		at, _ := find(x[:8192], from)
		// The seam: the first frame that is no longer the old sound.
		seam := -1
		for k := range x {
			if math.Abs(float64(x[k])-from.gain*float64(from.volts[(at+k)%len(from.volts)])) > near {
				seam = k
				break
			}
		}
		if seam < 8192 || seam > window-2048 {
			t.Fatalf("flip %d: the seam is at %d of the tap", n+1, seam)
		}
		const fade = 960 // 20 ms
		worst, step, own := 0.0, 0.0, 0.0
		best := math.Inf(1)
		// the line's first frames may differ by less than near
		for begin := seam - 40; begin <= seam; begin++ {
			w := 0.0
			for k := begin - 100; k < begin+fade+100; k++ {
				p := math.Min(1, math.Max(0, float64(k-begin+1)/fade))
				i := (at + k) % len(from.volts)
				w = math.Max(w, math.Abs(float64(x[k])-(1-p)*from.gain*float64(from.volts[i])-p*to.gain*float64(to.volts[i])))
			}
			best = math.Min(best, w)
		}
		worst = best
		for k := seam - 100; k < seam+fade+100; k++ {
			i, j := (at+k)%len(from.volts), (at+k+1)%len(from.volts)
			step = math.Max(step, math.Abs(float64(x[k+1]-x[k])))
			own = math.Max(own, math.Max(from.gain*math.Abs(float64(from.volts[j]-from.volts[i])), to.gain*math.Abs(float64(to.volts[j]-to.volts[i]))))
		}
		t.Logf("flip %d: %.2g off the line, largest step %.3f, the sounds' own %.3f", n+1, worst, step, own)
		if worst > near {
			t.Errorf("flip %d: %.3g off a line of 20 ms", n+1, worst)
		}
		apart := 0.0 // how far the two sounds are apart there: what a cut could add
		for k := seam; k < seam+fade; k++ {
			i := (at + k) % len(from.volts)
			apart = math.Max(apart, math.Abs(from.gain*float64(from.volts[i])-to.gain*float64(to.volts[i])))
		}
		if step > own+apart/fade+near {
			t.Errorf("flip %d: a step of %.3g, where the sounds' own are %.3g", n+1, step, own)
		}
		if apart < 0.01 {
			t.Errorf("flip %d: the sounds are too much alike there", n+1)
		}
		from, to = to, from
		time.Sleep(700 * time.Millisecond)
	}
	b.Quiet()
}

// A block moves by key and by hand; either changes the order and what is heard, without a click and
// without a gap.
func TestMoves(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	before := b.exact("A")
	for _, by := range []string{"key", "hand", "lifted"} {
		time.Sleep(900 * time.Millisecond)
		old := b.exact("A")
		b.Run(`document.querySelector('[data-block="echo"] .grip').scrollIntoView({ block: "center" })`)
		b.Run(`heard.length = 0; globalThis.asked = 0; addEventListener("keydown", () => asked = performance.now(), true); addEventListener("pointerup", () => asked = performance.now(), true)`)
		want := map[string]string{"key": "lift echo drive", "hand": "lift drive echo", "lifted": "echo lift drive"}[by]
		switch by {
		case "key":
			b.Do(chromedp.Focus(`[data-block="echo"] .grip`))
			b.Do(chromedp.KeyEvent(kb.ArrowUp, chromedp.KeyModifiers(chromedp.ModifierAlt)))
		case "hand":
			b.drag(`[data-block="echo"] .grip`, `[data-block="drive"] .grip`, 14)
		case "lifted":
			b.Do(chromedp.Focus(`[data-block="echo"] .grip`))
			for _, k := range []string{" ", kb.ArrowUp, kb.ArrowUp} {
				b.Do(chromedp.KeyEvent(k))
			}
			b.want("while lifted, the order is drawn", b.lane(), want)
			b.want("while lifted, the order", b.order("A"), "lift drive echo")
			b.Do(chromedp.KeyEvent(kb.Enter))
		}
		b.Wait(`drywire.state().sides.A.lane.map(s => s.block).join(" ") === "` + want + `"`)
		b.want(by+": lane", b.lane(), want)
		b.Wait(`document.getElementById("spoken").textContent.includes("echo, place")`)
		b.want(by+": focus", b.Text(`document.activeElement.closest(".station")?.dataset.block ?? document.activeElement.tagName`), "echo")
		b.Wait(`drywire.sound.heard.key === drywire.sound.orders.A.key && drywire.sound.orders.A.revision === drywire.state().revision`)
		time.Sleep(80 * time.Millisecond)
		first := browsertest.Eval[struct {
			Layer string
			After float64
		}](b.Browser, `(() => { const h = heard.find(h => h.key === drywire.sound.orders.A.key); return { Layer: h.layer, After: h.time - asked }; })()`)
		t.Logf("%s: the %s sound is heard %.0f ms after it was asked for", by, first.Layer, first.After)
		// A new order is heard from its preview; one that was there before, or that the other side
		// has, is held.
		b.want(by+": first heard", first.Layer, map[string]string{"key": "preview", "hand": "exact", "lifted": "exact"}[by])
		b.seam(by, old, first.Layer)
		b.both()
		time.Sleep(900 * time.Millisecond)
		x := b.tapped()
		if _, worst := find(x, b.exact("A")); worst > near {
			t.Errorf("%s: what is heard is %.3g off the new order", by, worst)
		}
		if _, worst := find(x, old); worst < 0.01 {
			t.Errorf("%s: what is heard is still the old order", by)
		}
	}
	b.Do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Wait(`drywire.state().sides.A.lane.map(s => s.block).join(" ") === "lift drive echo"`)
	b.both()
	time.Sleep(900 * time.Millisecond)
	if _, worst := find(b.tapped(), before); worst > near {
		t.Errorf("undone, what is heard is %.3g off what was there before", worst)
	}
	b.Do(chromedp.KeyEvent("Z", chromedp.KeyModifiers(chromedp.ModifierCtrl, chromedp.ModifierShift)))
	b.Wait(`drywire.state().sides.A.lane.map(s => s.block).join(" ") === "echo lift drive"`)
	// Escape puts back; Delete takes off the board.
	b.Do(chromedp.Focus(`[data-block="echo"] .grip`), chromedp.KeyEvent(" "), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.Escape))
	b.want("put back", b.lane(), "echo lift drive")
	b.Do(chromedp.KeyEvent(kb.Delete))
	b.Wait(`drywire.state().sides.A.tray.some(s => s.block === "echo")`)
	b.want("off the board", b.lane(), "lift drive")
	b.Quiet()
}

// seam finds in the tap where an old sound gave way to the present one, and holds it to a line of
// 20 ms between the two at the same place, with no step that the two have not got themselves. The
// gain of a preview is an estimate that moves; along the fade it may be any straight line.
func (b *browser) seam(what string, old played, layer string) {
	b.t.Helper()
	x := b.tapped()
	var now []float32
	if layer == "preview" {
		now = b.Samples(`previews[drywire.sound.orders.A.key]`)
	} else {
		now = b.exact("A").volts
	}
	n := len(old.volts)
	at, _ := find(x[:8192], old)
	was := func(k int) float64 { return old.gain * float64(old.volts[(at+k)%n]) }
	is := func(k int) float64 { return float64(now[(at+k)%n]) }
	seam := -1
	for k := range x {
		if math.Abs(float64(x[k])-was(k)) > near {
			seam = k
			break
		}
	}
	const fade = 960 // 20 ms
	if seam < 8192 || seam > window-2*fade {
		b.t.Fatalf("%s: the seam is at %d of the tap", what, seam)
	}
	least, level := math.Inf(1), 0.0
	// the line's first frames may differ by less than near
	for begin := seam - 40; begin <= seam; begin++ {
		// The least squares of (g + h·t)·p·is, t from 0 to 1 along the fade, p the line.
		var uu, uv, vv, ur, vr float64
		for pass := range 2 {
			d := uu*vv - uv*uv
			g, h := (ur*vv-vr*uv)/d, (vr*uu-ur*uv)/d
			worst := 0.0
			for k := range fade {
				t := float64(k+1) / fade
				u, r := t*is(begin+k), float64(x[begin+k])-(1-t)*was(begin+k)
				v := t * u
				if pass == 0 {
					uu, uv, vv, ur, vr = uu+u*u, uv+u*v, vv+v*v, ur+u*r, vr+v*r
				} else {
					worst = math.Max(worst, math.Abs(r-g*u-h*v))
				}
				level = math.Max(level, math.Abs(r))
			}
			if pass == 1 {
				least = math.Min(least, worst)
			}
		}
	}
	quiet, run := 0, 0
	for k := range x {
		if run++; x[k] != 0 {
			run = 0
		}
		quiet = max(quiet, run)
	}
	b.t.Logf("%s: at the seam %.2g off a line from one sound to the other, of up to %.2g", what, least, level)
	if level < 0.01 {
		b.t.Errorf("%s: nothing sounds at the seam", what)
	}
	// the gain moves by 20 dB a second and not quite along a line: 0.4 dB in the fade, 0.1 % from a
	// line
	if least > 0.01*level {
		b.t.Errorf("%s: %.3g off a line of 20 ms, where the sound is up to %.3g", what, least, level)
	}
	if quiet > 64 {
		b.t.Errorf("%s: a gap of %d frames", what, quiet)
	}
}

// drag takes one thing by hand to another, in steps, and some pixels past its middle.
func (b *browser) drag(from, to string, past float64) {
	b.t.Helper()
	type point struct{ X, Y float64 }
	middle := func(s string) point {
		return browsertest.Eval[point](b.Browser, `(() => { const r = document.querySelector('`+s+`').getBoundingClientRect(); return { X: r.left + r.width / 2, Y: r.top + r.height / 2 }; })()`)
	}
	p, q := middle(from), middle(to)
	q.Y += past
	mouse := func(kind input.DispatchMouseEventType, at point, buttons int64) {
		b.t.Helper()
		_, err := chromedp.Call(b.Context, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: at.X, Y: at.Y, Button: input.MouseButtonLeft, Buttons: buttons, ClickCount: 1})
		if err != nil {
			b.t.Fatal(err)
		}
	}
	mouse(input.DispatchMouseEventTypeMousePressed, p, 1)
	for k := 1; k <= 10; k++ {
		f := float64(k) / 10
		mouse(input.DispatchMouseEventTypeMouseMoved, point{p.X + f*(q.X-p.X), p.Y + f*(q.Y-p.Y)}, 1)
		time.Sleep(15 * time.Millisecond)
	}
	mouse(input.DispatchMouseEventTypeMouseReleased, q, 0)
}

// The levels of the two sides are equal until one asks for the true ones, which differ by what the
// page says.
func TestLevels(t *testing.T) {
	b := open(t, strings.Replace(testChain, "order: [echo, lift, drive]", "order: [echo, lift, drive]\n    set: {drive.level: 2}", 1))
	b.region(48000, 48000*3)
	b.play()
	b.both()
	loud := func() float64 {
		time.Sleep(900 * time.Millisecond)
		sum := 0.0
		x := b.tapped()
		for _, v := range x {
			sum += float64(v) * float64(v)
		}
		return 10 * math.Log10(sum/float64(len(x)))
	}
	gain := func(side, which string) float64 { return b.Number("drywire.sound.orders." + side + ".meta." + which) }
	type pair struct{ a, b played }
	s := pair{b.exact("A"), b.exact("B")}
	b.Do(chromedp.KeyEvent("t"))
	_ = loud()
	for _, side := range []string{"A", "B"} {
		b.Do(chromedp.KeyEvent(strings.ToLower(side)))
		time.Sleep(900 * time.Millisecond)
		v := s.a
		if side == "B" {
			v = s.b
		}
		v.gain = gain(side, "true_gain")
		if _, worst := find(b.tapped(), v); worst > near {
			t.Errorf("true levels, side %s: %.3g off", side, worst)
		}
	}
	difference := 20 * math.Log10(gain("A", "gain")/gain("A", "true_gain")*gain("B", "true_gain")/gain("B", "gain"))
	said := b.Text(`document.getElementById("match").textContent.replace(/\u00a0/g, " ")`)
	if want := fmt.Sprintf("Unmatched, A is %.1f dB louder", -difference); difference > -3 || !strings.HasPrefix(said, want) {
		t.Errorf("%q, want %q", said, want)
	}
	b.Quiet()
}

// A setting, a bypass and a take are edits like any other, and are heard.
func TestSettings(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	b.Do(chromedp.Click(`[data-block="drive"] .pick`))
	b.want("the panel's block", b.Text(`document.querySelector("#see-block h3").textContent.trim()`), "drive overdrive")
	key := func() string { return b.Text("drywire.sound.orders.A.key") }
	seen := map[string]bool{key(): true}
	fresh := func(what string) {
		t.Helper()
		b.both()
		if seen[key()] {
			t.Errorf("%s: the sound is one that was there before", what)
		}
		seen[key()] = true
	}
	b.Run(`(() => { const k = [...document.querySelectorAll('#see-block .knob')].find(k => k.textContent.startsWith("drive")), s = k.querySelector("input[type=range]"); s.focus(); })()`)
	b.Do(chromedp.KeyEvent(kb.Home))
	b.Wait(`drywire.state().sides.A.lane[1].knobs.find(k => k.name === "drive").value === 0`)
	fresh("a slider")
	b.Run(`(() => { const e = [...document.querySelectorAll('#see-block .knob')].find(k => k.textContent.startsWith("drive")).querySelector(".exact"); e.focus(); e.select(); })()`)
	b.Do(chromedp.KeyEvent("3"), chromedp.KeyEvent(kb.Enter))
	b.Wait(`drywire.state().sides.A.lane[1].knobs.find(k => k.name === "drive").value === 3`)
	fresh("a number")
	b.want("the field", b.Text(`document.activeElement.value`), "3")
	// behind the 3: refused, and the field stays for mending
	b.Do(chromedp.KeyEvent("9 o'clock"), chromedp.KeyEvent(kb.Enter))
	b.Wait(`document.getElementById("notices").textContent`)
	b.Do(chromedp.KeyEvent(kb.Escape))
	b.want("the field, put back", b.Text(`document.activeElement.value`), "3")
	b.Do(chromedp.Focus(`[data-block="drive"] .grip`), chromedp.KeyEvent("o"))
	b.Wait(`drywire.state().sides.A.lane[1].off`)
	fresh("a bypass")
	b.want("marked as off", b.Text(`document.querySelector('[data-block="drive"].off .headroom .v').textContent`), "bypassed")
	b.Quiet("status of 422") // the browser says so itself
}

// A, B, X: by keyboard from the beginning to the end; nothing is told before the end.
func TestBlindTest(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	b.Do(chromedp.Focus("#test"), chromedp.KeyEvent(kb.Enter))
	b.Wait(`document.getElementById("trial").open && !document.getElementById("answer-a").disabled`)
	drawn := func() string {
		return b.Text(`document.getElementById("hear-A").outerHTML + document.getElementById("hear-B").outerHTML + document.documentElement.dataset.side + document.title`)
	}
	before := drawn()
	const trials = 6
	for k := range trials {
		for _, key := range []string{"a", "b", "x"} {
			b.Do(chromedp.KeyEvent(key))
			b.want("pressed", b.Text(`document.querySelector(".abx [aria-pressed=true]").id`), "abx-"+key)
		}
		time.Sleep(150 * time.Millisecond)
		// The one who answers knows: what sounds as X is looked up behind the page, and every
		// answer but the first is right.
		side := b.Text("drywire.sound.side")
		answer := "1"
		if (side == "B") != (k == 0) {
			answer = "2"
		}
		if told := b.Text(`document.getElementById("trial").innerText`); strings.Contains(told, "right") || strings.Contains(told, "correct") {
			t.Errorf("trial %d tells: %s", k+1, told)
		}
		b.want("what is behind the test", drawn(), before)
		b.Do(chromedp.KeyEvent(answer))
		b.Wait(fmt.Sprintf(`document.getElementById("trial-count").textContent.includes("trial %d")`, k+2))
	}
	b.Do(chromedp.KeyEvent(kb.Escape))
	b.Wait(`!document.getElementById("trial-result").hidden`)
	b.want("result", b.Text(`document.getElementById("result-title").textContent`), "5 of 6 right")
	// Binomial, one-sided: (6 + 1)/2^6 = 0.109
	b.want("p", b.Text(`document.getElementById("result-p").textContent`), "0.109")
	written, err := filepath.Glob(filepath.Join(filepath.Dir(b.file), "*"))
	if err != nil || len(written) < 2 {
		t.Errorf("beside the chain file: %v, %v", written, err)
	}
	b.Do(chromedp.KeyEvent(kb.Enter))
	b.Wait(`!document.getElementById("trial").open`)
	time.Sleep(300 * time.Millisecond)
	if b.Holds(`document.getElementById("trial").open`) {
		t.Error("the press that left the result has begun the next test")
	}
	b.Quiet()
}

// Saving keeps the rest of the file; what others wrote meanwhile is not written over, and both ways
// out are offered.
func TestSaves(t *testing.T) {
	b := open(t, testChain)
	move := func(key string) {
		t.Helper()
		revision := b.Int("drywire.state().revision")
		b.Do(chromedp.Focus(`[data-block="echo"] .grip`), chromedp.KeyEvent(key, chromedp.KeyModifiers(chromedp.ModifierAlt)))
		b.Wait(fmt.Sprintf("drywire.state().revision > %d", revision))
	}
	read := func() string {
		t.Helper()
		text, err := os.ReadFile(b.file)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	move(kb.ArrowUp)
	b.Wait(`document.getElementById("saved").textContent === "not saved yet"`)
	b.Do(chromedp.KeyEvent("s", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.Do(chromedp.Click(`#save-box input[value="order"]`), chromedp.Click("#save-go"))
	b.Wait(`!document.getElementById("save-box").open`)
	want := strings.Replace(testChain, "order: [lift, drive, echo]   #", "order: [lift, echo, drive]   #", 1)
	b.want("saved", read(), want)

	// Somebody else writes while nothing is unsaved: the page follows.
	b.Do(chromedp.Navigate(b.address))
	b.Wait(`globalThis.drywire?.state()`)
	time.Sleep(700 * time.Millisecond) // the watch has looked once
	if err := os.WriteFile(b.file, []byte(strings.Replace(want, "Does the echo", "Should the echo", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.querySelector("h1").textContent.startsWith("Should") && document.getElementById("notices").textContent.includes("changed on disk")`)

	// And while something is: nothing is lost, and saving asks.
	move(kb.ArrowUp)
	theirs := strings.Replace(want, "Does the echo", "Why would the echo", 1)
	if err := os.WriteFile(b.file, []byte(theirs), 0o644); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.getElementById("saved").textContent === "changed on disk"`)
	b.Run(`document.getElementById("save").click()`)
	b.Do(chromedp.Click("#save-go"))
	b.Wait(`document.getElementById("conflict-box").open`)
	b.want("on disk", read(), theirs)
	b.want("theirs", b.Text(`document.getElementById("theirs").textContent`), theirs)
	b.want("only on disk", b.Text(`[...document.querySelectorAll("#theirs del")].map(e => e.textContent).join("")`), "title:   Why would the echo belong before the drive?   # a question\n")
	if mine := b.Text(`[...document.querySelectorAll("#mine ins")].map(e => e.textContent).join("")`); !strings.Contains(mine, "Should the echo") || strings.Contains(mine, "lift:") {
		t.Errorf("only here: %s", mine)
	}
	b.want("in the reader's hand", b.Text(`document.activeElement.id`), "keep-both")
	b.Run(`document.getElementById("keep-both").click()`)
	b.Wait(`document.getElementById("notices").textContent.includes("All of it is in chain-")`)
	b.want("on disk, with mine beside it", read(), theirs)
	if both, _ := filepath.Glob(strings.TrimSuffix(b.file, ".yaml") + "-*.yaml"); len(both) != 1 {
		t.Errorf("beside it: %v", both)
	}
	b.Run(`document.getElementById("save").click()`)
	b.Do(chromedp.Click("#save-go"))
	b.Wait(`document.getElementById("conflict-box").open`)
	b.Do(chromedp.Click("#take-theirs"))
	b.Wait(`document.querySelector("h1").textContent.startsWith("Why") && !document.getElementById("conflict-box").open`)
	b.want("taken", read(), theirs)

	move(kb.ArrowUp)
	if err := os.WriteFile(b.file, []byte(want), 0o644); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.getElementById("saved").textContent === "changed on disk"`)
	b.Run(`document.getElementById("save").click()`)
	b.Do(chromedp.Click("#save-go"))
	b.Wait(`document.getElementById("conflict-box").open`)
	b.Do(chromedp.Click("#keep-mine"))
	b.Wait(`document.getElementById("saved").textContent === "saved"`)
	if got := read(); !strings.Contains(got, "Why would the echo") || !strings.Contains(got, "# Kept by hand.") {
		t.Errorf("mine, written over: %s", got)
	}
	b.Quiet("status of 409") // the browser says so itself
}

// Blocks move into a switcher's loops and into the paths of a split, by keyboard; and what is
// refused is said and drawn back.
func TestLoopsAndPaths(t *testing.T) {
	b := open(t, `drywire: 1
title: Loops and paths
recording: {sample: riff}
guitar: {pickup: humbucker}
blocks:
  board: {kind: switcher, loops: {1: [lift], 2: [drive]}}
  lift:  {kind: boost}
  drive: {kind: overdrive}
  clean: {kind: preamp}
  dark:  {kind: preamp}
presets: {on: {loops: [1, 2]}}
order:
  - board
  - split: {left: [clean], right: [dark]}
takes: [{name: all, preset: on}]
`)
	stands := func() string {
		return b.Text(`document.querySelector('[data-block="lift"]').closest("[data-list]").dataset.list`)
	}
	held := func() string {
		return b.Text(`[...document.querySelectorAll('[data-block="lift"] input, [data-block="lift"] select')].map(i => i.disabled).filter((d, k, all) => all.indexOf(d) === k).join(" ")`)
	}
	b.want("controls in a loop that is in are held", held(), "false")
	b.Do(chromedp.Click(`.loop .tag`))
	b.Wait(`!drywire.state().sides.A.lane[0].loops[0].on`)
	b.want("a loop that is out", b.Text(`document.querySelector(".fold").dataset.list + document.querySelector(".fold .plain").firstChild.textContent`), "loop 1lift")
	b.Do(chromedp.Click(`.fold .plain`))
	b.want("controls in a loop that is out are held", held(), "true")
	b.Do(chromedp.Click("#undo"))
	b.Wait(`drywire.state().sides.A.lane[0].loops[0].on`)
	b.Do(chromedp.Focus(`[data-block="lift"] .grip`))
	for _, want := range []string{"loop 2", "loop 2", "main", "left", "left", "right", "right"} {
		revision := b.Int("drywire.state().revision")
		b.Do(chromedp.KeyEvent(kb.ArrowDown, chromedp.KeyModifiers(chromedp.ModifierAlt)))
		b.Wait(fmt.Sprintf("drywire.state().revision > %d", revision))
		b.want("after a step on", stands(), want)
		b.want("focus", b.Text(`document.activeElement.closest(".station")?.dataset.block ?? ""`), "lift")
	}
	b.Resize(1280, 2000)
	b.Do(chromedp.Sleep(200 * time.Millisecond))
	b.drag(`[data-block="lift"] .grip`, `[data-block="drive"] .grip`, -8)
	b.Wait(`document.querySelector('[data-block="lift"]').closest("[data-list]").dataset.list === "loop 2" && JSON.stringify(drywire.state().sides.A.lane[0].loops[1].blocks.map(s => s.block)) === '["lift","drive"]'`)
	b.Quiet()
}

// Values are read off a figure by pointing and by keyboard.
func TestReadsValues(t *testing.T) {
	b := open(t, testChain)
	b.Wait(`drywire.figures.response.plot`)
	b.Do(chromedp.Click("#tab-response"))
	b.Run(`drywire.figures.response.root.scrollIntoView({ block: "center", behavior: "instant" })`)
	point := browsertest.Eval[struct{ X, Y float64 }](b.Browser, `(() => { const f = drywire.figures.response, r = f.drawing.getBoundingClientRect(), k = f.plot.x.findIndex(v => v >= 500); return { X: r.left + f.x(k) * r.width / 380, Y: r.top + r.height / 3 }; })()`)
	b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, point.X, point.Y))
	want := b.Text(`(() => { const p = drywire.figures.response.plot, k = p.x.findIndex(v => v >= 500); return p.series[0].y[k].toFixed(1).replace("-", "\u2212"); })()`)
	text := func() string { return b.Text(`drywire.figures.response.values.textContent`) }
	if got := text(); !strings.Contains(got, want) {
		t.Errorf("pointing at 500 Hz: %q says no %q", got, want)
	}
	before := text()
	b.Run(`drywire.figures.response.slider.focus()`)
	b.Do(chromedp.KeyEvent(kb.ArrowRight))
	if text() == before {
		t.Errorf("a step by keyboard leaves %q", before)
	}
	b.Quiet()
}

// The sound of an engine that is slower than the music is not begun before it can go on to the end;
// until then the old one plays on.
func TestSlowEngine(t *testing.T) {
	b := open(t, testChain)
	x := b.Samples(`(async () => {
		const rate = 48000, frames = 4 * rate, context = new OfflineAudioContext(1, 8 * rate, rate);
		await context.audioWorklet.addModule("worklet.js");
		const deck = new AudioWorkletNode(context, "drywire-deck", { numberOfInputs: 0, outputChannelCount: [1] });
		deck.connect(context.destination);
		const say = m => deck.port.postMessage(m), settle = () => new Promise(r => setTimeout(r, 30));
		const loop = key => { say({ do: "loop", key, layer: "exact", frames, rate, memory: [new ArrayBuffer(4 * frames)] }); say({ do: "gain", key, gain: 1, trueGain: 1 }); };
		say({ do: "region", begin: 0, frames, place: 0 });
		loop("old"); loop("new");
		say({ do: "piece", key: "old", layer: "exact", at: 0, piece: new Float32Array(frames).fill(0.25) });
		say({ do: "want", key: "old" }); say({ do: "play" });
		let made = 0;
		for (let t = 0.25; t < 8; t += 0.25) context.suspend(t).then(async () => {
			if (t === 0.25) say({ do: "want", key: "new" });
			const n = Math.min(frames - made, 0.8 * 0.25 * rate); // slower than the music, from where the music was
			if (n > 0) say({ do: "piece", key: "new", layer: "exact", at: (0.25 * rate + made) % frames, piece: new Float32Array(n).fill(0.5) });
			made += n;
			say({ do: "speed", key: "new", speed: 0.8 });
			await settle();
			context.resume();
		});
		await settle();
		return (await context.startRendering()).getChannelData(0);
	})()`)
	begun, gaps := -1, 0
	for k := 4800; k < len(x); k++ {
		if x[k] < 0.2499 {
			gaps++
		}
		if begun < 0 && x[k] > 0.4999 {
			begun = k
		}
		if begun > 0 && x[k] < 0.4999 {
			t.Fatalf("the new sound was left again at %.2f s", float64(k)/48000)
		}
	}
	t.Logf("the new sound was heard from %.2f s on", float64(begun)/48000)
	// From 0.25 s on, 4 s of music are made in 5 s. Playing one's own making from 0.25 s on would
	// run dry; when the music comes round to where it began, at 4.25 s, 3.2 s lie ahead, and the
	// rest is made in 1 s.
	if gaps > 0 {
		t.Errorf("%d frames of nothing", gaps)
	}
	if begun < 4.2*48000 || begun > 4.6*48000 {
		t.Errorf("begun at %.2f s, want 4.25 s", float64(begun)/48000)
	}
}

func loopFor() time.Duration {
	d, err := time.ParseDuration(os.Getenv("LOOP"))
	if err != nil {
		return 12 * time.Second
	}
	return d
}

// Round after round the picture stays with the sound, and memory stays what it was. LOOP=1h is the
// long form.
func TestLoops(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	a := b.exact("A")
	b.Run(`got = null`)
	heap := func() float64 {
		t.Helper()
		if _, err := chromedp.Call(b.Context, heapprofiler.CollectGarbage, cdp.Empty{}); err != nil {
			t.Fatal(err)
		}
		u, err := chromedp.Call(b.Context, runtime.GetHeapUsage, cdp.Empty{})
		if err != nil {
			t.Fatal(err)
		}
		return u.UsedSize
	}
	apart := func() float64 {
		t.Helper()
		// Both are taken within one turn of the page's loop.
		raw := b.Samples(`(() => { const x = new Float32Array(32769); tap.getFloatTimeDomainData(x.subarray(0, 32768)); x[32768] = drywire.sound.position() - drywire.sound.region[0]; return x; })()`)
		at, worst := find(raw[:window], a)
		if worst > near {
			t.Fatalf("what is heard is %.3g off", worst)
		}
		loop := float64(len(a.volts))
		return (math.Mod(float64(raw[window])-float64(at+window)+2.5*loop, loop) - loop/2) / 48
	}
	time.Sleep(2 * time.Second)
	first, used := apart(), heap()
	steps := 10
	worst := 0.0
	for range steps {
		time.Sleep(loopFor() / time.Duration(steps))
		worst = math.Max(worst, math.Abs(apart()-first))
	}
	grown := heap() - used
	t.Logf("%v: picture %.0f ms from the sound at first, at most %.0f ms otherwise; heap %.1f MB, %+.0f kB", loopFor(), first, worst, used/1e6, grown/1e3)
	if worst > 60 { // a message every 40 ms, and quanta
		t.Errorf("the picture drifts by %.0f ms", worst)
	}
	if grown > 1e6 {
		t.Errorf("memory grows by %.0f kB", grown/1e3)
	}
	b.Quiet()
}

// Nothing that a checker of accessibility finds serious.
func TestAccessible(t *testing.T) {
	axe := browsertest.NeedAxe(t)
	b := open(t, testChain)
	b.Wait(`document.querySelectorAll("#figures .line.sounding").length >= 3 && !document.querySelector(".stale")`)
	b.Run(`document.getElementById("aim").open = true`)
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int{1280, 390} {
			b.Resize(width, 900)
			b.Scheme(scheme)
			for _, box := range []string{"tab-block", "tab-ladder", "tab-noise", "tab-why", "help-box", "save-box", "conflict-box", "changes-box", "recording-box", "export-box", "trial"} {
				tab := strings.HasPrefix(box, "tab-")
				if tab {
					b.Run(`document.getElementById("` + box + `").click()`)
				} else {
					b.Run(`document.getElementById("` + box + `").showModal()`)
				}
				r := axe.Check(b.Browser)
				t.Logf("%s, %d px, %q: %d rules kept, %d broken", scheme, width, box, r.Passes, len(r.Violations))
				if r.Passes < 10 {
					t.Errorf("only %d rules looked at", r.Passes)
				}
				for _, v := range r.Violations {
					t.Errorf("%s, %d px, %q: %s (%s): %s\n  %s", scheme, width, box, v.ID, v.Impact, v.Help, strings.Join(v.Where, "\n  "))
				}
				if !tab {
					b.Run(`document.getElementById("` + box + `").close()`)
				}
			}
		}
	}
}

// Every stop of the tabulator is to be seen and has a name.
func TestTabulator(t *testing.T) {
	b := open(t, testChain)
	b.Wait(`document.querySelectorAll("#figures .line.sounding").length >= 3`)
	b.Run(`document.querySelector(".skip").focus()`)
	seen := map[string]bool{}
	for range 80 {
		s := b.Tab()
		if strings.HasPrefix(s.What, "BODY") || strings.HasPrefix(s.What, "HTML") {
			break
		}
		seen[s.What+s.Name] = true
		if s.Outline < 2 || strings.TrimSpace(s.Name) == "" {
			t.Errorf("focus on %q (named %q) has an outline of %.0f px", s.What, s.Name, s.Outline)
		}
	}
	if len(seen) < 25 {
		t.Errorf("only %d stops of the tabulator: %v", len(seen), seen)
	}
	b.Quiet()
}

// Pictures of the page for people to look at, into the folder that SHOTS names; CHAIN names a chain
// file other than the shipped demonstration.
func TestPictures(t *testing.T) {
	folder := os.Getenv("SHOTS")
	if folder == "" {
		t.Skip("SHOTS names no folder")
	}
	chain, err := os.ReadFile(filepath.Join("..", "..", "..", "chains", "fuzz-or-buffer-first.yaml"))
	if other := os.Getenv("CHAIN"); other != "" {
		chain, err = os.ReadFile(other)
	}
	if err != nil {
		t.Fatal(err)
	}
	b := open(t, string(chain))
	b.play()
	b.both()
	b.Wait(`document.querySelectorAll("#figures .line.other").length >= 3 && !document.querySelector(".stale, .stale-other")`)
	if script := os.Getenv("SCRIPT"); script != "" { // something to do before
		b.Run(script)
		b.both()
		b.Wait(`!document.querySelector(".stale, .stale-other")`)
	}
	for _, width := range []int{1280, 390} {
		for _, scheme := range []string{"light", "dark"} {
			b.Scheme(scheme)
			b.Resize(width, 900)
			b.Do(chromedp.Sleep(300 * time.Millisecond))
			b.Run(`document.fonts.ready`)
			b.Picture(filepath.Join(folder, fmt.Sprintf("listen-%s-%d.png", scheme, width)), width)
		}
	}
}
