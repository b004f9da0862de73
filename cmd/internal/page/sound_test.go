package page

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// fuzzFile is a chain with a section that bends in front of a tail.
const fuzzFile = `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
blocks:
  fuzz:   {kind: fuzz, fuzz: 6}
  buffer: {kind: buffer}
  echo:   {kind: delay, time: 60 ms, repeats: 3, mix: 40 %}
order: [fuzz, buffer, echo]
takes:
  - {name: fuzz first}
  - {name: buffered, order: [buffer, fuzz, echo]}
`

// played is the voltages of a chain that is fed a recording, as the command render --volts gives
// them.
func played(t testing.TB, c *board.Chain, x []float64) [][]float64 {
	t.Helper()
	r, err := render.PlanOf(c, 48000, produce.Quality).Renderer(c.Ends()...)
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, len(c.Ends()))
	if err := r.Run(context.Background(), render.Volts(x), 0, func(taps [][]float64) error {
		for k, y := range taps {
			out[k] = append(out[k], y...)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// chainOf is a take of the window's text as it is.
func (w *window) chainOf(side int) *board.Chain {
	w.t.Helper()
	n, err := w.server.session(w.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.doc.chain(side).Chain
}

// around is the recording of the window played round and round: region [a, b) from so many samples
// before it to so many behind it.
func (w *window) around(a, b int64, before, behind int) []float64 {
	w.t.Helper()
	n, err := w.server.session(w.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	x, err := n.doc.Dry.Voltages(context.Background(), 0, b)
	if err != nil {
		w.t.Fatal(err)
	}
	// Its last 10 ms are crossfaded with the 10 ms before it, which are silent where the recording
	// begins.
	for k := range 480 {
		fade, y := (float64(k)+0.5)/480, 0.0
		if a >= 480 {
			y = x[a-480+int64(k)]
		}
		x[b-480+int64(k)] = (1-fade)*x[b-480+int64(k)] + fade*y
	}
	x = x[a:]
	y := make([]float64, before+len(x)+behind)
	for k := range y {
		y[k] = x[((k-before)%len(x)+len(x))%len(x)]
	}
	return y
}

// TestExact holds the exact sound of a loop against a render of the recording played round and
// round: the same bits but for the seam, which is a crossfade of what comes after the end with what
// comes at the beginning.
func TestExact(t *testing.T) {
	p := openPage(t, fuzzFile)
	w := p.window()
	for _, region := range [][2]int64{{0, 48000}, {7000, 31111}} {
		a, b := region[0], region[1]
		for side, letter := range letters {
			h := w.render(letter, a+100, region)
			got := channel(t, h.exact, 0, a, b)
			c := w.chainOf(side)
			const lead = 48000 // a second, longer than the tail
			if tail := render.PlanOf(c, 48000, produce.Quality).Tail(); tail > 1 {
				t.Fatalf("a tail of %v s", float64(tail))
			}
			want := played(t, c, w.around(a, b, lead, 4800))[0][lead-480:]
			before, want := want[:480], want[480:]
			n := int(b - a)
			worst := 0.0
			for k := range n {
				v := want[k]
				if at := k - (n - 480); at >= 0 {
					fade := (float64(at) + 0.5) / 480 // 10 ms
					v = (1-fade)*v + fade*before[at]
					worst = max(worst, math.Abs(want[k]-before[at]))
				}
				if got[k] != float32(v) {
					t.Fatalf("%v, %s: frame %d is %v, want %v", region, letter, a+int64(k), got[k], float32(v))
				}
			}
			if peak := slices.Max(want); worst > 1e-3*peak {
				t.Errorf("%v, %s: the second time round differs by %.2g V of %.2g V", region, letter, worst, peak)
			}
			last := h.metas[len(h.metas)-1]
			if !last.Done || last.Layer != "exact" || last.Quality != "normal" || last.Estimated {
				t.Errorf("%v, %s: the last meta is %+v", region, letter, last)
			}
		}
	}
}

// TestSeam holds that a loop with an oscillator in it, whose period is not the loop's, has no
// larger step where it begins again than elsewhere.
func TestSeam(t *testing.T) {
	p := openPage(t, `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
blocks: {wobble: {kind: vibrato, rate: 4.7 Hz, depth: 1 ms}}
order: [wobble]
`)
	w := p.window()
	region := [2]int64{3000, 31000}
	x := channel(t, w.render("A", 3000, region).exact, 0, region[0], region[1])
	step := func(a, b int) float64 {
		most := 0.0
		for k := a; k < b; k++ {
			most = max(most, math.Abs(float64(x[(k+1)%len(x)]-x[k%len(x)])))
		}
		return most
	}
	if seam, own := step(len(x)-480, len(x)+2400), step(2400, len(x)-480); seam > own { // the vibrato may be some ms late
		t.Errorf("a step of %.3g V at the seam, and %.3g V elsewhere", seam, own)
	}
}

// difference is the level of x - y re y, in dB.
func difference(x, y []float32) float64 {
	var d, p float64
	for k := range x {
		e := float64(x[k]) - float64(y[k])
		d += e * e
		p += float64(y[k]) * float64(y[k])
	}
	return 10 * math.Log10(d/p)
}

// TestPreviewConverges holds a preview against the exact sound that takes its place. The preview is
// in draft quality, of which the error is some -55 dB here; what it does not know is what the
// changed chain would have fed to the echo before.
func TestPreviewConverges(t *testing.T) {
	p := openPage(t, fuzzFile)
	w := p.window()
	region := [2]int64{0, 48000}
	w.render("A", 0, region)
	w.must("A", map[string]any{"do": "knob", "target": "fuzz.fuzz", "value": "9"})
	h := w.render("A", 4800, region)
	if h.kind != previewMessage || h.first != 4800 {
		t.Fatalf("the first sound is of kind %d at frame %d; want a preview at 4800", h.kind, h.first)
	}
	for _, c := range []struct {
		a, b int64
		most float64 // dB
	}{{4800, 9600, -10}, {30000, 40000, -40}} {
		level := difference(channel(t, h.preview, 0, c.a, c.b), channel(t, h.exact, 0, c.a, c.b))
		t.Logf("%s, from %3.0f to %3.0f ms after the change: %.1f dB", h.metas[0].Quality, float64(c.a-4800)/48, float64(c.b-4800)/48, level)
		if level > c.most {
			t.Errorf("from frame %d to %d the preview is %.1f dB off the exact sound; want %.0f at most", c.a, c.b, level, c.most)
		}
	}
}

// TestTails holds that an echo of what was played before a change is heard after it: a guitar that
// is turned off leaves its repeats.
func TestTails(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	region := [2]int64{0, 48000}
	w.render("A", 0, region)
	before := w.chainOf(0)
	w.must("A", map[string]any{"do": "knob", "target": "vol.volume", "value": "0"})
	const from = 14400
	h := w.render("A", from, region)
	// The same by hand: the recording fades out as the preview lets go of what was fed to the echo,
	// and the volume pedal stays where it was.
	const lead = 48000
	x := w.around(0, 48000, lead, 0)
	for k := range x {
		at := k - lead - (from - 2*1440) // 30 ms of crossfade, which end 30 ms before the sound begins
		fade := min(max(float64(at)/1440, 0), 1)
		x[k] *= 1 - fade*fade // once at the buffer's stage, and what comes of that at the echo's
	}
	want := played(t, before, x)[0][lead:]
	y := make([]float32, 7200)
	for k := range y {
		y[k] = float32(want[from+k])
	}
	got := channel(t, h.preview, 0, from, from+7200)
	level := difference(got, y)
	t.Logf("repeats against those of a guitar that was turned down: %.1f dB", level)
	if level > -40 {
		t.Errorf("the repeats are %.1f dB off those of a guitar that was turned down; want -40 at most", level)
	}
	if gone := channel(t, h.exact, 0, from, from+7200); rms(gone) > 1e-3*rms(got) {
		t.Errorf("the exact sound is %.3g V and is to be silent; the repeats are %.3g V", rms(gone), rms(got))
	}
}

func rms(x []float32) float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return math.Sqrt(sum / float64(len(x)))
}

// TestGains holds what the gains of a stream promise: both sides equally loud with the one, both
// changed alike with the other, and no true peak over -1 dBTP.
func TestGains(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	w.must("B", map[string]any{"do": "knob", "target": "vol.volume", "value": "4"})
	region := [2]int64{0, 48000}
	var matched, common, loudness [2]float64
	for k, letter := range letters {
		h := w.render(letter, 0, region)
		m := h.metas[len(h.metas)-1]
		matched[k], common[k] = m.Gain, m.TrueGain
		x := channel(t, h.exact, 0, 0, 48000)
		y := make([]float64, len(x))
		for j := range x {
			y[j] = float64(x[j]) * m.Gain
		}
		var err error
		if loudness[k], err = measure.Loudness(y, 48000); err != nil {
			t.Fatal(err)
		}
		if m.Loudness == nil || math.Abs(*m.Loudness-loudness[k]) > 1e-6 {
			t.Errorf("%s: told %s LUFS, has %v", letter, text(m.Loudness), loudness[k])
		}
		if peak, err := measure.TruePeak(y); err != nil || dsp.ToDB(peak) > experiment.Ceiling {
			t.Errorf("%s: a true peak of %.2f dBTP (%v)", letter, dsp.ToDB(peak), err)
		}
		if got := dsp.ToDB(m.Gain / m.TrueGain); math.Abs(got-m.MatchDB) > 1e-9 || got < -1e-9 {
			t.Errorf("%s: matched by %.3f dB, told %.3f", letter, got, m.MatchDB)
		}
	}
	if d := math.Abs(loudness[0] - loudness[1]); d > 2*experiment.Close {
		t.Errorf("A has %.3f LUFS and B %.3f", loudness[0], loudness[1])
	}
	if common[0] != common[1] {
		t.Errorf("the common gain is %v for A and %v for B", common[0], common[1])
	}
	if matched[1] < 2*matched[0] {
		t.Errorf("the side that was turned down has a gain of %v, the other %v", matched[1], matched[0])
	}
}

// TestHave holds that a page which has a sound already is sent its numbers alone.
func TestHave(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	region := [2]int64{0, 48000}
	key := w.render("A", 0, region).metas[0].Key
	r := w.send(context.Background(), "api/render", map[string]any{"session": w.ID, "side": "A", "from": 0, "region": region, "have": []string{key}})
	defer r.Body.Close()
	h := listen(t, r.Body)
	if h.first >= 0 || len(h.metas) == 0 || !h.metas[len(h.metas)-1].Done || h.metas[0].Key != key {
		t.Errorf("messages %v, metas %+v", h.order, h.metas)
	}
}

// TestStereo holds that a take that ends in two jacks comes interleaved, left before right.
func TestStereo(t *testing.T) {
	p := openPage(t, `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
blocks: {buffer: {kind: buffer}, soft: {kind: volume, volume: 3}}
order: [buffer, {split: {left: [soft], right: [], mix: stereo}}]
takes: [{name: wide}, {name: narrow, order: [buffer, soft]}]
`)
	w := p.window()
	region := [2]int64{0, 24000}
	wide, narrow := w.render("A", 0, region), w.render("B", 0, region)
	if n := wide.metas[0].Channels; n != 2 {
		t.Fatalf("%d channels", n)
	}
	left, right := channel(t, wide.exact, 0, 0, 24000), channel(t, wide.exact, 1, 0, 24000)
	if rms(left) > 0.8*rms(right) {
		t.Errorf("left %.3g V, which is turned down, right %.3g V", rms(left), rms(right))
	}
	// Beside a take in stereo, one in mono is matched as it is played: by both loudspeakers.
	var level [2]float64
	for k, x := range [][][]float32{{left, right}, {channel(t, narrow.exact, 0, 0, 24000)}} {
		m := measure.NewLoudnessMeter(48000, measure.Stereo)
		gain := []*heard{wide, narrow}[k].metas[len([]*heard{wide, narrow}[k].metas)-1].Gain
		y := [2][]float64{make([]float64, 24000), make([]float64, 24000)}
		for c := range y {
			for j, v := range x[c%len(x)] {
				y[c][j] = gain * float64(v)
			}
		}
		m.Push(y[0], y[1])
		var err error
		if level[k], err = m.Integrated(); err != nil {
			t.Fatal(err)
		}
	}
	if math.Abs(level[0]-level[1]) > 2*experiment.Close {
		t.Errorf("stereo has %.3f LUFS, mono %.3f", level[0], level[1])
	}
}

// TestCancelled holds that a listener who leaves ends the work that nobody else waits for.
func TestCancelled(t *testing.T) {
	leak := noLeak(t)
	defer leak()
	const frames = 48000 * 20 // a fuzz takes seconds for that
	p := openPage(t, fuzzFile, func(folder string, _ *Options) { writePluck(t, folder+"/pluck.wav", frames) })
	defer p.close()
	w := p.window()
	ctx, leave := context.WithCancel(context.Background())
	r := w.send(ctx, "api/render", map[string]any{"session": w.ID, "side": "A", "from": 0, "region": [2]int64{0, frames}})
	for kind := uint32(0); kind != previewMessage; {
		var err error
		if kind, _, err = message(r.Body); err != nil {
			t.Fatal(err)
		}
	}
	leave()
	r.Body.Close()
	n, err := p.server.session(w.ID)
	if err != nil {
		t.Fatal(err)
	}
	for streams := 1; streams > 0; time.Sleep(time.Millisecond) { // until the server has seen it
		n.mu.Lock()
		streams = n.streams
		n.mu.Unlock()
	}
	e := p.server.engine
	e.Wait()
	c := e.Counts()
	if c.Running != 0 || c.Waiting != 0 {
		t.Errorf("%d at work and %d waiting after everybody has left", c.Running, c.Waiting)
	}
	if c.Computed >= 5 { // three sections and two stages
		t.Errorf("all %d sections and stages were computed for nobody", c.Computed)
	}
}

// TestFigures holds the figures against the functions that the commands call, on a recording that
// is played round and round.
func TestFigures(t *testing.T) {
	p := openPage(t, quickFile)
	w := p.window()
	region := [2]int64{0, 48000}
	var f engine.Figures
	if status, body := w.post("api/figures", map[string]any{"session": w.ID, "side": "A", "region": region}, &f); status != 200 {
		t.Fatalf("%d: %s", status, body)
	}
	c := w.chainOf(0)
	const lead = 48000
	wiring := render.PlanOf(c, 48000, produce.Quality)
	m, err := experiment.Measure(context.Background(), wiring, func(_ context.Context, _ *render.Plan, jack string) ([]float64, error) {
		r, err := render.PlanOf(c, 48000, produce.Quality).Renderer(jack)
		if err != nil {
			return nil, err
		}
		var x []float64
		err = r.Run(context.Background(), render.Volts(w.around(0, 48000, lead, 0)), 0, func(taps [][]float64) error {
			x = append(x, taps[0]...)
			return nil
		})
		return x[lead:], err
	}, dsp.Tone{})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Jacks) != len(m.Jacks) || len(f.Jacks) == 0 {
		t.Fatalf("%d jacks, want %d", len(f.Jacks), len(m.Jacks))
	}
	for k, j := range m.Jacks {
		near := func(what string, got *float64, want measures.Figure) {
			if (got != nil) != want.OK() || got != nil && math.Abs(*got-want.Value) > 0.02 {
				t.Errorf("%s at %s: %v, want %v", what, j.Jack, text(got), want)
			}
		}
		near("peak", f.Jacks[k].Peak, j.Of(measures.PeakDBu))
		near("level", f.Jacks[k].RMS, j.Of(measures.RMSDBu))
		near("noise", f.Jacks[k].Noise, j.Of(measures.Noise))
		near("headroom", f.Jacks[k].Headroom, j.Of(measures.Headroom))
	}
	noise, err := experiment.Noise(c, 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	if f.NoiseTotal == nil || math.Abs(*f.NoiseTotal-noise.DBu.Value) > 1e-3 || len(f.Noise) == 0 || f.Noise[0].Source != noise.Sources[0].Element {
		t.Errorf("noise %v of %v, want %v dBu of %v", text(f.NoiseTotal), f.Noise, noise.DBu, noise.Sources[0])
	}
	if len(f.Response.Hz) == 0 || len(f.Response.Hz) != len(f.Response.DB) || len(f.Spectrum.Hz) == 0 || f.LadderSVG == "" {
		t.Errorf("%d points of response, %d bands, a ladder of %d bytes", len(f.Response.Hz), len(f.Spectrum.Hz), len(f.LadderSVG))
	}
}

func text(v *float64) string {
	b, _ := json.Marshal(v)
	return string(b)
}
