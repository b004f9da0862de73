package measures

import (
	"context"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// CleanUp is by how much the distortion falls when the guitar is turned down.
var CleanUp = &Measure{Key: "clean_up_db", Name: "clean-up", Heading: "clean-up", Unit: "dB", Better: Higher, Step: 0.5, Digits: 1,
	Brief:      "the distortion goes when the guitar's volume is rolled back",
	Definition: "distortion with the guitar's volume at 10 over that with it at 2",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		full, err := t.Made(ctx, 10)
		if err != nil {
			return full, err
		}
		rolled, err := t.Made(ctx, 2)
		switch {
		case err != nil || !full.OK() || !rolled.OK():
			return full.Minus(rolled), err
		case full.Value < barely:
			return None("nothing to clean up: under %g %% of distortion", barely), nil
		}
		return Figure{Value: dsp.ToDB(full.Value / math.Max(rolled.Value, barely))}, nil
	},
	Says: func(text string, f Values) string {
		word := "less"
		if negative(text) {
			text, word = text[1:], "more"
		}
		return fmt.Sprintf("%s %s distortion at guitar volume 2 (%s %%) than at 10 (%s %%)", text, word,
			RolledTHD.Format(f.Of(RolledTHD)), FullTHD.Format(f.Of(FullTHD)))
	}}

// FullTHD and RolledTHD are what that is the ratio of.
var (
	FullTHD   = thdWith("thd_full", 10)
	RolledTHD = thdWith("thd_rolled", 2)
)

func thdWith(key string, volume float64) *Measure {
	return &Measure{
		Key: key, Name: fmt.Sprintf("THD at %g", volume), Unit: "%", Digits: Significant,
		Definition: fmt.Sprintf("distortion, in percent, with the guitar's volume at %g", volume),
		OfTake:     func(ctx context.Context, t Take) (Figure, error) { return t.Made(ctx, volume) },
	}
}

// RollDown is how much softer it gets.
var RollDown = &Measure{Key: "roll_down_db", Name: "roll-down", Unit: "dB", Digits: 1,
	Definition: "by how much the fundamental of the test tone at out gets softer from the guitar's volume 10 to 2",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		level := func(volume float64) (Figure, error) {
			x, err := steady(ctx, t, volume, t.Tone())
			if err != nil {
				return Figure{}, err
			}
			h, err := measure.FitHarmonics(x, t.Rate(), float64(t.Tone().Hz), 10)
			if err != nil {
				return Read(0, err), nil
			}
			return Read(dsp.ToDB(h.Amplitude[0]), nil), nil
		}
		loud, err := level(10)
		if err != nil {
			return loud, err
		}
		soft, err := level(2)
		return loud.Minus(soft), err
	}}
