package chains_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Two amplifiers cancel where one turns the signal over once more than the other: players who split
// their signal know it (common practice, no source). Mixed to one loudspeaker, the pair that pulls
// and pushes is at least 6 dB softer than the pair that pushes together; check tells which is
// which.
func TestTwoAmplifiersCancelInMono(t *testing.T) {
	const rate = 48000
	f := chaintest.ShippedFile(t, "two-amplifiers")
	same, turned := chaintest.TakeOf(t, f, "both the same way, in mono"), chaintest.TakeOf(t, f, "one upside down, in mono")
	play := func(c *board.Chain) []float64 {
		out := rendertest.Render(t, c, rate, section.Draft, render.Volts(chaintest.Chord(rate/2, rate)), "out")[0]
		return out[rate/10:]
	}
	drop := dsp.ToDB(chaintest.Rms(play(same)) / chaintest.Rms(play(turned)))
	a, err := experiment.CancellationOf(same, t.Context(), rate)
	if err != nil {
		t.Fatal(err)
	}
	b, err := experiment.CancellationOf(turned, t.Context(), rate)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("one loudspeaker: %.1f dB softer with one amplifier upside down; correlation %.2f and %.2f", drop, a.Correlation, b.Correlation)
	if drop < 6 {
		t.Errorf("%.1f dB softer, want 6 or more", drop)
	}
	if a.Cancels() || !b.Cancels() {
		t.Errorf("check: the same way %v, one upside down %v", a, b)
	}
	if math.Abs(a.Correlation+b.Correlation) > 1e-6 {
		t.Errorf("a polarity changes the correlation's sign and nothing else: %v and %v", a.Correlation, b.Correlation)
	}
}

// The reference board is what it says: sixteen pedals, a switcher, two amplifiers, six presets, two
// guitars. Nothing on it starves, no output is overloaded, and its two amplifiers add up in every
// take.
func TestReferenceBoard(t *testing.T) {
	f := chaintest.ShippedFile(t, "reference-board")
	pedals, switchers := 0, 0
	for _, b := range f.Blocks {
		switch {
		case b.Kind.Name == board.SwitcherKind:
			switchers++
		case b.Power != "":
			pedals++
		}
	}
	if pedals != 16 || switchers != 1 || len(f.Blocks) != 16+1+6 || len(f.Presets) != 6 || len(f.Guitars)+1 != 2 {
		t.Errorf("%d pedals, %d switchers, %d blocks, %d presets, %d guitars", pedals, switchers, len(f.Blocks), len(f.Presets), len(f.Guitars)+1)
	}
	for _, o := range f.Plugged() {
		if len(o.Blocks) == 0 || len(o.Warnings) > 0 {
			t.Errorf("%s feeds %v: %v", o.Output, o.Blocks, o.Warnings)
		}
	}
	chains := f.Chains()
	for _, c := range chains {
		if x, err := experiment.CancellationOf(c, t.Context(), 48000); err != nil || x.Cancels() {
			t.Errorf("%s: %v, %v", c.Take, x, err)
		}
	}
	all := chains[len(chains)-1]
	for _, b := range f.Blocks {
		found := b.Loops != nil
		for _, p := range all.Every() {
			found = found || p.Name == b.Name && !p.Off
		}
		if !found {
			t.Errorf("%s: %s is not in it", all.Take, b.Name)
		}
	}
}

// The large board is what it says: seventeen pedals, a switcher with twelve loops, six presets,
// three guitars, two supplies and two amplifiers. Nothing on it starves, no output is overloaded,
// no preset needs a hand, and its two amplifiers add up.
func TestBigBoard(t *testing.T) {
	f := chaintest.ShippedFile(t, "big-board")
	pedals, amplifiers := 0, 0
	for _, b := range f.Blocks {
		switch {
		case b.Kind.Drives:
			amplifiers++
		case b.Kind.Name != board.SwitcherKind && b.Kind.Place == blocks.OnTheBoard:
			pedals++
		}
	}
	if n := len(f.Switcher().Loops); pedals != 17 || n != 12 || len(f.Presets) != 6 || len(f.Guitars)+1 != 3 || len(f.Supplies) != 2 || amplifiers != 2 {
		t.Errorf("%d pedals, %d loops, %d presets, %d guitars, %d supplies, %d amplifiers", pedals, n, len(f.Presets), len(f.Guitars)+1, len(f.Supplies), amplifiers)
	}
	for _, o := range f.Plugged() {
		if len(o.Blocks) == 0 || len(o.Warnings) > 0 {
			t.Errorf("%s feeds %v: %v", o.Output, o.Blocks, o.Warnings)
		}
	}
	if h := f.ByHand(); len(h) > 0 {
		t.Errorf("%v", h)
	}
	for _, c := range f.Chains() {
		if x, err := experiment.CancellationOf(c, t.Context(), 48000); err != nil || x.Cancels() {
			t.Errorf("%s: %v, %v", c.Take, x, err)
		}
	}
}
