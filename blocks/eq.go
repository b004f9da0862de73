package blocks

import (
	"math"

	"drywire/dsp"
	"drywire/dsp/filter"
	"drywire/dsp/oversample"
)

// eq is an active equaliser of four bands.
var eq = Kind{
	Name:  "eq",
	Brief: "equaliser: low shelf, two peaks, high shelf",
	Models: []string{
		"1 MΩ in, an input amplifier, four filters of second order, an output amplifier, 100 Ω out; both amplifiers clip 1.5 V before their rails.",
		"The noise of the amplifiers and of the four filters, with the bands flat, raised by the level.",
	},
	Ignores: []string{
		"Clipping between the bands: a boost that a later band takes back does not clip here.",
		"The rails do not hold what lies above 20 kHz: with much treble boost the output can go past them there.",
		"The bands' influence on the noise.",
		"The filters are digital: near half the sample rate their curves are squeezed, by which a peak at 8 kHz is a little narrower than an analogue one.",
	},
	Sources: []string{
		"Curves: \"Cookbook formulae for audio EQ biquad filter coefficients\", W3C Note, 2021.",
		"Noise of six op-amps of 8 nV/√Hz: from memory.",
		"1 MΩ, 100 Ω, 1.5 V, the bands' frequencies: common practice, no source.",
	},
	InputImpedance:  "1 MΩ",
	OutputImpedance: "100 Ω",
	Draw:            15e-3,
	Volts:           [2]dsp.Volt{9, 18},
	Ground:          negative,
	Rejection:       60,
	Knobs: []Knob{
		bandGain("low", "gain below the low shelf's frequency"),
		bandFrequency("low_freq", "where the low shelf has half its gain (in dB)", 30, 500, 100),
		shelfQ("low_q"),
		bandGain("low_mid", "gain of the lower peak"),
		bandFrequency("low_mid_freq", "middle of the lower peak", 80, 2e3, 400),
		peakQ("low_mid_q"),
		bandGain("high_mid", "gain of the upper peak"),
		bandFrequency("high_mid_freq", "middle of the upper peak", 400, 8e3, 2e3),
		peakQ("high_mid_q"),
		bandGain("high", "gain above the high shelf's frequency"),
		bandFrequency("high_freq", "where the high shelf has half its gain (in dB)", 1e3, 16e3, 5e3),
		shelfQ("high_q"),
		{Name: "level", Brief: "gain after the bands", Unit: dsp.Decibels, Min: -20, Max: 20, Default: 0},
		supplyKnob(9, 9, 18),
		bypassKnob("true"),
	},
	Build: func(b *Bench, s Settings) {
		supply, level := s.Number("supply"), dsp.FromDB(s.Number("level"))
		f := func(knob string) dsp.Hertz { return dsp.Hertz(s.Number(knob)) }
		n := s.Number
		b.highInput()
		b.output(Stage{
			Name: "bands",
			New: func() Core {
				return &equalizing{
					in: b.rails(supply),
					bands: filter.Cascade{
						filter.LowShelf(f("low_freq"), n("low"), n("low_q"), b.Rate),
						filter.Peak(f("low_mid_freq"), n("low_mid"), n("low_mid_q"), b.Rate),
						filter.Peak(f("high_mid_freq"), n("high_mid"), n("high_mid_q"), b.Rate),
						filter.HighShelf(f("high_freq"), n("high"), n("high_q"), b.Rate),
					},
					level: level,
					out:   b.rails(supply),
				}
			},
			// Input amplifier and four bands before the level, the output amplifier after it.
			Noise:   root(math.Sqrt(5)*opAmpNoise*level, opAmpNoise),
			Ceiling: swing(supply),
		})
	},
}

func bandGain(name, brief string) Knob {
	return Knob{Name: name, Brief: brief, Unit: dsp.Decibels, Min: -18, Max: 18, Default: 0}
}

func bandFrequency(name, brief string, lo, hi, at float64) Knob {
	return Knob{Name: name, Brief: brief, Unit: dsp.Hertzes, Min: lo, Max: hi, Default: at}
}

func shelfQ(name string) Knob {
	return Knob{Name: name, Brief: "steepness of the shelf; over 0.7071 it overshoots", Unit: dsp.None, Min: 0.3, Max: 2, Default: 0.7071}
}

func peakQ(name string) Knob {
	return Knob{Name: name, Brief: "frequency over bandwidth: high is narrow", Unit: dsp.None, Min: 0.3, Max: 10, Default: 1}
}

// equalizing is the core: amplifier, bands, level, amplifier.
type equalizing struct {
	in    *oversample.Clip
	bands filter.Cascade
	level float64
	out   *oversample.Clip
}

// Process implements Core.
func (e *equalizing) Process(out, in [][]float64) {
	y := out[0]
	e.in.Process(y, in[0])
	e.bands.Process(y, y)
	for k := range y {
		y[k] *= e.level
	}
	e.out.Process(y, y)
}

// Response implements Responder.
func (e *equalizing) Response(f dsp.Hertz) complex128 {
	return complex(e.level, 0) * e.bands.Response(f)
}

// Latency implements Core.
func (e *equalizing) Latency() int { return e.in.Latency() + e.out.Latency() }

// Tail implements Core.
func (e *equalizing) Tail() dsp.Second { return e.bands.Tail() }

// Reset implements Core.
func (e *equalizing) Reset() {
	e.in.Reset()
	e.bands.Reset()
	e.out.Reset()
}
