package experiment

import (
	"math"
	"testing"

	"drywire/chains/board"
)

// A sine that is cut off for 4 ms: the gap is that, and the click is the step at the cut, which a
// high-pass lets through at first (closed form: all of it; a filter of samples at 48 kHz, 1.6 dB
// less). Cut at its peak it is as high as the playing; cut where it crosses zero only its slope
// breaks off, ω/ω0 of it and less: 330 Hz against 2 kHz, under -15.6 dB. Without a cut there is
// neither.
func TestSwitched(t *testing.T) {
	const rate, hz, at = 48000, 330.0, 0.5
	play := func(phase, gap float64) []float64 {
		x := make([]float64, rate)
		for k := range x {
			if s := float64(k)/rate - at; s < 0 || s >= gap {
				x[k] = math.Sin(2*math.Pi*hz*s + phase)
			}
		}
		return x
	}
	for _, c := range []struct {
		phase, gap float64
		low, high  float64 // of the click, dB
	}{
		{math.Pi / 2, 4e-3, -2, 0.5},
		// back after 4 ms, which is 1.32 periods: at a phase of zero once more only for another sine
		{0, 5 / hz, -40, -15.6},
		{1, 0, -40, -15},
	} {
		x := play(c.phase, c.gap)
		s := switchedAt(board.Change{At: at, Preset: "loud"}, x, x, rate)
		t.Logf("phase %.2f, gap %.2f ms: %s", c.phase, 1e3*c.gap, s.Sentence())
		if math.Abs(s.Gap.Value-1e3*c.gap) > 0.05 {
			t.Errorf("a gap of %.3f ms is read as %.3f ms", 1e3*c.gap, s.Gap.Value)
		}
		if s.Click.Value < c.low || s.Click.Value > c.high {
			t.Errorf("phase %.2f, gap %.2f ms: click of %.2f dB, want %v to %v dB", c.phase, 1e3*c.gap, s.Click.Value, c.low, c.high)
		}
		if c.gap > 0 == (s.Click.Value <= s.Treble.Value+0.1) {
			t.Errorf("phase %.2f, gap %.2f ms: click of %.2f dB against %.2f dB of treble", c.phase, 1e3*c.gap, s.Click.Value, s.Treble.Value)
		}
	}
	if s := switchedAt(board.Change{At: 2}, play(0, 0), play(0, 0), rate); s.Click.Value != 0 || s.Gap.OK() {
		t.Errorf("a change after the end: %+v", s)
	}
}
