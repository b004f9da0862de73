//go:build browser

package report

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/chains/experiment"
	"drywire/chains/report/browsertest"
)

// large is a made-up page of a large board: nine takes of seventeen blocks with names of all lengths.
func large() Page {
	p := made()
	names := []string{"swell", "squash", "germ", "velvet", "drive", "hard", "lift", "carve", "swirl", "width", "pulse", "echo", "second-echo", "plate", "treble-booster", "low", "cry"}
	p.Measures[0].Jacks = p.Measures[0].Jacks[:1]
	jack := p.Measures[0].Jacks[0]
	for _, n := range names {
		jack.Jack = n + ".in"
		p.Measures[0].Jacks = append(p.Measures[0].Jacks, jack)
	}
	jack.Jack = "out"
	p.Measures[0].Jacks = append(p.Measures[0].Jacks, jack)
	noise := *p.Noise[0]
	noise.Blocks = nil
	for k, n := range names {
		noise.Blocks = append(noise.Blocks, experiment.NoiseGroup{Name: n, ADBu: some(-101.5 - float64(k)), Share: math.Pow(2, -1-float64(k))})
	}
	first, sound, measured, guitar, response := p.Comparison.Takes[0], p.Sounds[0], p.Measures[0], p.Guitar[0], p.Responses[0]
	p.Comparison.Takes, p.Sounds, p.Measures, p.Guitar, p.Responses, p.Noise = nil, nil, nil, nil, nil, nil
	for k := range 9 {
		t := first
		t.Number, t.Name, t.Order, t.GainDB = k+1, fmt.Sprintf("the storm before the interval, %d", k+1), names, 12+2*float64(k)
		p.Comparison.Takes, p.Sounds = append(p.Comparison.Takes, t), append(p.Sounds, sound)
		p.Measures, p.Guitar, p.Responses = append(p.Measures, measured), append(p.Guitar, guitar), append(p.Responses, response)
		p.Noise = append(p.Noise, &noise)
	}
	return p
}

// boards are the pages that the rules of looks are tried on; PAGE names one that the program wrote.
func boards(t *testing.T) map[string]func() *browsertest.Browser {
	m := map[string]func() *browsertest.Browser{
		"small": func() *browsertest.Browser { return open(t, made()) },
		"large": func() *browsertest.Browser { return open(t, large()) },
	}
	if page := os.Getenv("PAGE"); page != "" {
		path, err := filepath.Abs(page)
		if err != nil {
			t.Fatal(err)
		}
		m["given"] = func() *browsertest.Browser { return openFile(t, path) }
	}
	return m
}

// windows are the sizes that the page is looked at, in pixels: a desk, a telephone, and the desk at
// 200 %.
var windows = [][2]int{{1280, 720}, {390, 844}, {640, 360}}

// complain has the test fail with every complaint that an expression gives, a line each.
func complain(t *testing.T, b *browsertest.Browser, where, expression string) {
	t.Helper()
	if said := b.Text(expression); said != "" {
		t.Errorf("%s:\n%s", where, said)
	}
}

