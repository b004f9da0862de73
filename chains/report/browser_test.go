//go:build browser

package report

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/report/browsertest"
)

// open writes a page to the disk and opens it from there.
func open(t *testing.T, p Page) *browsertest.Browser {
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

// openFile opens a page that lies on the disk. It may ask for itself and the letters in it, and for
// nothing else.
func openFile(t *testing.T, file string) *browsertest.Browser {
	t.Helper()
	return browsertest.Open(t, browsertest.Page{
		Address: "file://" + file,
		Own: func(request string) bool {
			return strings.HasPrefix(request, "data:font/") || strings.HasPrefix(request, "file://") && strings.HasSuffix(request, ".html")
		},
		Lifetime: 2 * time.Minute,
		Patience: 5 * time.Second,
	})
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
	for _, width := range []int{1280, 900, 390} {
		b.Resize(width, 900)
		if wide := b.Int("document.documentElement.scrollWidth"); wide > width {
			t.Errorf("at %d px the page is %d px wide", width, wide)
		}
	}
	if got := b.Text("document.title"); got != "Which comes first?" {
		t.Errorf("title %q", got)
	}
	if !b.Holds("document.fonts.ready.then(() => document.fonts.check('16px Go') && [...document.fonts].every(f => f.status === 'loaded' || f.status === 'unloaded'))") {
		t.Error("the page's letters are not there")
	}
	b.Quiet()
}

// The watch sees what leaves the page, and what the policy of the page stops.
func TestWatchSees(t *testing.T) {
	b := open(t, made())
	b.Run(`fetch("https://example.invalid/").catch(() => 0); document.body.append(Object.assign(new Image(), {src: "https://example.invalid/x.png"}))`)
	time.Sleep(300 * time.Millisecond)
	said := strings.Join(b.Console(), "\n")
	if !strings.Contains(said, "connect-src") && !strings.Contains(said, "default-src") || !strings.Contains(said, "img-src") {
		t.Errorf("the policy did not stop a fetch and a picture: %s", said)
	}
}

// What leaves the player is the take, sample for sample; a switch goes on at the same place of the
// other take, over 10 ms along a line.
func TestOutputIsTheTake(t *testing.T) {
	p := made()
	b := open(t, p)
	// samples: where the music begins, when takes are switched, how long it lasts
	const from, at, whole = testRate / 2, 16384, 65536
	out := b.Samples(`(async () => {
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
	for _, width := range []int{1280, 700, 390} {
		b.Resize(width, 900)
		b.Run(`document.querySelectorAll("details").forEach(d => d.open = true)`)
		if wide := b.Int("document.documentElement.scrollWidth"); wide > width {
			what := b.Text(fmt.Sprintf(`[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d && !e.closest(".scroll, .across, pre")).map(e => e.tagName + "." + e.className).slice(0, 5).join()`, width))
			t.Errorf("at %d px the page is %d px wide: %s", width, wide, what)
		}
	}
	b.Quiet()
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
		if got := b.Int(fmt.Sprintf("drywire.decode(%d).then(t => t[2].length)", rate)); got != n {
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
		out := b.Samples(fmt.Sprintf(`(async () => {
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
	out := b.Samples(`(async () => {
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

// listen takes what comes out of the running player, and finds it in a take: its place in samples,
// and how far off it is. It leaves in tapped where the player was.
func listen(b *browsertest.Browser, take []float64, volume float64) (place int, worst float64) {
	x := b.Samples(`(() => { const x = new Float32Array(8192); tap.getFloatTimeDomainData(x); globalThis.tapped = drywire.player.position(); return x; })()`)
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
	b.Do(chromedp.Click("#play"))
	b.Wait(`drywire.player && drywire.player.deck !== null`)
	b.Run(`(() => {
		const c = drywire.player.context;
		globalThis.tap = new AnalyserNode(c, {fftSize: 8192});
		drywire.player.volume.node.connect(tap);
	})()`)
	if v := b.Number("drywire.player.volume.node.gain.value"); math.Abs(v-0.1) > 1e-6 {
		t.Errorf("the volume begins at %.3g, want 0.1 (-20 dB)", v)
	}
	if v := b.Number("drywire.player.deck.all.node.gain.value"); v > 0.9 {
		t.Errorf("the sound does not fade in: %.3g of it is there at once", v)
	}
	b.Wait(`drywire.player.position() > 1.9`) // the fade of 1.5 s is over
	for k, key := range []string{"", "2", "3", "1"} {
		which := []int{0, 1, 2, 0}[k]
		if key != "" {
			b.Do(chromedp.KeyEvent(key))
			time.Sleep(400 * time.Millisecond) // the analyser looks back 171 ms
		}
		place, worst := listen(b, takes[which], 0.1)
		if worst > 1e-6 {
			t.Errorf("after key %q the output is %.3g off take %d", key, worst, which+1)
		}
		// The analyser's newest sample is where the player was then, within the age of a position:
		// some quanta of 128 samples.
		behind := math.Mod(b.Number("tapped")*testRate-float64(place+8192)+2*testFrames, testFrames)
		if behind > 0.3*testRate {
			t.Errorf("after key %q the output is %.0f samples behind the player's position", key, behind)
		}
		if _, other := listen(b, takes[(which+1)%3], 0.1); other < 1e-3 {
			t.Errorf("another take matches too (%.3g): this is no check", other)
		}
	}
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`drywire.player.deck === null`)
	time.Sleep(400 * time.Millisecond)
	if x := b.Samples(`(() => { const x = new Float32Array(2048); tap.getFloatTimeDomainData(x); return x; })()`); loudest([][]float32{x}) > 1e-9 {
		t.Errorf("stopped, and still %.3g", loudest([][]float32{x}))
	}
	b.Quiet()
}

func TestKeyboard(t *testing.T) {
	b := open(t, made())
	chosen := func() string {
		return b.Text(`[...document.querySelectorAll("button.choose")].map(b => b.getAttribute("aria-pressed")).join()`)
	}
	want := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	want("at first", chosen(), "true,false,false")
	b.Do(chromedp.KeyEvent("3"))
	want("key 3", chosen(), "false,false,true")
	b.Do(chromedp.KeyEvent("9"))
	want("key 9, where there is none", chosen(), "false,false,true")
	clock := `document.getElementById("clock").textContent`
	b.Do(chromedp.KeyEvent(kb.ArrowRight))
	want("arrow right", b.Text(clock), "1.0")
	b.Do(chromedp.KeyEvent(kb.ArrowLeft))
	want("arrow left", b.Text(clock), "0.0")
	b.Do(chromedp.KeyEvent("l"))
	want("key l", b.Text(`String(document.getElementById("loop").checked)`), "false")
	b.Do(chromedp.KeyEvent("t"))
	want("key t", b.Text(`String(document.getElementById("true-levels").checked)`), "true")
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`document.getElementById("play").textContent.trim() === "Stop"`)
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`document.getElementById("play").textContent.trim() === "Play"`)

	b.Do(chromedp.Focus("#keys"), chromedp.KeyEvent(" "), chromedp.KeyEvent("1"))
	want("keys switched off", chosen(), "false,false,true")
	b.Do(chromedp.KeyEvent(" "), chromedp.KeyEvent("1"))
	want("and on again", chosen(), "true,false,false")

	// A stop of the tabulator is to be seen, and every one has a name.
	b.Run(`document.querySelector(".skip").focus()`)
	seen := map[string]bool{}
	for range 40 {
		s := b.Tab()
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
	b.Quiet()
}

// The end of a take that does not loop stops the player at the beginning.
func TestEnds(t *testing.T) {
	b := open(t, made())
	b.Do(chromedp.KeyEvent("l"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(" "))
	b.Wait(`drywire.player?.deck`)
	b.Wait(`drywire.player.deck === null`)
	b.Wait(`document.getElementById("clock").textContent === "0.0"`)
	b.Quiet()
}

// Values are read off a plot by pointing and by keyboard, and are the data's.
func TestReadsValues(t *testing.T) {
	p := made()
	b := open(t, p)
	b.Run(`document.querySelector("[data-plot=response]").scrollIntoView({block: "center", behavior: "instant"})`)
	text := func() string {
		return b.Text(`document.querySelector("[data-plot=response] output").textContent`)
	}
	// A first-order low-pass at 1, 2 and 3 kHz. The cell above 1 kHz is at 20·1000^(136.5/240) Hz =
	// 1.02 kHz, 0.1 dB finer.
	point := browsertest.Eval[struct{ X, Y float64 }](b, `(() => { const d = document.querySelector("[data-plot=response] svg.wide"), r = d.getBoundingClientRect();
		const l = Number(d.dataset.left), w = Number(d.dataset.right) - l, k = r.width / d.viewBox.baseVal.width;
		return {X: r.left + k * (l + w * Math.log(1017 / 20) / Math.log(1000)), Y: r.top + r.height / 3}; })()`)
	b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, point.X, point.Y))
	for _, want := range []string{"1.02\u00a0kHz", "\u22123.1\u00a0dB", "\u22121.0\u00a0dB", "\u22120.5\u00a0dB"} {
		if got := text(); !strings.Contains(got, want) {
			t.Errorf("pointing at 1.02 kHz: %q says no %q", got, want)
		}
	}
	before := text()
	b.Do(chromedp.Focus("#response-at"), chromedp.KeyEvent(kb.ArrowRight))
	if got := text(); got == before || !strings.Contains(got, "1.05\u00a0kHz") {
		t.Errorf("a step by keyboard: %q, want 1.05 kHz", got)
	}
	if got := b.Text(`document.getElementById("response-at").getAttribute("aria-valuetext")`); got != "1.05\u00a0kHz" {
		t.Errorf("the slider says %q", got)
	}
	if live := b.Text(`document.querySelector("[data-plot=response] output").getAttribute("aria-live")`); live != "polite" {
		t.Errorf("aria-live is %q", live)
	}
	b.Quiet()
}

// Nothing that a checker of accessibility finds serious.
func TestAccessible(t *testing.T) {
	axe := browsertest.NeedAxe(t)
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int{1280, 390} {
			b := open(t, made())
			b.Resize(width, 900)
			b.Scheme(scheme)
			b.Run(`document.querySelectorAll("details").forEach(d => d.open = true)`)
			r := axe.Check(b)
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

// A page that the program wrote opens, fits, plays and keeps quiet. PAGE names it; PICTURES, if
// set, is a folder for pictures of it, to be looked at.
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
	for _, width := range []int{1280, 390} {
		for _, scheme := range []string{"light", "dark"} {
			b.Resize(width, 1000)
			b.Scheme(scheme)
			b.Run(`document.fonts.ready`)
			b.Do(chromedp.Sleep(200 * time.Millisecond))
			if wide := b.Int("document.documentElement.scrollWidth"); wide > width {
				t.Errorf("at %d px the page is %d px wide", width, wide)
			}
			if folder != "" {
				b.Picture(filepath.Join(folder, fmt.Sprintf("%s-%d.png", scheme, width)), width)
			}
		}
	}
	b.Do(chromedp.KeyEvent("2"), chromedp.KeyEvent(" "))
	b.Wait(`drywire.player && drywire.player.deck !== null && drywire.player.position() > 0.2`)
	if k := b.Int("drywire.player.chosen"); k != 1 {
		t.Errorf("take %d plays, want 2", k+1)
	}
	b.Quiet()
}
