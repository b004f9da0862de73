package measures

import (
	"context"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Ceiling is the highest voltage that the block behind a jack takes before it breaks up, as
// Ceilings of package experiment finds it, where the sources are.
var Ceiling = &Measure{Key: "ceiling_volts", Name: "ceiling", Unit: "V", Better: Higher, Heading: "breaks\nup at", Digits: Significant,
	Definition: "peak of a steady 1 kHz tone with which the block that the jack leads into breaks up: 10 % of distortion, or 1 dB less gain than where it begins to colour",
	At:         func(j *Jack) Figure { return j.BreaksUp }}

// Colour is where that block begins to colour.
var Colour = &Measure{Key: "colour_volts", Name: "begins to colour", Unit: "V", Better: Higher, Heading: "colours\nfrom", Digits: Significant,
	Definition: "peak of that tone with which the block begins to colour: 1 % of distortion at its output (common practice)",
	At:         func(j *Jack) Figure { return j.Colours }}

// Headroom is how far the peak is under the ceiling.
var Headroom = &Measure{Key: "headroom_db", Name: "headroom", Unit: "dB", Better: Higher, Heading: "headroom", Digits: 1,
	Definition: "from the peak up to the ceiling; negative: over the ceiling, it breaks up",
	At:         func(j *Jack) Figure { return j.upTo(j.BreaksUp) }}

// CleanHeadroom is how far the peak is under where the block begins to colour.
var CleanHeadroom = &Measure{Key: "clean_headroom_db", Name: "clean headroom", Unit: "dB", Better: Higher, Heading: "clean", Digits: 1,
	Definition: "from the peak up to where the block begins to colour; negative: it colours",
	At:         func(j *Jack) Figure { return j.upTo(j.Colours) }}

// upTo is from the peak up to a voltage, in dB.
func (j *Jack) upTo(volts Figure) Figure {
	if !volts.OK() {
		return volts
	}
	return Figure{Value: dsp.VoltsToDBV(volts.Value)}.Minus(PeakDBV.At(j))
}

// OverShare is how much of the time the signal is over the ceiling.
var OverShare = &Measure{Key: "over_share", Name: "over the ceiling", Unit: "share", Better: Lower, Heading: "over it", Digits: 1,
	Definition: "of the time over the ceiling, 0 to 1",
	At: func(j *Jack) Figure {
		if !j.BreaksUp.OK() {
			return j.BreaksUp
		}
		return j.level(func(measure.Levels) (float64, error) {
			over := 0
			for _, v := range j.X {
				if math.Abs(v) > j.BreaksUp.Value {
					over++
				}
			}
			return float64(over) / float64(len(j.X)), nil
		})
	}}

// LeastHeadroom is the headroom of the block that has the least of those that are there to stay
// clean: all but fuzzes, overdrives and distortions, of which breaking up is what one wants. That
// an amplifier is to stay clean is taken for granted here.
var LeastHeadroom = &Measure{Name: "headroom", Unit: "dB", Better: Higher, Step: 0.1, Digits: 1,
	Brief:      "no block that should stay clean comes near to breaking up",
	Definition: "the least, over all blocks but fuzzes, overdrives and distortions, from the peak at the input up to the ceiling",
	OfPlayed: func(ctx context.Context, p Played) (Figure, error) {
		least, silent := None("no block that should stay clean has a ceiling"), false
		err := p.Blocks(ctx, func(breaksUp Figure, peak float64) {
			switch {
			case peak < Silence:
				silent = true
			case breaksUp.OK():
				if db := dsp.ToDB(breaksUp.Value / peak); !least.OK() || db < least.Value {
					least = Figure{Value: db}
				}
			}
		})
		if silent {
			least = None("%s", measure.Silence)
		}
		return least, err
	}}
