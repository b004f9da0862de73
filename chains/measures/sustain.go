package measures

import (
	"context"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Sustain is how long a note rings, by this project's own definition.
var Sustain = &Measure{Key: "sustain_seconds", Name: "sustain", Heading: "sustain", Unit: "s", Better: Higher, Step: 0.02, Digits: 2,
	Brief:      "a held note rings long",
	Definition: "time in which a note of 196 Hz that falls by 20 dB in 2 s at the guitar falls by 20 dB at out",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		note := func() []float64 { return fallingNote(t.Rate(), t.Tone().Volts) }
		x, err := t.Play(ctx, "note's beginning", AsItIs, func() []float64 { return note()[:int(soon*t.Rate())] })
		if err != nil {
			return Figure{}, err
		}
		if f := fallTime(x, t.Rate()); f.OK() { // most notes are over by then
			return f, nil
		}
		if x, err = t.Play(ctx, "note", AsItIs, note); err != nil {
			return Figure{}, err
		}
		return fallTime(x, t.Rate()), nil
	},
	Says: func(text string, _ Values) string {
		return fmt.Sprintf("%s for 20 dB; the source takes %.2f s", text, NoteFalls)
	}}

// SustainChange is how much longer it rings in the other take.
var SustainChange = &Measure{Key: "sustain_seconds", Name: "sustain", Unit: "s", Heading: "sustain", Digits: 2,
	Definition: "time for 20 dB of a falling note",
	Facts:      []*Measure{Sustain},
	Change:     func(s *Sides) Figure { return s.fact(Sustain) }}

// The note.
const (
	noteHz    = 196.0 // the open third string
	NoteFalls = 2.0   // s for 20 dB at the source
	noteTime  = 8.0   // s that are looked at
	soon      = 3.0   // s that are looked at first
)

func fallingNote(rate float64, peak dsp.Volt) []float64 {
	x := Sines(int(noteTime*rate), rate, dsp.Tone{Hz: noteHz, Volts: peak})
	for k := range x {
		x[k] *= dsp.FromDB(-20 * float64(k) / (NoteFalls * rate))
	}
	return x
}

// fallTime is the time from the loudest 50 ms to the first 50 ms that are 20 dB softer, between the
// middles of both, in steps of 5 ms.
func fallTime(x []float64, rate float64) Figure {
	const width, step, fall = 0.05, 0.005, 20.0
	n, hop := int(width*rate), int(step*rate)
	if len(x) < 2*n {
		return None("%s: %.2g s", measure.TooShort, float64(len(x))/rate)
	}
	var level []float64
	for at := 0; at+n <= len(x); at += hop {
		sum := 0.0
		for _, v := range x[at : at+n] {
			sum += v * v
		}
		level = append(level, math.Sqrt(sum/float64(n)))
	}
	top := 0
	for k, v := range level {
		if v > level[top] {
			top = k
		}
	}
	if level[top] < Silence {
		return None("%s", measure.Silence)
	}
	least := 0.0
	for k := top; k < len(level); k++ {
		down := dsp.ToDB(level[top] / math.Max(level[k], Silence))
		if down >= fall {
			// Between two steps, along a straight line in dB.
			part := 1.0
			if before := dsp.ToDB(level[top] / math.Max(level[k-1], Silence)); down > before {
				part = (fall - before) / (down - before)
			}
			return Figure{Value: (float64(k-1-top) + part) * float64(hop) / rate}
		}
		least = math.Max(least, down)
	}
	return None("falls by %.1f dB in the %.0f s that are looked at", least, float64(len(x))/rate)
}
