package measures

import (
	"context"
	"math"
	"slices"

	"drywire/dsp"
	"drywire/dsp/measure"
)

var dynamicsKept = &Measure{Name: "dynamics kept", Unit: "dB", Better: Higher, Step: 0.1, Digits: 1,
	Brief:      "loud and soft stay apart",
	Definition: "from the 10 % to the 95 % point of the levels of 50 ms at out (those within 40 dB of the loudest), less the same in the recording",
	OfPlayed: func(_ context.Context, p Played) (Figure, error) {
		spread := func(x []float64) Figure { return levelSpread(x, p.Rate()) }
		return p.OfEnd("dynamics", spread).Minus(p.OfRecording("dynamics", spread)), nil
	}}

// levelSpread is from the 10 % to the 95 % point of the levels of 50 ms, in dB, of those within 40
// dB of the loudest.
func levelSpread(x []float64, rate float64) Figure {
	if f := Unplayed(x); !f.OK() {
		return f
	}
	n := int(0.05 * rate)
	var levels []float64
	for at := 0; at+n <= len(x); at += n {
		l, err := measure.MeasureLevels(x[at : at+n])
		if err != nil {
			return Read(0, err)
		}
		if l.RMS > 0 {
			levels = append(levels, dsp.ToDB(l.RMS))
		}
	}
	if len(levels) < 20 {
		return None("%s: %.2g s, needs 1 s of sound", measure.TooShort, float64(len(x))/rate)
	}
	slices.Sort(levels)
	loudest := levels[len(levels)-1]
	from, _ := slices.BinarySearch(levels, loudest-40)
	levels = levels[from:]
	at := func(share float64) float64 { return levels[int(math.Round(share*float64(len(levels)-1)))] }
	return Figure{Value: at(0.95) - at(0.10)}
}