// The bar stays at the upper edge wherever the page is scrolled, takes no more than a quarter of the
// window, nothing in it lies over another thing, and what has the focus is never under it.
func TestBarStaysClear(t *testing.T) {
	for name, open := range boards(t) {
		b := open()
		for _, w := range windows {
			where := fmt.Sprintf("%s, %d by %d", name, w[0], w[1])
			b.Resize(w[0], w[1])
			for _, at := range []float64{0, 0.1, 0.5, 0.9, 1} {
				complain(t, b, where, fmt.Sprintf(`(() => {
					const all = document.documentElement.scrollHeight - innerHeight, said = [];
					scrollTo({ top: %g * all, behavior: "instant" });
					const bar = document.getElementById("bar"), r = bar.getBoundingClientRect();
					if (Math.abs(r.top) > 1 || r.height < 30) said.push("at %g of the page the bar is from " + r.top + " to " + r.bottom);
					if (r.height > innerHeight / 4) said.push("the bar is " + r.height + " high");
					if (getComputedStyle(bar).backgroundColor.includes("rgba")) said.push("what is under the bar shines through");
					if (scrollY === 0 && document.querySelector(".sheet").getBoundingClientRect().top < r.bottom) said.push("the bar covers the head of the page");
					const parts = [...bar.children].filter(e => e.checkVisibility());
					parts.forEach((a, k) => {
						const p = a.getBoundingClientRect();
						if (p.right > innerWidth + 0.5 || p.left < -0.5) said.push(a.className + a.id + " ends outside");
						for (const c of parts.slice(k + 1)) {
							const q = c.getBoundingClientRect();
							if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 1) said.push((a.id || a.className) + " lies over " + (c.id || c.className));
						}
					});
					return said.join("\n");
				})()`, at, at))
			}
			// backwards from the end, where what is reached comes from above
			b.Run(`document.querySelectorAll("details").forEach(d => d.open = true); scrollTo(0, 1e6); document.querySelector("footer").tabIndex = -1; document.querySelector("footer").focus()`)
			stops := 0
			for range 60 {
				b.Do(chromedp.KeyEvent(kb.Tab, chromedp.KeyModifiers(8))) // 8: shift
				if b.Holds(`document.activeElement === document.body`) {
					break
				}
				stops++
				complain(t, b, where, `(() => {
					const e = document.activeElement, r = e.getBoundingClientRect(), bar = document.getElementById("bar");
					if (bar.contains(e) || e.matches(".skip")) return "";
					const under = bar.getBoundingClientRect().bottom;
					return r.top < under - 1 && r.bottom < innerHeight && r.height < innerHeight - under ? (e.id || e.className || e.tagName) + " has the focus from " + r.top + ", and the bar ends at " + under : "";
				})()`)
			}
			if stops < 8 {
				t.Errorf("%s: only %d stops of the tabulator", where, stops)
			}
			b.Run(`document.querySelectorAll("details").forEach(d => d.open = false)`)
		}
		b.Quiet()
	}
}

// Every noise ledger can be read: no word is broken, no number leaves its cell, shares are drawn as
// long as they are.
func TestNoiseByBlockIsReadable(t *testing.T) {
	for name, open := range boards(t) {
		b := open()
		for _, w := range append(windows, [2]int{1280, 1024}) {
			for _, presented := range []bool{false, true} {
				if presented && w[0] < 1000 {
					continue
				}
				b.Resize(w[0], w[1])
				b.Run(fmt.Sprintf(`document.documentElement.classList.toggle("large", %v)`, presented))
				complain(t, b, fmt.Sprintf("%s, %d by %d, large %v", name, w[0], w[1], presented), `(() => {
					const said = [], lines = e => { const r = document.createRange(); r.selectNodeContents(e); return new Set([...r.getClientRects()].map(q => Math.round(q.top / 4))).size; };
					const rows = [...document.querySelectorAll(".ledger tbody tr")];
					if (rows.length < 2) said.push("no ledger");
					for (const r of rows) {
						const [name, bar, level] = r.children, figure = r.closest("figure").getBoundingClientRect();
						if (lines(name) > 1) said.push(name.textContent + " is broken");
						if (lines(bar.querySelector("em")) > 1 || lines(level) > 1) said.push("a number of " + name.textContent + " is broken");
						const track = bar.querySelector("div").getBoundingClientRect(), span = bar.querySelector("span").getBoundingClientRect(), em = bar.querySelector("em").getBoundingClientRect(), l = level.getBoundingClientRect();
						if (em.right > l.left + 1) said.push(bar.textContent + " lies over " + level.textContent);
						if (l.right > figure.right + 1 || name.getBoundingClientRect().left < figure.left - 1) said.push(name.textContent + " is outside its ledger");
						if (track.width < 110) said.push("the bar of " + name.textContent + " has a room of " + track.width);
						const share = Number(bar.querySelector("span").style.getPropertyValue("--share"));
						if (share > 0.5 && span.width < 20) said.push(name.textContent + " has " + share + " of the noise, and a bar of " + span.width);
					}
					return [...new Set(said)].slice(0, 6).join("\n");
				})()`)
			}
		}
	}
}

