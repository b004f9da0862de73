package measures

import (
	"context"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// OverHiss and OverHum are how far the playing stands over what is heard in its pauses, each part
// by itself.
var (
	OverHiss = overNoise("over_hiss_db", "playing over hiss", "what is noise and no tone", false)
	OverHum  = overNoise("over_hum_db", "playing over hum", "mains hum and the ripple of supplies", true)
)

func overNoise(key, name, what string, tones bool) *Measure {
	return &Measure{
		Key: key, Name: name, Unit: "dB(A)", Better: Higher, Digits: 1,
		Definition: "A-weighted level (IEC 61672-1) of the take over that of " + what + " when nobody plays",
		OfPlayed: func(_ context.Context, p Played) (Figure, error) {
			level := p.OfEnd("A-weighted level", func(x []float64) Figure {
				if f := Unplayed(x); !f.OK() {
					return f
				}
				rms, err := measure.AWeighted(x, p.Rate())
				return Read(dsp.ToDB(rms), err)
			})
			part, err := p.NoisePart(tones)
			if err != nil {
				return Read(0, err), nil
			}
			return level.Minus(Level(part, "there is none")), nil
		},
	}
}

// LoudnessAtEnd is how loud the recording comes out of the last jack.
var LoudnessAtEnd = &Measure{
	Key: "loudness_at_end_lufs", Name: "loudness at the end", Unit: "LUFS", Better: Higher, Digits: 1,
	Definition: "ITU-R BS.1770-5, integrated, at out, with 1 V as full scale",
	OfPlayed: func(_ context.Context, p Played) (Figure, error) {
		return p.OfEnd("loudness", func(x []float64) Figure {
			if f := Unplayed(x); !f.OK() {
				return f
			}
			return Read(measure.Loudness(x, p.Rate()))
		}), nil
	},
}
