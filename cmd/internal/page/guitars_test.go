package page

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// A side on a guitar that has a recording of its own plays that one, silent where it ends before the
// file's; the words compare what was measured of either, and no moments.
func TestSideOnItsOwnRecording(t *testing.T) {
	p := openPage(t, `drywire: 1
recording: {file: pluck.wav, peak: 300 mV}
guitars: {bright: {pickup: single-coil, recording: {file: bright.wav, peak: 100 mV}}}
blocks: {keep: {kind: buffer}, lift: {kind: boost}}
order: [keep, lift]
takes:
  - {name: own}
  - {name: bright, guitar: bright}
`, func(folder string, _ *Options) { writePluck(t, filepath.Join(folder, "bright.wav"), 24000) })
	w := p.window()
	const n = 48000
	h := w.render("B", 0, [2]int64{0, n})
	got := channel(t, h.exact, 0, 0, n)
	x := pluck(24000)
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	for k := range x {
		x[k] *= 0.1 / peak
	}
	want := played(t, w.chainOf(1), append(x, make([]float64, n-len(x))...))[0]
	for k := range n - 480 { // up to the seam
		if math.Abs(float64(got[k])-want[k]) > 1e-5 {
			t.Fatalf("frame %d is %v, want %v", k, got[k], want[k])
		}
	}
	var v struct{ Heard, Sentence string }
	p.post("api/verdict", map[string]any{"session": w.ID, "side": "B", "region": [2]int64{0, n}}, &v)
	if v.Heard != "played apart" || !strings.Contains(v.Sentence, "each on a recording of its own") {
		t.Errorf("%q: %s", v.Heard, v.Sentence)
	}
}