// The silence at the end of takes is out of the loop, and what plays never enters it; a drag and keys
// mark another loop; nothing steps at its seam.
func TestLoopLeavesSilenceOut(t *testing.T) {
	p := made()
	for k := range p.Sounds {
		x := p.Sounds[k].Channels[0]
		p.Sounds[k].Channels[0] = append(x[:len(x):len(x)], make([]float32, 2*testRate)...)
	}
	b := open(t, p)
	region := func() (from, to float64) {
		v := browsertest.Eval[[]float64](b, `["loop-from", "loop-to"].map(id => Number(document.getElementById(id).getAttribute("aria-valuenow")))`)
		return v[0], v[1]
	}
	// the music is silent from 3 s on, 45 dB down some 20 ms before
	if from, to := region(); from != 0 || to < 2.8 || to > 3 {
		t.Errorf("the loop is from %g to %g s of 3 s and 2 s of silence", from, to)
	}
	press(b, "#loop-to")
	b.Run(`document.getElementById("loop-from").focus()`)
	for range 5 {
		b.Do(chromedp.KeyEvent(kb.ArrowRight))
	}
	b.Run(`document.getElementById("loop-to").focus()`)
	b.Do(chromedp.KeyEvent(kb.PageDown))
	if from, to := region(); math.Abs(from-0.5) > 0.01 || to < 1.8 || to > 2 {
		t.Errorf("by keys the loop is from %g to %g s", from, to)
	}
	type place struct{ X, Y float64 }
	at := func(second float64) place {
		return browsertest.Eval[place](b, fmt.Sprintf(`(() => { const w = document.querySelector(".wave"); w.scrollIntoView({block: "center", behavior: "instant"}); const r = w.getBoundingClientRect(); return {X: r.left + r.width * %g / 5, Y: r.top + r.height / 2}; })()`, second))
	}
	from, to := at(1), at(1.5)
	b.Do(chromedp.DragAndDropXY(from.X, from.Y, to.X, to.Y))
	if a, z := region(); math.Abs(a-1) > 0.02 || math.Abs(z-1.5) > 0.02 {
		t.Errorf("dragged from 1 to 1.5 s, the loop is from %g to %g", a, z)
	}
	b.Do(chromedp.Click("#play"))
	b.Wait(`drywire.player?.deck`)
	for range 20 {
		if s := b.Number("drywire.player.position()"); s < 0.98 || s > 1.52 {
			t.Errorf("it plays at %g s", s)
		}
		b.Do(chromedp.Sleep(60e6))
	}
	// what comes out goes round the loop, and where it begins again it steps no more than it does elsewhere
	out := b.Samples(`(async () => {
		const takes = await drywire.decode(48000), context = new OfflineAudioContext(1, 96000, 48000), player = new drywire.Player(context, takes, [1, 1, 1]);
		player.volume.node.gain.value = 1;
		player.setRegion(1.23456, 1.73456);
		player.play(0);
		return (await context.startRendering()).getChannelData(0);
	})()`)
	most, same := 0.0, 0.0
	for k := 2; k < len(out); k++ {
		most = math.Max(most, math.Abs(float64(out[k])-float64(out[k-1])))
		if k >= 24000 {
			same = math.Max(same, math.Abs(float64(out[k])-float64(out[k-24000])))
		}
	}
	// 0.4 full scale at under 250 Hz: 2π·250/48000·0.4 = 0.013 a sample
	t.Logf("steepest step %.3g, rounds differ by %.3g", most, same)
	if most > 0.02 {
		t.Errorf("a step of %.3g", most)
	}
	if same > 1e-3 {
		t.Errorf("one time round differs from the next by %.3g", same)
	}
	press(b, "#whole")
	if a, z := region(); a != 0 || z != 5 {
		t.Errorf("all of it is from %g to %g", a, z)
	}
	b.Quiet()
}

