package render

import (
	"context"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/dsp/section"
)

// A store keeps to its budget, lets go of what was used longest ago, and drops what belongs
// together.
func TestStore(t *testing.T) {
	s := NewStore(100)
	has := func(want string) {
		t.Helper()
		got := ""
		for _, key := range []string{"a", "b", "c", "d"} {
			if s.Holds(key + " of") {
				got += key
			}
		}
		if got != want {
			t.Errorf("%q are kept, want %q", got, want)
		}
	}
	for _, key := range []string{"a", "b", "c"} {
		s.Keep(key+" of", key, key, 40)
	}
	has("bc")
	if v, ok := s.Get("b"); !ok || v != "b" {
		t.Errorf("b is %v, %v", v, ok)
	}
	s.Keep("d of", "d", "d", 40) // c has been used longest ago
	has("bd")
	s.Keep("d of", "d", "d", 60) // in its own place
	if has("bd"); s.Used() != 100 {
		t.Errorf("%d bytes are in use, want 100", s.Used())
	}
	s.Keep("b of", "another", "x", 1) // b makes way
	s.Drop("b of")
	if has("d"); s.Used() != 60 {
		t.Errorf("%d bytes are in use, want 60", s.Used())
	}
	s.Keep("a of", "a", "a", 500)
	has("a") // more than the budget, but what was kept last
	s.Keep("b of", "b", "b", 40)
	s.SetAside(60)
	if has("b"); s.Used() != 40 {
		t.Errorf("%d bytes are in use, want 40", s.Used())
	}
	s.SetAside(1) // what is set aside is not for keeping, not even for what was kept last
	has("")
	s.Keep("c of", "c", "c", 40)
	has("")
	s.SetAside(-61)
	s.Keep("d of", "d", "d", 100)
	has("d")
}

// What a memo takes at once is foretold: the recording, and the signals that are alive together.
func TestNeeds(t *testing.T) {
	const text = "drywire: 1\nrecording: {sample: riff}\nblocks: {a: {kind: buffer}, b: {kind: buffer}, c: {kind: buffer}, d: {kind: buffer}}\n"
	for order, want := range map[string]int{
		"[a, b, c, d]": 2,
		// the left one is held while the right one is made of two
		"[{split: {left: [a, b], right: [c, d], mix: mono}}]":   3,
		"[a, {split: {left: [b, d], right: [c], mix: stereo}}]": 2, // one end after the other
	} {
		plan := PlanOf(chaintest.TakeOf(t, chaintest.MustParse(t, text+"order: "+order), "as written"), 48000, section.Draft)
		if got := plan.Needs(1000, plan.Chain.Ends()...); got != 8*(1+want)*(1000+2*Margin) {
			t.Errorf("%s: %d bytes, %.2f signals; want %d and the recording", order, got, float64(got)/8/(1000+2*Margin), want)
		}
	}
}

// Memos of one store share its budget and nothing else, and what one of them is of takes its
// signals along.
func TestMemosOfOneStore(t *testing.T) {
	const frames = 1000
	f := chaintest.MustParse(t, "drywire: 1\nrecording: {sample: riff}\nblocks: {a: {kind: buffer}, b: {kind: buffer}}\norder: [a, b]\n")
	plan := PlanOf(chaintest.TakeOf(t, f, "as written"), 48000, section.Draft)
	s := NewStore(1 << 30)
	one := s.Memo("one", frames, func([]float64) {}, 48000, section.Draft)
	two := s.Memo("two", frames, func(x []float64) { copy(x, chaintest.Tone(frames, 48000, 220, 0.2)) }, 48000, section.Draft)
	for _, m := range []*Memo{one, two} {
		x, err := m.Signal(context.Background(), plan, "out")
		if err != nil {
			t.Fatal(err)
		}
		if silent := x[frames/2] == 0; silent != (m == one) {
			t.Error("a memo has the signal of another")
		}
	}
	if one.Computed() != two.Computed() || s.Computed() != one.Computed()+two.Computed() {
		t.Errorf("%d and %d computed, %d altogether", one.Computed(), two.Computed(), s.Computed())
	}
	all := s.Used()
	s.Drop("one")
	if s.Used() != all/2 || s.Holds("one") {
		t.Errorf("%d bytes of %d are left without the half", s.Used(), all)
	}
	if _, ok := two.Known(plan, "out"); !ok {
		t.Error("what is of the other has gone as well")
	}
}
