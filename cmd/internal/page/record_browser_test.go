//go:build browser

package page_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"drywire/chains/report/browsertest"
	"drywire/dsp/measure"
	"drywire/samples"
)

// tone is a WAV file of a sine at a level in dB under full scale, as a machine's input.
func tone(t *testing.T, hz, db float64) string {
	t.Helper()
	x := make([]float64, 5*48000)
	for k := range x {
		x[k] = math.Pow(10, db/20) * math.Sin(2*math.Pi*hz*float64(k)/48000)
	}
	name := filepath.Join(t.TempDir(), "input.wav")
	w, err := samples.Create(name, samples.Format{Rate: 48000, Channels: 1, Bits: 16})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(x); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

// TestRecords records what comes in, after a count-in, with nothing of it heard and nothing done to
// it, and plays it through the board at the level that the input's full scale gives it.
func TestRecords(t *testing.T) {
	b := plugged(t, testChain, tone(t, 440, -12))
	b.play()
	b.Run(`document.getElementById("bring").click()`)
	b.Do(chromedp.Click("#record"))
	b.Wait(`!document.getElementById("record-go").disabled`)
	if b.Holds(`drywire.sound.playing`) {
		t.Error("the board plays on while one is to record")
	}
	b.Wait(`document.getElementById("record-level").textContent === "−12\u00a0dB"`)
	if os.Getenv("AXE") != "" {
		for _, v := range browsertest.NeedAxe(t).Check(b.Browser).Violations {
			t.Errorf("%s: %s %v", v.ID, v.Help, v.Where)
		}
	}
	picture(b, "record", 1280, 720)
	picture(b, "record", 390, 844)
	b.Resize(1280, 720)
	b.Run(`document.getElementById("record-tempo").value = "130"; document.getElementById("record-tempo").focus()`)
	begun := time.Now()
	b.Do(chromedp.Click("#record-go"))
	b.Wait(`document.getElementById("record-said").textContent === "2…"`)
	b.Wait(`document.getElementById("record-said").textContent.startsWith("Recording")`)
	if counted, least := time.Since(begun).Seconds(), 4*60/130.0; counted < least {
		t.Errorf("counted in for %.2f s, want %.2f at least", counted, least)
	}
	b.Wait(`document.getElementById("record-said").textContent.startsWith("Recording, 2")`)
	b.Do(chromedp.Click("#record-go"))
	b.Wait(`!document.getElementById("own-go").disabled`)
	b.want("what it says", b.Text(`document.getElementById("record-said").textContent`), "Its loudest moment is 12.0\u00a0dB under full scale.")
	b.Run(`(() => { const e = document.getElementById("own-scale"); e.value = "11"; e.dispatchEvent(new Event("input")); })()`)
	// √2 · √0.6 V · 10^(11/20) is full scale, 3.887 V at the peak; 12 dB under that is 976 mV.
	b.want("how loud it was", b.Text(`document.getElementById("own-peak").selectedOptions[0].textContent`), "as the input says: 976\u00a0mV")
	b.Do(chromedp.Click("#own-go"))
	b.Wait(`drywire.state().recording.name.startsWith("recording-")`)
	if b.Holds(`document.getElementById("recording-box").open`) {
		t.Error("the dialog stays open")
	}
	if b.Holds(`document.getElementById("recorder").checkVisibility()`) {
		t.Error("the input is still open")
	}

	names, err := filepath.Glob(filepath.Join(filepath.Dir(b.file), "recording-*-*.wav"))
	if err != nil || len(names) != 1 {
		t.Fatalf("%v, %v", names, err)
	}
	r, err := samples.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x := make([]float64, r.Frames())
	if _, err := r.Read(x); err != nil {
		t.Fatal(err)
	}
	if seconds := float64(len(x)) / float64(r.Rate); seconds < 1.9 || seconds > 3.5 || r.Channels != 1 {
		t.Errorf("%.2f s of %d channels", seconds, r.Channels)
	}
	levels, err := measure.MeasureLevels(x)
	if err != nil {
		t.Fatal(err)
	}
	// What a browser does to a voice would turn a steady tone down or off.
	if rms := 20 * math.Log10(levels.RMS); math.Abs(rms+15.05) > 0.2 {
		t.Errorf("a sine of -12 dBFS comes in at %.2f dB, want -15.05 (its effective value)", rms)
	}
	var periods []int // in frames; a busy machine's stand-in for an input may miss some
	for k, last := 1, 0; k < len(x); k++ {
		if x[k-1] < 0 && x[k] >= 0 {
			periods, last = append(periods, k-last), k
		}
	}
	slices.Sort(periods)
	if hz := float64(r.Rate) / float64(periods[len(periods)/2]); math.Abs(hz-440) > 3 {
		t.Errorf("440 Hz comes in as %.1f Hz", hz)
	}
	text, err := os.ReadFile(b.file)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(text), "recording-") {
		t.Error("the chain file was changed before anybody saved")
	}
	b.Quiet()
}

// Where a browser says that it meddles, nothing is recorded, and it is said why; so it is where the
// input is not allowed.
func TestRefusesMeddling(t *testing.T) {
	b := plugged(t, testChain, tone(t, 440, -12))
	b.Run(`globalThis.told = MediaStreamTrack.prototype.getSettings;
		MediaStreamTrack.prototype.getSettings = function () { return { ...told.call(this), autoGainControl: true, noiseSuppression: true }; }`)
	b.Run(`document.getElementById("bring").click()`)
	b.Do(chromedp.Click("#record"))
	b.Wait(`document.getElementById("record-fault").textContent.includes("noise suppression and automatic gain on")`)
	if !b.Holds(`document.getElementById("record-go").disabled && document.getElementById("own-go").disabled`) {
		t.Error("it could be recorded all the same")
	}
	b.Run(`MediaStreamTrack.prototype.getSettings = told; navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("no", "NotAllowedError"))`)
	b.Do(chromedp.Click("#record"))
	b.Wait(`document.getElementById("record-fault").textContent.includes("Allow it")`)
	b.Quiet()
}