// The pictures show takes matched and say so, or where true levels play, at those.
func TestPicturesAtTrueLevels(t *testing.T) {
	b := open(t, made()) // gains of 12, 15 and 18 dB: true levels of 0, -3 and -6 dB
	heights := `[...document.querySelectorAll(".wave svg path")].filter(p => p.checkVisibility()).map(p => p.getBBox().height)`
	words := `document.querySelector(".heads").innerText`
	// a level of the spectrum's readings at its slider, per take
	spectrum := `[...document.querySelectorAll(".plot[data-plot*=spectrum]")].filter(p => p.checkVisibility()).map(p => p.dataset.plot + JSON.parse(p.querySelector("script").textContent).takes.map(t => t[12]).join(" ")).join()`
	matched, said, curve := browsertest.Eval[[]float64](b, heights), b.Text(words), b.Text(spectrum)
	press(b, "#true-levels")
	level := browsertest.Eval[[]float64](b, heights)
	if len(matched) != 3 || len(level) != 3 {
		t.Fatalf("%d and %d pictures, want 3", len(matched), len(level))
	}
	for k, want := range []float64{0, -3, -6} {
		if got := 20 * math.Log10(level[k]/matched[k]); math.Abs(got-want) > 0.2 { // the picture has 200 steps
			t.Errorf("take %d is drawn at %.2f dB, want %g", k+1, got, want)
		}
	}
	if !strings.Contains(said, "matched in loudness") || strings.Contains(said, "true level\n") && strings.Contains(said, "its true") {
		t.Errorf("the matched pictures say %q", said)
	}
	if now := b.Text(words); strings.Contains(now, "matched") || !strings.Contains(now, "at its true level") {
		t.Errorf("the pictures at true levels say %q", now)
	}
	var a, z []float64
	for text, list := range map[string]*[]float64{curve: &a, b.Text(spectrum): &z} {
		for _, f := range strings.Fields(strings.TrimLeft(text, "true-spectrum")) {
			var v float64
			if err := json.Unmarshal([]byte(f), &v); err != nil {
				t.Fatalf("%q: %v", text, err)
			}
			*list = append(*list, v)
		}
	}
	for k := range a {
		if d := z[k] - a[k]; math.Abs(d+3*float64(k)) > 0.11 { // a tenth each
			t.Errorf("the spectrum of take %d is moved by %.1f dB, want %d", k+1, d, -3*k)
		}
	}
	if len(a) != 3 || len(z) != 3 {
		t.Errorf("spectra of %d and %d takes", len(a), len(z))
	}
	b.Quiet()
}

// A blind test on the page: what it says is what experiment.ListeningTest says, whatever was
// answered.
func TestBlindTestJudgesAsTheProgram(t *testing.T) {
	b := open(t, made())
	rng := rand.New(rand.NewPCG(8, 16))
	sentences := map[string]bool{}
	for run := range 150 {
		n, skill := 1+rng.IntN(40), []float64{0.5, 0.7, 0.9, 1}[run%4]
		test := experiment.NewListeningTest(uint64(run + 1))
		right := make([]bool, n)
		for k := range right {
			right[k] = rng.Float64() < skill
			answer := test.X()
			if !right[k] {
				answer = map[experiment.Stimulus]experiment.Stimulus{"A": "B", "B": "A"}[answer]
			}
			if err := test.Answer(answer); err != nil {
				t.Fatal(err)
			}
		}
		want := test.Result()
		list, err := json.Marshal(right)
		if err != nil {
			t.Fatal(err)
		}
		got := browsertest.Eval[struct {
			P, Bound, D, High float64
			Stop              int
			Told              bool
			Sentence          string
		}](b, fmt.Sprintf(`(() => { const r = drywire.judge(%s), f = v => Number.isFinite(v) ? v : -1; return {P: r.p, Bound: r.bound, D: f(r.d), High: f(r.high), Stop: r.stop, Told: r.told, Sentence: r.sentence}; })()`, list))
		value := func(p *float64) float64 {
			if p == nil {
				return -1
			}
			return *p
		}
		for what, v := range map[string][2]float64{"p": {got.P, value(want.PValue)}, "bound": {got.Bound, value(want.PBound)}, "d'": {got.D, value(want.DPrime)}, "d' high": {got.High, value(want.DPrimeHigh)}} {
			if math.Abs(v[0]-v[1]) > 1e-6 {
				t.Errorf("%v: %s is %g, want %g", right, what, v[0], v[1])
			}
		}
		if got.Sentence != want.Advice || got.Told != want.ToldApart || got.Stop != want.StopAdvised {
			t.Errorf("%v:\n%q, stop %d\nwant\n%q, stop %d", right, got.Sentence, got.Stop, want.Advice, want.StopAdvised)
		}
		sentences[strings.Fields(want.Advice)[0]+fmt.Sprint(want.ToldApart)] = true
	}
	if len(sentences) < 3 {
		t.Errorf("only %d kinds of sentences", len(sentences))
	}
}

