package measures

import (
	"context"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Ceiling is the highest voltage that the block behind a jack takes cleanly, as Ceilings of package
// experiment finds it: IEC 60268-3's distortion-limited voltage (from memory); 1 %: common
// practice, no source.
var Ceiling = &Measure{Key: "ceiling_volts", Name: "ceiling", Unit: "V", Better: Higher, Heading: "ceiling", Digits: Significant,
	Definition: "peak of a steady 1 kHz tone that comes out of the block that the jack leads into with 1 % of distortion",
	At:         func(j *Jack) Figure { return j.Ceiling }}

// Headroom is how far the peak is under the ceiling.
var Headroom = &Measure{Key: "headroom_db", Name: "headroom", Unit: "dB", Better: Higher, Heading: "headroom", Digits: 1,
	Definition: "from the peak up to the ceiling; negative: over the ceiling",
	At: func(j *Jack) Figure {
		if !j.Ceiling.OK() {
			return j.Ceiling
		}
		return Figure{Value: dsp.VoltsToDBV(j.Ceiling.Value)}.Minus(PeakDBV.At(j))
	}}

// OverShare is how much of the time the signal is over the ceiling.
var OverShare = &Measure{Key: "over_share", Name: "over the ceiling", Unit: "share", Better: Lower, Heading: "over it", Digits: 1,
	Definition: "of the time over the ceiling, 0 to 1",
	At: func(j *Jack) Figure {
		if !j.Ceiling.OK() {
			return j.Ceiling
		}
		return j.level(func(measure.Levels) (float64, error) {
			over := 0
			for _, v := range j.X {
				if math.Abs(v) > j.Ceiling.Value {
					over++
				}
			}
			return float64(over) / float64(len(j.X)), nil
		})
	}}

// LeastHeadroom is how far a take stays under its ceilings: see its definition.
var LeastHeadroom = &Measure{Name: "headroom", Unit: "dB", Better: Higher, Step: 0.1, Digits: 1,
	Brief:      "no stage comes near its ceiling",
	Definition: "the least, over all stages with a ceiling, of that ceiling over the highest peak that goes in or comes out",
	OfPlayed: func(ctx context.Context, p Played) (Figure, error) {
		least, silent := None("no stage has a ceiling"), false
		err := p.Stages(ctx, func(ceiling, peak float64) {
			if peak < Silence {
				silent = true
			} else if db := dsp.ToDB(ceiling / peak); !least.OK() || db < least.Value {
				least = Figure{Value: db}
			}
		})
		if silent {
			least = None("%s", measure.Silence)
		}
		return least, err
	}}
