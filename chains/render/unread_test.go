package render_test

import (
	"context"
	"slices"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/dsp/section"
)

// What no jack that is read depends on is not computed, and is missed by nobody: of two distortions
// after a split the one that is read sounds as beside the other, and as long.
func TestUnreadPathIsNotComputed(t *testing.T) {
	f := chaintest.Board(t, `
blocks: {a: {kind: distortion}, b: {kind: distortion, distortion: 9}, echo: {kind: delay}}
order: [{split: {left: [a], right: [b, echo]}}]`)
	in := chaintest.Tone(4000, 48000, 220, 0.3)
	run := func(jacks ...string) (*render.Renderer, []float64) {
		r, err := render.PlanOf(f.Chains()[0], 48000, section.Draft).Renderer(jacks...)
		if err != nil {
			t.Fatal(err)
		}
		var left []float64
		if err := r.Run(context.Background(), render.Volts(in), 0, func(taps [][]float64) error {
			left = append(left, taps[0]...)
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return r, left
	}
	both, x := run("out.left", "out.right")
	one, y := run("out.left")
	if !slices.Equal(x, y) {
		t.Error("it sounds otherwise alone")
	}
	if n, m := len(both.Reports()), len(one.Reports()); n != 2 || m != 1 {
		t.Errorf("%d and %d circuits were solved, want 2 and 1", n, m)
	}
	if both.Tail() != one.Tail() {
		t.Errorf("it rings for %v s alone, and %v s beside the other", one.Tail(), both.Tail())
	}
}
