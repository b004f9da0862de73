//go:build browser

package page_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Behind a block, before it and at the guitar the page plays the voltage that is there, level
// matched, by mouse and by keyboard; it says where, and finds back to the output.
func TestHearsJacks(t *testing.T) {
	b := open(t, testChain)
	b.region(48000, 48000*3)
	b.play()
	b.both()
	output := b.exact("A")
	check := func(jack, where string) {
		t.Helper()
		b.Wait(`drywire.sound.jack === "` + jack + `"`)
		b.both()
		time.Sleep(900 * time.Millisecond) // the tap looks back 0.68 s
		mine := b.exact("A")
		if _, worst := find(b.tapped(), mine); worst > near {
			t.Errorf("at %s the output is %.3g off", jack, worst)
		}
		if _, wrong := find(b.tapped(), output); jack != "" && wrong < 0.01 {
			t.Errorf("at %s the board's output matches too: this is no check", jack)
		}
		b.want("where", b.Text(`document.getElementById("where").textContent`), where)
		if got := b.Holds(`document.getElementById("test").hidden`); got != (jack != "") {
			t.Errorf("at %q the blind test is hidden: %v", jack, got)
		}
	}
	b.Do(chromedp.Click(`[data-block="lift"] .pick`), chromedp.Click(`.hear button:nth-of-type(2)`))
	check("lift.out", "behind lift")
	if !b.Holds(`document.querySelector('[data-block="lift"] .ear').checkVisibility() && document.querySelectorAll(".ear:not([hidden])").length === 1`) {
		t.Error("its row is not marked")
	}
	picture(b, "jack", 1280, 720)
	picture(b, "jack", 390, 844)
	b.Resize(1280, 900)
	b.Do(chromedp.KeyEvent("H"))
	check("lift.in", "before lift")
	// The other side has the same jack, and as loud.
	b.Do(chromedp.KeyEvent("b"))
	b.both()
	b.want("where B is heard", b.Text(`document.getElementById("where").textContent`), "before lift")
	var loud [2]float64
	for k, side := range []string{"A", "B"} {
		s := b.exact(side)
		x := make([]float64, len(s.volts))
		for i, v := range s.volts {
			x[i] = s.gain * float64(v)
		}
		loud[k], _ = measure.Loudness(x, 48000)
	}
	if math.Abs(loud[0]-loud[1]) > 0.1 {
		t.Errorf("before lift A has %.2f LUFS and B %.2f", loud[0], loud[1])
	}
	b.Do(chromedp.KeyEvent("a"), chromedp.Click("#to-end"))
	check("", "")
	// A block that has left the board on both sides is heard no more.
	b.Do(chromedp.KeyEvent("h"))
	b.Wait(`drywire.sound.jack === "lift.out"`)
	b.Do(chromedp.Focus(`[data-block="lift"] .grip`), chromedp.KeyEvent(kb.Delete))
	b.Wait(`document.getElementById("where").textContent === "A has no lift: its output"`)
	b.Do(chromedp.KeyEvent("b"), chromedp.Focus(`[data-block="lift"] .grip`), chromedp.KeyEvent(kb.Delete))
	b.Wait(`drywire.sound.jack === "" && document.getElementById("where").hidden`)
	b.both()
	b.Quiet()
}

// Keys 1 to 9 play takes by their place in the file: on the side that has it, or else on the side
// that sounds.
func TestTakesByKey(t *testing.T) {
	b := open(t, testChain+"  - {name: no drive, order: [lift, echo]}\n")
	b.Do(chromedp.KeyEvent("2"))
	b.Wait(`drywire.sound.side === "B"`)
	b.Do(chromedp.KeyEvent("3"))
	b.Wait(`drywire.state().sides.B.take === "no drive"`)
	b.want("the other side", b.Text(`drywire.state().sides.A.take`), "echo last")
	b.Do(chromedp.KeyEvent("9"))
	b.Wait(`document.getElementById("spoken").textContent.includes("no take 9")`)
	b.Quiet()
}