// The blind test by keys: X is A or B and nothing on the page tells which; who answers by what
// sounds is right every time; Enter closes the result.
func TestBlindTestOnThePage(t *testing.T) {
	b := open(t, made())
	b.Do(chromedp.KeyEvent("t")) // true levels, which the test does without
	b.Do(chromedp.Click("#test"))
	b.Do(chromedp.KeyEvent(kb.Enter)) // begins: A and B are the first two
	b.Wait(`drywire.player?.deck`)
	seen := func() string {
		return b.Text(`[...document.querySelectorAll("[aria-pressed=true]:not(dialog *), #now, .unseen")].map(e => e.textContent).join("|") + document.getElementById("trial-run").innerText.replace(/\d+/g, "")`)
	}
	which := map[int]int{}
	shown := map[string]bool{}
	for range 12 {
		b.Do(chromedp.KeyEvent("x"))
		k := b.Int(`drywire.player.chosen`)
		for n, side := range []string{"a", "b"} {
			b.Do(chromedp.KeyEvent(side))
			if got := b.Int(`drywire.player.chosen`); got != n {
				t.Errorf("key %s plays take %d", side, got+1)
			}
		}
		b.Do(chromedp.KeyEvent("x"))
		which[k]++
		shown[fmt.Sprint(k)+seen()] = true
		if b.Holds(`drywire.player.trueLevels`) {
			t.Error("X plays at its true level")
		}
		b.Do(chromedp.KeyEvent(fmt.Sprint(k + 1)))
	}
	if which[0] == 0 || which[1] == 0 || which[0]+which[1] != 12 {
		t.Errorf("X was %v", which) // all alike: once in 2048
	}
	texts := map[string]bool{}
	for s := range shown {
		texts[strings.ReplaceAll(s[1:], "answers", "answer")] = true
	}
	if len(texts) > 2 { // before the first answer, and after it
		t.Errorf("the page shows different things: %v", texts)
	}
	b.Do(chromedp.KeyEvent(kb.Escape))
	b.Wait(`document.getElementById("result-title").checkVisibility()`)
	if got := b.Text(`document.getElementById("trial-result").innerText`); !strings.Contains(got, "12 of 12 right") || !strings.Contains(got, "You told them apart: 12 of 12 right, which chance does once in 4096.") {
		t.Errorf("the result says %q", got)
	}
	b.Do(chromedp.KeyEvent(kb.Enter))
	b.Wait(`!document.getElementById("trial").open`)
	if !b.Holds(`drywire.player.trueLevels && drywire.player.chosen === 0`) {
		t.Error("after the test it does not play what it played before")
	}
	// two takes that are the same are not tested
	b.Run(`document.getElementById("test").click(); document.getElementById("trial-b").value = "1"; document.getElementById("trial-begin").click()`)
	b.Wait(`document.getElementById("trial-said").textContent.includes("nothing to tell apart")`)
	b.Quiet()
}

