package experiment

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/file"
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
	if err != nil || !strings.Contains(string(text), `"first":"fuzz","second":"buffer","apart":1,"order":["buffer","fuzz","echo","plate"],"a":0,"b":`) {
		t.Errorf("as JSON (%v): %.300s", err, text)
	}
}

// Nothing of the board is put behind the power of an amplifier, and neither that nor a loudspeaker
// in front of it; a preamplifier changes places, which puts into its loop what was in front of it.
// Blocks that all stand behind the power are a mixer's, and change places. What is in a switcher's
// loop stays.
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
	all, out := swapsOf(f.Chains()[0])
	var pairs []string
	for _, s := range all {
		pairs = append(pairs, s.First+" "+s.Second)
	}
	if got, want := strings.Join(pairs, ", "), "echo front, desk hall"; got != want {
		t.Errorf("swaps: %s; want %s", got, want)
	}
	loops, power := 0, 0
	for _, o := range out {
		switch o.Why {
		case InALoop:
			loops++
		case AtPower:
			power++
		}
	}
	// Of seven blocks, 21 pairs: six with the drive, two swaps.
	if loops != 6 || power != 13 || len(out) != 19 {
		t.Errorf("left out: %d in a loop and %d at the power, of %d; want 6 and 13 of 19", loops, power, len(out))
	}
	m := SwapMap{Order: orderOf(f.Chains()[0]), Swaps: all, LeftOut: out}
	if got := strings.Join(m.Blocks(), " "); got != "echo front desk hall" {
		t.Errorf("blocks that change places: %s", got)
	}
	if text := strings.Join(m.Omitted(), " "); !strings.Contains(text, "13 swaps that nobody could wire") || !strings.Contains(text, "6 swaps with what is in a switcher's loops") {
		t.Errorf("said: %s", text)
	}
}