// The meter reads tones as ITU-R BS.1770 and EBU Tech 3341 have it, says that something was over,
// and shows what the spectrum of a tone is.
func TestMeters(t *testing.T) {
	b := open(t, testChain)
	// EBU Tech 3341 (2023), Table 1, cases 1 and 2: a sine of 1 kHz in both channels, -23 and -33
	// dBFS; and one of 10 kHz, which the meter of dsp/measure is asked about.
	for _, rate := range []int{44100, 48000} {
		for _, tone := range []struct{ hz, db float64 }{{1000, -23}, {1000, -33}, {10000, -20}, {60, -20}} {
			x := make([]float64, 4*rate)
			for k := range x {
				x[k] = dsp.FromDB(tone.db) * math.Sin(2*math.Pi*tone.hz*float64(k)/float64(rate))
			}
			m := measure.NewLoudnessMeter(float64(rate), measure.Stereo)
			m.Push(x, x)
			want, err := m.ShortTerm()
			if err != nil {
				t.Fatal(err)
			}
			if tone.hz == 1000 && math.Abs(want-tone.db) > 0.1 {
				t.Fatalf("the reference reads %.2f LUFS of a tone of %g dBFS", want, tone.db)
			}
			got := b.Number(fmt.Sprintf(`(async () => {
				const c = new OfflineAudioContext(2, 4 * %d, %d);
				await c.audioWorklet.addModule("meter.js");
				const o = new OscillatorNode(c, { frequency: %g }), g = new GainNode(c, { gain: %g }), m = new AudioWorkletNode(c, "drywire-meter", { channelCount: 2, channelCountMode: "explicit" });
				let last = null, first = 0;
				m.port.onmessage = e => { last = e.data; if (last.loudness !== null) first ||= c.currentTime; };
				o.connect(g).connect(m).connect(c.destination);
				o.start();
				await c.startRendering();
				await new Promise(r => setTimeout(r, 50));
				return last.loudness;
			})()`, rate, rate, tone.hz, dsp.FromDB(tone.db)))
			if math.Abs(got-want) > 0.05 {
				t.Errorf("%g Hz at %g dBFS and %d Hz: %.2f LUFS, want %.2f", tone.hz, tone.db, rate, got, want)
			}
		}
	}
	// A third of an octave reads a tone in its middle, and none of it two thirds away.
	thirds := func(hz float64) string {
		return b.Text(fmt.Sprintf(`(async () => {
			const { thirds } = await import("./sound.js"), c = new OfflineAudioContext(1, 48000, 48000), o = new OscillatorNode(c, { frequency: %g }), a = new AnalyserNode(c, { fftSize: 16384, smoothingTimeConstant: 0 });
			o.connect(a).connect(c.destination);
			o.start();
			let got;
			await Promise.all([c.suspend(0.8).then(() => { got = thirds([a], [%g, %g]).map(v => (20 * Math.log10(v * Math.SQRT2)).toFixed(2)).join(); c.resume(); }), c.startRendering()]);
			return got;
		})()`, hz, hz, hz*math.Pow(10, 0.2)))
	}
	for _, hz := range []float64{199.53, 1000, 7943.3} {
		var own, off float64
		if _, err := fmt.Sscanf(strings.ReplaceAll(thirds(hz), ",", " "), "%g %g", &own, &off); err != nil || math.Abs(own) > 0.1 || off > -40 {
			t.Errorf("a tone of %g Hz: its third reads %.2f dB, want 0, and two thirds away %.2f (%v)", hz, own, off, err)
		}
	}

	b.region(48000, 48000*3)
	b.play()
	b.both()
	b.Run(`document.getElementById("tab-spectrum").click()`)
	b.Wait(`(document.querySelector("#see-spectrum .alive").getAttribute("d") ?? "").length > 300`)
	b.Wait(`/^[−-]\d+.LUFS$/.test(document.getElementById("out-loudness").textContent)`)
	// What the page says of itself is what it plays: matched to experiment.Target on one
	// loudspeaker, 3 dB more on both, at a volume of -24 dB; short-term goes about that.
	loudness := b.Number(`Number(document.getElementById("out-loudness").textContent.replace("−", "-").replace(/[^\d-]/g, ""))`)
	if want := b.Number("drywire.sound.orders.A.meta.loudness") + 3 - 24; math.Abs(loudness-want) > 4 {
		t.Errorf("%g LUFS are told, and the loop has %.1f", loudness, want)
	}
	// The live level of all thirds together is that of the volts.
	s := b.exact("A")
	power := 0.0
	for _, v := range s.volts {
		power += float64(v) * float64(v) / float64(len(s.volts))
	}
	sum, n := 0.0, 20
	for range n {
		time.Sleep(100 * time.Millisecond)
		sum += b.Number(`drywire.sound.spectrum(drywire.figures.thirds()).reduce((a, v) => a + (v === null ? 0 : 10 ** (v / 10)), 0)`) / float64(n)
	}
	if got, want := 10*math.Log10(sum), dsp.VoltsToDBu(math.Sqrt(power)); math.Abs(got-want) > 1.5 {
		t.Errorf("the live spectrum sums to %.1f dBu, the loop has %.1f", got, want)
	}
	if b.Holds(`document.getElementById("out-meter").classList.contains("over")`) {
		t.Error("over, at a volume of -24 dB")
	}
	b.Run(`drywire.sound.volume.gain.cancelScheduledValues(0); drywire.sound.volume.gain.value = 20`)
	b.Wait(`document.getElementById("out-text").textContent === "over"`)
	b.Run(`drywire.sound.volume.gain.value = 0.05`)
	b.Wait(`document.getElementById("out-text").textContent.startsWith("peak")`)
	picture(b, "spectrum", 1280, 720)
	b.Quiet()
}

