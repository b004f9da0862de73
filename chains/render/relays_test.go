package render_test

import (
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp/section"
)

const changing = `
blocks:
  board: {kind: switcher, loops: {1: [drive], 2: [echo], 3: [lift]}}
  drive: {kind: overdrive}
  lift:  {kind: boost, gain: 6 dB}
  echo:  {kind: delay, time: 150 ms, repeats: 2, mix: 50 %}
  amp:   {kind: preamp, gain: 4}
order: [board, amp]
presets:
  plain: {loops: [3]}
  other: {loops: [3], trim: 0 dB}
  dirty: {loops: [1]}
  echoes: {loops: [2]}
  both: {loops: [1, 2]}
takes:
  - {name: plain, preset: plain}
  - {name: plain twice, preset: {at: {0 s: plain, 300 ms: other}}}
  - {name: dirty, preset: dirty}
  - {name: into dirty, preset: {at: {0 s: plain, 300 ms: dirty}}}
  - {name: there and back, preset: {at: {0 s: plain, 200 ms: dirty, 400 ms: plain}}}
  - {name: echoes, preset: echoes}
  - {name: out of echoes, preset: {at: {0 s: echoes, 300 ms: plain}}}
  - {name: into echoes, preset: {at: {0 s: plain, 300 ms: echoes}}}
  - {name: echoes on, preset: {at: {0 s: echoes, 300 ms: both}}}
  - {name: turned, preset: plain, set: {guitar.volume: {at: {0 s: 10, 500 ms: 5}}, amp.gain: {at: {0 s: 4, 500 ms: 6}}}}
  - {name: turned twice, preset: {at: {0 s: plain, 300 ms: other}}, set: {guitar.volume: {at: {0 s: 10, 500 ms: 5}}, amp.gain: {at: {0 s: 4, 500 ms: 6}}}}
`

const changeRate = 48000

// changed renders half a second in which a chord is played for the first 250 ms.
func changed(t *testing.T, f *board.File, take string, jacks ...string) [][]float64 {
	t.Helper()
	x := chaintest.Chord(changeRate, changeRate)[:changeRate*3/5]
	for k := range x {
		x[k] *= 0.1 * math.Exp(-float64(max(0, k-changeRate/4))/200)
	}
	return rendertest.Render(t, chaintest.TakeOf(t, f, take), changeRate, section.Draft, render.Volts(x), jacks...)
}

// level is the RMS of a stretch in ms, in dB re 1 V.
func level(x []float64, from, to int) float64 {
	sum := 0.0
	for _, v := range x[from*changeRate/1000 : to*changeRate/1000] {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64((to-from)*changeRate/1000)+1e-30)
}

// residual is by how much two signals differ in a stretch in ms, in dB of the first one's peak.
func residual(a, b []float64, from, to int) float64 {
	peak, worst := 0.0, 0.0
	for k := range a {
		peak = max(peak, math.Abs(a[k]))
	}
	for k := from * changeRate / 1000; k < to*changeRate/1000; k++ {
		worst = max(worst, math.Abs(a[k]-b[k]))
	}
	return 20 * math.Log10(worst/peak+1e-30)
}

// Before a change and once the relays have moved, the chain is that of its preset: by the
// substitution theorem what follows the switcher is driven as in the whole chain (closed form; the
// bound is that of the solver at draft quality).
func TestChangeIsItsPresetsAround(t *testing.T) {
	f := chaintest.Board(t, changing)
	for _, jack := range []string{"board.in", "board.out", "amp.out", "out"} {
		plain, twice := changed(t, f, "plain", jack)[0], changed(t, f, "plain twice", jack)[0]
		if d := residual(plain, twice, 0, 299); d > -70 {
			t.Errorf("%s before the change: %.1f dB", jack, d)
		}
		if d := residual(plain, twice, 450, 600); d > -70 {
			t.Errorf("%s after the change: %.1f dB", jack, d)
		}
	}
	plain, dirty := changed(t, f, "plain", "board.out")[0], changed(t, f, "dirty", "board.out")[0]
	back := changed(t, f, "there and back", "board.out")[0]
	for _, s := range []struct {
		want     []float64
		from, to int
	}{{plain, 0, 199}, {dirty, 220, 399}, {plain, 420, 600}} {
		if d := residual(s.want, back, s.from, s.to); d > -70 {
			t.Errorf("there and back, %d to %d ms: %.1f dB", s.from, s.to, d)
		}
	}
	if d := residual(plain, dirty, 220, 399); d < -20 {
		t.Errorf("the two presets differ by %.1f dB: the test tells nothing", d)
	}
}

// Knobs before the switcher and behind it turn while the presets change: outside the gap the take is
// the one that changes to nothing else.
func TestKnobsTurnWhilePresetsChange(t *testing.T) {
	f := chaintest.Board(t, changing)
	want, got := changed(t, f, "turned", "out")[0], changed(t, f, "turned twice", "out")[0]
	still := changed(t, f, "plain", "out")[0]
	if d := residual(want, still, 150, 250); d < -40 {
		t.Fatalf("the knobs do nothing: %.0f dB", d)
	}
	if d := residual(want, got, 0, 300); d > -60 {
		t.Errorf("before the change it differs by %.0f dB", d)
	}
	if d := residual(want, got, 400, 590); d > -60 {
		t.Errorf("behind the change it differs by %.0f dB", d)
	}
}

// For RelayGap nothing comes out of the switcher: with its time constant of 0.1 ms the voltage is
// down by 8.7 dB for each, so by over 80 dB after a millisecond.
func TestRelayGap(t *testing.T) {
	f := chaintest.Board(t, changing)
	out := changed(t, f, "there and back", "board.out")[0]
	before, gap, after := level(out, 190, 200), level(out, 201, 204), level(out, 210, 220)
	if gap > before-80 || after < before-20 {
		t.Errorf("%.1f dB before, %.1f in the gap, %.1f after", before, gap, after)
	}
}

// A loop that goes out cuts off its echoes, one that comes in has none of what was played before,
// and one that stays rings on.
func TestTailsOfChanges(t *testing.T) {
	f := chaintest.Board(t, changing)
	out := func(take string) []float64 { return changed(t, f, take, "board.out")[0] }
	plain, echoes := out("plain"), out("echoes")
	ringing := level(echoes, 320, 390)
	if ringing < level(plain, 320, 390)+30 {
		t.Fatalf("echoes %.1f dB, without %.1f: the test tells nothing", ringing, level(plain, 320, 390))
	}
	if cut := level(out("out of echoes"), 320, 390); cut > ringing-30 {
		t.Errorf("a loop that is out: %.1f dB, in: %.1f", cut, ringing)
	}
	if none := level(out("into echoes"), 320, 390); none > ringing-30 {
		t.Errorf("a loop that came in: %.1f dB, with echoes of before: %.1f", none, ringing)
	}
	if on := level(out("echoes on"), 320, 390); math.Abs(on-ringing) > 1 {
		t.Errorf("a loop that stays in: %.1f dB, without a change %.1f", on, ringing)
	}
}
