package blocks_test

import (
	"math"
	"slices"
	"testing"

	"drywire/blocks"
	"drywire/dsp/measure"
)

// One clean note: the octave is the strongest partial of the first voice, two octaves that of the
// second, and where the note is not mixed in it is gone. The levels in closed form are in the
// divider's own test; here a low-pass of 400 Hz comes after it.
func TestOctaveDown(t *testing.T) {
	const rate = 48000
	k := blocks.Find("octave-down")
	for _, f := range []float64{84, 112, 220, 440} {
		for _, c := range []struct {
			knob string
			by   float64
		}{{"octave", 2}, {"two_octaves", 4}} {
			s := k.Defaults().With("direct", 0).With("octave", 0).With(c.knob, 5)
			y := run(stageOf(t, k, s, rate), tone(2*rate, 0.3, f, rate))[rate:]
			low := partial(y, f/c.by, rate)
			for _, other := range []float64{1, 1.5, 2, 2.5, 3, 4} {
				if p := partial(y, other*f, rate); p > 0.9*low {
					t.Errorf("%s of %v Hz: %.4f V, and %.4f V at %v Hz", c.knob, f, low, p, other*f)
				}
			}
			if p := partial(y, f, rate); p > 1e-3*low {
				t.Errorf("%s of %v Hz: %.6f V of the note itself, %.4f V of the octave", c.knob, f, p, low)
			}
		}
	}
}

// Direct alone at 5 is what came in, bit for bit.
func TestOctaveDownDirect(t *testing.T) {
	k := blocks.Find("octave-down")
	x := tone(10000, 1, 440, 48000)
	if y := run(stageOf(t, k, k.Defaults().With("octave", 0), 48000), x); !slices.Equal(x, y) {
		t.Error("the direct sound is not the input, bit for bit")
	}
}

// A note gives one line in a semitone around its octave; a fifth, which stumbles, spreads: the
// share of the voice's power below the lower note that is further than a semitone from either
// note's octave.
func TestOctaveDownStumbles(t *testing.T) {
	const rate, f = 48000, 110
	k := blocks.Find("octave-down")
	st := func() blocks.Stage { return stageOf(t, k, k.Defaults().With("direct", 0), rate) }
	clear := func(x []float64) float64 {
		sp, err := measure.Welch(run(st(), x)[rate:], rate, 1<<15)
		if err != nil {
			t.Fatal(err)
		}
		near := func(f float64) float64 {
			semitone := math.Exp2(1.0 / 12)
			return sp.Power(f/semitone, f*semitone)
		}
		return (near(f/2) + near(f*0.75)) / sp.Power(10, 0.9*f)
	}
	one := tone(5*rate, 0.3, f, rate)
	two := tone(5*rate, 0.3, f*1.5*1.001, rate)
	for n := range two {
		two[n] += one[n]
	}
	clean, chord := clear(one), clear(two)
	t.Logf("out of tune: %.4f of the power for a note, %.4f for a fifth", 1-clean, 1-chord)
	if clean < 0.99 || 1-chord < 20*(1-clean) {
		t.Errorf("out of tune: %.4f of the power for a note, %.4f for a fifth; want under 0.01, and 20 times as much", 1-clean, 1-chord)
	}
}