// The board's hiss and hum join what plays, on both sides at once, after the words; they are what
// the program makes of it, go with one key, and a change is heard without them first.
func TestHissJoins(t *testing.T) {
	b := open(t, strings.Replace(testChain, "humbucker", "single-coil", 1))
	b.region(48000, 48000*2)
	b.play()
	b.both()
	joined := `drywire.sound.hisses() && drywire.sound.heard.key === drywire.sound.noisy[drywire.sound.side].key`
	clean := b.exact("A")
	check := func(side string) played {
		t.Helper()
		b.Wait(joined)
		time.Sleep(900 * time.Millisecond) // the tap looks back 0.68 s
		s := b.exact(side)
		if _, worst := find(b.tapped(), s); worst > near {
			t.Errorf("side %s with noise: the output is %.3g off", side, worst)
		}
		return s
	}
	b.Run(`document.getElementById("noise").click(); document.getElementById("noise").click()`) // off, and on
	if !b.Holds(`drywire.sound.noise`) {
		b.Run(`document.getElementById("noise").click()`)
	}
	b.Wait(`document.getElementById("state").textContent === "hiss and hum follow" || drywire.sound.hisses()`)
	noisy := check("A")
	hiss := 0.0
	for k := range noisy.volts {
		hiss += math.Pow(float64(noisy.volts[k])-float64(clean.volts[k]), 2) / float64(len(noisy.volts))
	}
	if db := dsp.VoltsToDBu(math.Sqrt(hiss)); db < -70 || db > -30 {
		t.Errorf("%.1f dBu of hiss and hum", db)
	}
	b.Do(chromedp.KeyEvent("b"))
	check("B")
	b.want("with it all, the state", b.Text(`document.getElementById("state").textContent`), "")
	b.Do(chromedp.KeyEvent("n"), chromedp.KeyEvent("a"))
	b.Wait(`drywire.sound.heard.key === drywire.sound.orders.A.key`)
	b.Do(chromedp.KeyEvent("n"))
	b.Wait(joined)
	b.Run(`heard.length = 0; drywire.lane.wish.op({ do: "knob", target: "drive.drive", value: "3" })`)
	b.Wait(`drywire.state().undo === 1`)
	b.Wait(`document.getElementById("state").textContent === "hiss and hum follow"`)
	if b.Holds(`document.getElementById("verdict").classList.contains("soft")`) && b.Holds(`Boolean(drywire.sound.work?.noisy)`) {
		t.Error("hiss and hum are made before the words")
	}
	b.Wait(joined)
	order := b.Text(`heard.map(h => h.layer + (h.key === drywire.sound.noisy.A.key ? " with noise" : "")).join(", ")`)
	if !strings.HasSuffix(order, "exact with noise") || !strings.Contains(order, "preview") && !strings.Contains(order, "exact,") {
		t.Errorf("after a change were heard %s", order)
	}
	picture(b, "noise", 1280, 720)
	picture(b, "noise", 390, 844)
	b.Quiet()
}

// Two causes to ask within the moment that a question waits: it is asked nevertheless, and of the
// region that is looped in the end.
func TestQuestionsAreAskedOnce(t *testing.T) {
	b := open(t, testChain)
	b.play()
	b.both()
	settled := `!document.getElementById("verdict").classList.contains("soft") && document.getElementById("seeing").textContent === ""`
	b.Wait(settled)
	b.Run(`drywire.sound.stop(); drywire.wave.set(0, 48000); drywire.wave.set(48000, 96000)`)
	b.Wait(`document.getElementById("seeing").textContent !== ""`)
	b.Wait(settled)
	b.Quiet()
}
