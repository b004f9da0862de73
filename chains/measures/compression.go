package measures

import (
	"context"
	"strings"

	"drywire/dsp"
)

// Compression is by how many dB the output rises less than the input over the last 12 dB.
var Compression = &Measure{Key: "compression_db", Name: "compression", Heading: "compression", Unit: "dB", Digits: 1,
	Definition: "by how much the output rises less than the input over the last 12 dB up to the test tone: 0 is linear, 12 is hard limiting",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		full, err := SteadyLevel(ctx, t, t.Tone())
		if err != nil {
			return full, err
		}
		soft, err := SteadyLevel(ctx, t, dsp.Tone{Hz: t.Tone().Hz, Volts: t.Tone().Volts * dsp.Volt(dsp.FromDB(-12))})
		return Figure{Value: 12}.Minus(full.Minus(soft)), err
	},
	Says: func(text string, _ Values) string {
		if negative(text) {
			return text[1:] + " more than the last 12 dB: it expands"
		}
		return text + " of the last 12 dB"
	}}

func negative(text string) bool { return strings.HasPrefix(text, "-") }
