package measures

import (
	"context"
	"fmt"
	"math"

	"drywire/dsp/measure"
)

// What players call dull, harsh, thin, boomy and muddy: how much there is in a band against all the
// rest, less the same in the dry guitar. So it is judged at equal loudness, and a bright guitar is
// not blamed on a pedal. The bands are those of mixing handbooks: common practice, no source.
var (
	Brightness = balance("brightness", 2e3, 8e3, Higher)
	Bite       = balance("bite", 2.5e3, 6.3e3, Lower)
	Bass       = balance("bass", 80, 250, Higher)
	Boom       = balance("boom", 40, 160, Lower)
	Mud        = balance("mud", 200, 500, Lower)
)

func balance(name string, low, high float64, better Better) *Measure {
	share := func(rate float64) func(x []float64) Figure {
		return func(x []float64) Figure {
			if f := Unplayed(x); !f.OK() {
				return f
			}
			s, err := Spectrum(x, rate)
			if err != nil {
				return Read(0, err)
			}
			inside := s.Power(low, high)
			outside := s.Power(measure.BandLow, measure.BandHigh) - inside
			if !(outside > 0) {
				return None("nothing outside of %g to %g Hz", low, high)
			}
			return Level(math.Sqrt(inside/outside), fmt.Sprintf("nothing from %g to %g Hz", low, high))
		}
	}
	return &Measure{
		Key: name + "_db", Name: name, Unit: "dB", Better: better, Digits: 1,
		Definition: fmt.Sprintf("power from %g to %g Hz over the rest from 20 Hz to 20 kHz, at out, less the same in the recording", low, high),
		OfPlayed: func(_ context.Context, p Played) (Figure, error) {
			of := share(p.Rate())
			return p.OfEnd(name, of).Minus(p.OfRecording(name, of)), nil
		},
	}
}
