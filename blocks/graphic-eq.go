package blocks

import (
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/filter"
)

// graphicEQ is ten bands an octave apart.
var graphicEQ = Kind{
	Name:  "graphic-eq",
	Brief: "graphic equaliser: ten bands an octave apart, of constant width",
	Models: []string{
		"1 MΩ in, an input amplifier, ten filters of second order, a level control, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"A band's width stays the same however far its slider is moved, and a cut is the mirror of a boost.",
		"The noise of the amplifiers and of the ten filters, with the sliders in the middle, raised by the level.",
	},
	Ignores: []string{
		"Clipping between the bands: a boost that a later band takes back does not clip here.",
		"The sliders' influence on the noise.",
		"The filters are digital: near half the sample rate their curves are squeezed, by which the bands at 8 and 16 kHz are narrower than analogue ones.",
	},
	Sources: []string{
		"Curve of a band: (s² + g·s/Q + 1)/(s² + s/Q + 1), for a cut the inverse of the boost; Q of an octave, √2: common practice, no source.",
		"Middle frequencies: octaves from 31.25 Hz to 16 kHz, common practice, no source.",
		"Noise of twelve op-amps of 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            20e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs:           append(graphicBands(), Knob{Name: "level", Brief: "gain after the bands", Unit: dsp.Decibels, Min: -15, Max: 15, Default: 0}, supplyKnob(9, 9, 18), bypassKnob("true")),
	Build: func(b *Bench, s Settings) {
		supply, level := s.Number("supply"), dsp.FromDB(s.Number("level"))
		equalize := func() Core {
			var bands filter.Cascade
			for k, f := range graphicFrequencies {
				if gain := s.Number(graphicNames[k]); gain != 0 {
					bands = append(bands, constantQ(dsp.Hertz(f), gain, math.Sqrt2, b.Rate))
				}
			}
			return &equalizing{in: b.rails(supply), bands: bands, level: level, out: b.rails(supply)}
		}
		b.highInput()
		b.output(Stage{
			Name:    "bands",
			New:     equalize,
			Noise:   root(math.Sqrt(11)*opAmpNoise*level, opAmpNoise), // input amplifier and ten bands before the level
			Ceiling: swing(supply),
		})
	},
}

var (
	graphicFrequencies = []float64{31.25, 62.5, 125, 250, 500, 1e3, 2e3, 4e3, 8e3, 16e3}
	graphicNames       = []string{"b31", "b62", "b125", "b250", "b500", "b1k", "b2k", "b4k", "b8k", "b16k"}
)

func graphicBands() []Knob {
	var knobs []Knob
	for k, f := range graphicFrequencies {
		knobs = append(knobs, Knob{
			Name: graphicNames[k], Brief: fmt.Sprintf("gain of the band at %v Hz", f),
			Unit: dsp.Decibels, Min: -12, Max: 12, Default: 0,
		})
	}
	return knobs
}

// constantQ is a peak whose poles (for a boost) or zeros (for a cut) have the given Q whatever the
// gain: the cookbook's peak has poles of A·q and zeros of q/A, where A² is the gain.
func constantQ(f dsp.Hertz, gain, q float64, rate dsp.Hertz) *filter.Biquad {
	return filter.Peak(f, gain, q*math.Pow(10, -math.Abs(gain)/40), rate)
}