// Presentation size: every letter's capitals are a fortieth of the window's height at least, nothing
// is wider than the window, and no text ends outside its box.
func TestLargeTypeFillsTheScreen(t *testing.T) {
	for name, open := range boards(t) {
		b := open()
		press(b, "#large")
		for _, w := range [][2]int{{1280, 720}, {1024, 768}, {1920, 1080}} {
			b.Resize(w[0], w[1])
			complain(t, b, fmt.Sprintf("%s, %d by %d", name, w[0], w[1]), `(() => {
				const said = new Set(), pen = document.createElement("canvas").getContext("2d"), heights = new Map();
				let letters = 0;
				const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
				for (let n = walk.nextNode(); n; n = walk.nextNode()) {
					const e = n.parentElement, range = document.createRange();
					if (!n.textContent.trim() || !e.checkVisibility() || e.matches("script, style") || e.closest(".unseen, .skip, option")) continue;
					range.selectNodeContents(n);
					const r = range.getBoundingClientRect();
					if (!r.width) continue;
					letters++;
					const s = getComputedStyle(e), font = s.fontWeight + " " + s.fontSize + " " + s.fontFamily;
					if (!heights.has(font)) pen.font = font, heights.set(font, pen.measureText("H").actualBoundingBoxAscent);
					const svg = e.closest("svg"), scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1, cap = heights.get(font) * scale;
					if (cap < innerHeight / 40 - 0.5) said.add(n.textContent.trim().slice(0, 20) + ": capitals of " + cap.toFixed(1) + " of " + innerHeight);
					if (!e.closest(".scroll, .across, .picks, .plot, figure, pre") && (r.right > innerWidth + 1 || r.left < -1)) said.add(n.textContent.trim().slice(0, 20) + " is from " + r.left + " to " + r.right);
				}
				if (letters < 100) said.add("only " + letters + " texts");
				if (document.documentElement.scrollWidth > innerWidth) said.add("the page is " + document.documentElement.scrollWidth + " wide");
				return [...said].slice(0, 8).join("\n");
			})()`)
		}
		press(b, "#test")
		complain(t, b, name+", blind test", `(() => { const d = document.getElementById("trial"), r = d.getBoundingClientRect(); return r.bottom > innerHeight || r.right > innerWidth || d.scrollWidth > d.clientWidth || d.scrollHeight > d.clientHeight ? "it does not fit" : ""; })()`)
		b.Quiet()
	}
}

// On paper no heading stands at a page's foot: under it is room for two lines of what it is the head
// of, and the demo has four pages.
func TestPrintsAsHandout(t *testing.T) {
	const margin, least = 28.3, 60.0 // points: 10 mm; a head, and two lines
	for name, open := range boards(t) {
		b := open()
		// a mark of its own in what a heading is the head of, and in the first row under a caption
		b.Run(`let n = 0;
			const mark = (e, text) => e.prepend(Object.assign(document.createElement("h6"), { textContent: text, style: "all: unset; display: inline; font-size: 1px" }));
			for (const h of document.querySelectorAll("h2, h3, caption, figcaption")) {
				if (!h.checkVisibility() || h.closest("dialog, details:not([open]), .solver") || h.matches(".unseen")) continue;
				const below = h.matches("caption") ? h.parentElement.querySelector("tbody tr > *") : h.nextElementSibling;
				const first = below.matches("figure, .pairs, .ladders, .plots") ? below.querySelector("figcaption, p") : below.matches("ul, ol") ? below.querySelector("li") : below.matches(".scroll") ? below.querySelector("caption > span") : below.matches(".two, .matched-only") ? below.querySelector("p") : below;
				if (!first.matches("p, li, td, th, span, figcaption") || !first.checkVisibility()) continue;
				mark(first, "below " + ++n + ";");
				mark(h, "head " + n + ";");
			}`)
		paper := b.Print()
		heads, pairs := map[string]browsertest.Heading{}, 0
		for _, h := range paper.Headings {
			if k, ok := strings.CutPrefix(h.Text, "head "); ok {
				k, _, _ = strings.Cut(k, ";")
				heads[k] = h
			}
		}
		for _, h := range paper.Headings {
			k, ok := strings.CutPrefix(h.Text, "below ")
			if k, _, _ = strings.Cut(k, ";"); ok && heads[k].Text != "" {
				pairs++
				if h.Page != heads[k].Page {
					t.Errorf("%s: what %s of the page belongs to stands on another page", name, heads[k].Text)
				}
			}
		}
		if pairs < 6 {
			t.Errorf("%s: only %d heads with what is below them", name, pairs)
		}
		t.Logf("%s: %d pages, %d headings", name, paper.Pages, len(paper.Headings))
		if len(paper.Headings) < 6 {
			t.Errorf("%s: only %d headings", name, len(paper.Headings))
		}
		for _, h := range paper.Headings {
			if h.Foot < margin+least && !strings.HasPrefix(h.Text, "below ") {
				t.Errorf("%s: %q stands %.0f points over its page's foot", name, h.Text, h.Foot-margin)
			}
		}
		if name == "given" && paper.Pages > 4 {
			t.Errorf("the page given is printed on %d pages", paper.Pages)
		}
	}
}

