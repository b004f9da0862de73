package measures

import (
	"context"
	"math"

	"drywire/dsp"
)

// Late is how loud echoes and reverbs are beside what is played: the clarity of rooms for music,
// turned round (ISO 3382-1, C80, from memory), of a burst in place of an impulse, which a chain
// that distorts does not have.
var Late = &Measure{
	Name: "late sound", Unit: "dB", Digits: 1,
	Definition: "energy at out later than 80 ms after the beginning of a burst of 20 ms at 997 Hz over that before, in 1.5 s (after ISO 3382-1); what is under -60 dB counts as that",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		if t.Tail() < early {
			return Figure{Value: faintest}, nil // nothing comes late, and it need not be played
		}
		x, err := t.Play(ctx, "burst", AsItIs, func() []float64 { return burst(t.Rate(), t.Tone()) })
		if err != nil {
			return Figure{}, err
		}
		return lateness(x, t.Rate()), nil
	}}

// LateChange is how much louder they are in the other take.
var LateChange = &Measure{Key: "late_db", Name: "late sound", Unit: "dB", Digits: 1,
	Definition: "energy later than 80 ms after the beginning of a burst of 20 ms over that before (after ISO 3382-1)",
	Facts:      []*Measure{Late},
	Change:     func(s *Sides) Figure { return s.fact(Late) }}

const (
	early    = 0.08 // s
	lateTime = 1.5  // s that are looked at
	faintest = -60  // dB
)

// burst is 20 ms of a tone that swells and falls as a raised cosine.
func burst(rate float64, tone dsp.Tone) []float64 {
	x := make([]float64, int(lateTime*rate))
	n := int(0.02 * rate)
	for k, v := range Sines(n, rate, tone) {
		x[k] = v * (0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/float64(n)))
	}
	return x
}

// lateness is the ratio in a signal that begins with the burst. What stands still at its end is
// taken off: a voltage at rest is no sound.
func lateness(x []float64, rate float64) Figure {
	if f := Unplayed(x); !f.OK() {
		return f
	}
	rest := x[len(x)-1]
	var before, after float64
	for k, v := range x {
		v -= rest
		if float64(k) < early*rate {
			before += v * v
		} else {
			after += v * v
		}
	}
	if before == 0 {
		return None("nothing comes through within 80 ms")
	}
	return Figure{Value: math.Max(faintest, dsp.ToDB(math.Sqrt(after/before)))}
}
