package measures

import "drywire/dsp/measure"

// Loudness is how loud the recording is at a jack.
var Loudness = &Measure{
	Key: "loudness_lufs", Name: "loudness", Unit: "LUFS", Heading: "loudness", Digits: 1,
	Definition: "ITU-R BS.1770-5, integrated, with 1 V as full scale",
	At: func(j *Jack) Figure {
		return j.level(func(measure.Levels) (float64, error) { return measure.Loudness(j.X, j.Rate) })
	},
}

// LevelChange is how much louder the other take comes out of the chain.
var LevelChange = &Measure{
	Key: "level_lu", Name: "level", Unit: "LU", Heading: "level", Digits: 1,
	Definition: "loudness (ITU-R BS.1770-5) before matching",
	Change:     func(s *Sides) Figure { return s.B.Before.Minus(s.A.Before) },
}