// Nothing that a checker of accessibility finds, in the blind test and in large type too.
func TestHandoutAccessible(t *testing.T) {
	axe := browsertest.NeedAxe(t)
	for _, scheme := range []string{"light", "dark"} {
		b := open(t, made())
		b.Scheme(scheme)
		check := func(what string) {
			t.Helper()
			r := axe.Check(b)
			if r.Passes < 15 {
				t.Errorf("%s, %s: only %d rules looked at", what, scheme, r.Passes)
			}
			for _, v := range r.Violations {
				t.Errorf("%s, %s: %s (%s): %s\n  %s", what, scheme, v.ID, v.Impact, v.Help, strings.Join(v.Where, "\n  "))
			}
		}
		b.Do(chromedp.Click("#test"))
		check("before the test")
		b.Do(chromedp.Click("#trial-begin"))
		b.Wait(`document.getElementById("trial-run").checkVisibility()`)
		check("in the test")
		b.Do(chromedp.KeyEvent("1"))
		b.Do(chromedp.Click("#trial-end"))
		check("its result")
		b.Do(chromedp.KeyEvent(kb.Enter))
		press(b, "#large")
		check("large type")
		press(b, "#true-levels")
		check("true levels")
	}
}

// No line ends between a number and its unit, anywhere on the page.
func TestNumbersStayWithTheirUnits(t *testing.T) {
	for name, open := range boards(t) {
		b := open()
		complain(t, b, name, `(() => {
			const said = new Set(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
			let joined = 0;
			for (let n = walk.nextNode(); n; n = walk.nextNode()) {
				if (n.parentElement.closest("script, style, pre, code, dialog, .now, .unseen")) continue;
				const m = /\d (%|[kMmµn]?(Ω|V|Hz|s|m)|dB(u|V|TP|\(A\))?|LU(FS)?)(?![\p{L}\d])/u.exec(n.textContent);
				if (m) said.add("a line may break in " + n.textContent.slice(Math.max(0, m.index - 20), m.index + 20));
				if (/\d\u00a0/.test(n.textContent)) joined++;
			}
			if (joined < 10) said.add("only " + joined + " numbers with units");
			return [...said].slice(0, 5).join("\n");
		})()`)
	}
}

// press clicks on what lies in the middle of an element, with the mouse.
func press(b *browsertest.Browser, selector string) {
	at := browsertest.Eval[struct{ X, Y float64 }](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.scrollIntoView({block: "center", behavior: "instant"}); const r = e.getBoundingClientRect(); return {X: r.left + r.width / 2, Y: r.top + r.height / 2}; })()`, selector))
	b.Do(chromedp.MouseClickXY(at.X, at.Y))
}
