package measures

import (
	"slices"

	"drywire/dsp/measure"
)

// rounding is a null, in dB, that only the rounding of the arithmetic leaves: 20·log10(2^-53) is
// -319 for one operation.
const rounding = -200

// Null is what is left when one take is taken from the other.
var Null = &Measure{Key: "null_db", Name: "left over", Unit: "dB", Heading: "null", Digits: 1,
	Definition: "level of the difference re a, after taking a delay within 50 ms and polarity back",
	Change: func(s *Sides) Figure {
		if f := Apart(s.A, s.B); !f.OK() {
			return f
		}
		x, y, inverted := s.Aligned()
		if inverted {
			y = slices.Clone(y)
			for k, v := range y {
				y[k] = -v
			}
		}
		null, err := measure.NullOf(x, y)
		if err != nil {
			return Read(0, err)
		}
		f := Read(null.DB())
		if f.OK() && f.Value < rounding {
			return None("no difference but rounding")
		}
		return f
	}}
