package experiment

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/arrange"
	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp/section"
)

func swapped(t *testing.T, c *board.Chain) *SwapMap {
	t.Helper()
	x := scaled(plucks(1, 1), 6) // 0.4 V at most
	n := 0
	m, err := Swaps(t.Context(), c, x, measureRate, section.Draft, func() { n++ })
	if err != nil {
		t.Fatal(err)
	}
	if want := len(c.Blocks)*(len(c.Blocks)-1)/2 + 1; n != want {
		t.Errorf("%d renders, want %d", n, want)
	}
	return m
}

// Linear blocks behind stages may stand in any order among themselves; nobody hears it.
func TestSwapsOfLinearBlocks(t *testing.T) {
	m := swapped(t, take(t, "one: {kind: buffer}; bright: {kind: eq, high: 6 dB}; echo: {kind: delay}; two: {kind: buffer}", "volume: 10", "one", "bright", "echo", "two"))
	if len(m.Swaps) != 6 {
		t.Fatalf("%d swaps, want 6", len(m.Swaps))
	}
	for _, s := range m.Swaps {
		if s.Heard != HeardNot && s.Heard != HeardSame {
			t.Errorf("%s and %s: %s (%+v)", s.First, s.Second, s.Heard, s.Hearing)
		}
		if len(s.Respects) != 0 {
			t.Errorf("%s and %s: %v: %s", s.First, s.Second, s.Respects, s.Sentence)
		}
		// The last one drives the cable to the load; an echo has 1 kΩ where a buffer has 100 Ω.
		if s.Second != "two" && s.Of(measures.Null).OK() && s.Of(measures.Null).Value > -120 {
			t.Errorf("%s and %s leave %.1f dB", s.First, s.Second, s.Of(measures.Null).Value)
		}
	}
}

// In the demonstration's chain, nothing matters as much as whether the fuzz or the buffer comes
// first. Every swap that puts something before the fuzz is heard for certain; this one does it by
// moving least.
func TestSwapsOfTheDemo(t *testing.T) {
	src, err := chains.ReadShipped("fuzz-or-buffer-first")
	if err != nil {
		t.Fatal(err)
	}
	f, err := file.Parse("demo", src)
	if err != nil {
		t.Fatal(err)
	}
	m := swapped(t, f.Chains()[0])
	first := m.Swaps[0]
	if first.First != "fuzz" || first.Second != "buffer" || first.Heard != HeardMostly || !slices.Contains(first.Respects, "tone") {
		t.Errorf("strongest: %s and %s, %s, %v", first.First, first.Second, first.Heard, first.Respects)
		for _, s := range m.Swaps {
			t.Logf("%s and %s: %s, %.2f dB, %v", s.First, s.Second, s.Heard, s.Of(measures.SpectralMean).Value, s.Sentence)
		}
	}
	for _, s := range m.Swaps {
		if s.First == "echo" && s.Second == "plate" && (s.Heard == HeardMostly || slices.Contains(s.Respects, "distortion")) {
			t.Errorf("echo and plate: %s, %s", s.Heard, s.Sentence)
		}
	}
	text, err := json.Marshal(m)
	if err != nil || !strings.Contains(string(text), `"first":"fuzz","second":"buffer","apart":1,"take":["order: [buffer, fuzz, echo, plate]"],"a":0,"b":`) {
		t.Errorf("as JSON (%v): %.300s", err, text)
	}
}

// Nothing of the board is put behind the power of an amplifier, and neither that nor a loudspeaker
// in front of it; a preamplifier changes places, which puts into its loop what was in front of it.
// Blocks that all stand behind the power are a mixer's, and change places. A switcher moves as a
// whole, and so does what is in its loops, which may also leave them: its buffer is what that is
// before then.
func TestSwapsThatNobodyCouldWire(t *testing.T) {
	src := `drywire: 1
recording: {sample: riff}
blocks:
  board: {kind: switcher, loops: {1: [drive]}}
  drive: {kind: overdrive}
  echo:  {kind: delay}
  front: {kind: preamp}
  power: {kind: poweramp}
  box:   {kind: speaker}
  desk:  {kind: eq}
  hall:  {kind: reverb}
order: [echo, board, front, power, box, desk, hall]
presets: {on: {loops: [1]}}
takes: [{name: on, preset: on}]
`
	f, err := file.Parse("swaps", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	c := f.Chains()[0]
	all, out := arrange.Swaps(c)
	m := SwapMap{Names: c.Arrangement().Names(), LeftOut: out}
	var pairs []string
	for _, s := range all {
		pairs = append(pairs, s.First+" "+s.Second)
		m.Swaps = append(m.Swaps, Swap{First: s.First, Second: s.Second})
	}
	if got, want := strings.Join(pairs, ", "), "echo board, echo drive, echo front, board front, drive front, desk hall, drive "; got != want {
		t.Errorf("swaps: %s; want %s", got, want)
	}
	for _, o := range out {
		if o.Why != arrange.AtPower {
			t.Errorf("%s and %s are left out: %s", o.First, o.Second, o.Why)
		}
	}
	// Of eight blocks, 28 pairs, but not the switcher with what is in it; six swaps.
	if len(out) != 21 {
		t.Errorf("%d left out at the power, want 21", len(out))
	}
	if got := strings.Join(m.Blocks(), " "); got != "echo board drive front desk hall" {
		t.Errorf("blocks that change places: %s", got)
	}
	if text := strings.Join(m.Omitted(), " "); !strings.Contains(text, "21 swaps that nobody could wire") {
		t.Errorf("said: %s", text)
	}
}

// Every shipped board with loops or two paths has its swaps rendered, and what is said of each is a
// figure: the hearing of the mean of both ends.
func TestSwapsOfLoopsAndPaths(t *testing.T) {
	for _, c := range []struct {
		file, take string
	}{
		{"loops-in-another-order", "as it is"},
		{"two-amplifiers", "one upside down, in mono"},
		{"two-amplifiers", "both the same way"},
	} {
		chain := chaintest.TakeOf(t, chaintest.ShippedFile(t, c.file), c.take)
		m, err := Swaps(t.Context(), chain, scaled(plucks(1, 1), 6), measureRate, section.Draft, func() {})
		if err != nil {
			t.Fatal(err)
		}
		if len(m.Swaps) == 0 {
			t.Errorf("%s, %s: no swaps", c.file, c.take)
		}
		for _, s := range m.Swaps {
			if s.Heard == HeardUnknown || s.Sentence == "" || !s.Of(measures.NoiseChange).OK() {
				t.Errorf("%s, %s: %s and %s: %s, %s", c.file, c.take, s.First, s.Second, s.Heard, s.Sentence)
			}
		}
	}
}
