package render_test

import (
	"context"
	"slices"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp/section"
)

const memoBlocks = "fuzz: {kind: fuzz}; one: {kind: buffer}; two: {kind: buffer}; pedal: {kind: volume}"

// What is remembered is what a render gives, bit for bit.
func TestMemoEqualsRender(t *testing.T) {
	in := chaintest.Tone(6000, 48000, 220, 0.2)
	m := render.NewMemo(in, 48000, section.Normal, 1<<30)
	c := chaintest.Chain(t, memoBlocks, "one, fuzz, two, pedal")
	w := render.PlanOf(c, 48000, section.Normal)
	for _, jack := range c.Jacks() {
		want := rendertest.Render(t, c, 48000, section.Normal, render.Volts(in), jack)[0]
		got, err := m.Signal(context.Background(), w, jack)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want) {
			for k := range got {
				if got[k] != want[k] {
					t.Errorf("%s: sample %d is %v, rendered %v", jack, k, got[k], want[k])
					break
				}
			}
		}
	}
}

// The unit of reuse is the section: what is behind a stage costs nothing where only something after
// it changes, and a fuzz before another load is another signal.
func TestMemoComputesOnce(t *testing.T) {
	in := chaintest.Tone(2000, 48000, 220, 0.2)
	cost := func(m *render.Memo, order string) int64 {
		before := m.Computed()
		w := render.PlanOf(chaintest.Chain(t, memoBlocks, order), 48000, section.Draft)
		if _, err := m.Signal(context.Background(), w, "out"); err != nil {
			t.Fatal(err)
		}
		return m.Computed() - before
	}
	m := render.NewMemo(in, 48000, section.Draft, 1<<30)
	for _, c := range []struct {
		order string
		want  int64 // section and stage outputs that have to be computed
		why   string
	}{
		{"fuzz, one, two", 5, "guitar and fuzz, stage, cable, stage, out"},
		{"fuzz, one, two", 0, "all of it is known"},
		{"fuzz, two, one", 0, "the two buffers are alike, whatever their names"},
		{"fuzz, one, pedal", 1, "the fuzz into a buffer and the buffer are known; what the buffer drives is new"},
		{"fuzz, pedal, one", 3, "the fuzz has another load now: guitar and fuzz, stage, out"},
		{"one, fuzz, two", 5, "nothing is shared"},
	} {
		if got := cost(m, c.order); got != c.want {
			t.Errorf("%s: computed %d signals, want %d (%s)", c.order, got, c.want, c.why)
		}
	}
	small := render.NewMemo(in, 48000, section.Draft, 1)
	if cost(small, "fuzz, one, two") != 5 || cost(small, "fuzz, one") == 0 {
		t.Error("a memo without room must compute again")
	}
}

func TestMemoStopsAndGoesOn(t *testing.T) {
	in := chaintest.Tone(2000, 48000, 220, 0.2)
	m := render.NewMemo(in, 48000, section.Draft, 1<<30)
	w := render.PlanOf(chaintest.Chain(t, memoBlocks, "fuzz, one"), 48000, section.Draft)
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := m.Signal(ended, w, "out"); err == nil {
		t.Fatal("a computation that was stopped gave a signal")
	}
	if _, err := m.Signal(context.Background(), w, "out"); err != nil {
		t.Fatalf("after a stopped computation: %v", err)
	}
}

// So it is of a switcher and of both paths of a split.
func TestMemoOfABoard(t *testing.T) {
	in := chaintest.Tone(6000, 48000, 220, 0.2)
	m := render.NewMemo(in, 48000, section.Draft, 1<<30)
	f := chaintest.ShippedFile(t, "reference-board")
	f.Recording = board.Recording{FullScale: 1}
	c := chaintest.TakeOf(t, f, "riff")
	w := render.PlanOf(c, 48000, section.Draft)
	jacks := []string{"board.send-3", "board.out", "out.left", "out.right"}
	want := rendertest.Render(t, c, 48000, section.Draft, render.Volts(in), jacks...)
	for k, jack := range jacks {
		got, err := m.Signal(context.Background(), w, jack)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want[k]) {
			t.Errorf("%s differs from the render by %.1f dB", jack, chaintest.Residual(got, want[k]))
		}
	}
}
