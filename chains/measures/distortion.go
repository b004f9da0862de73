package measures

import (
	"context"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// THD is the harmonics of the test tone.
var THD = &Measure{Key: "thd_percent", Name: "THD", Unit: "%", Heading: "THD", Digits: Significant,
	Definition: "second to tenth harmonic of the test tone over its fundamental (IEC 60268-3)",
	Tones:      alone,
	At:         func(j *Jack) Figure { return SteadyTHD(j.Steady, j.Rate, float64(j.Test.Hz)) }}

// THDN is the harmonics and the noise.
var THDN = &Measure{Key: "thd_n_percent", Name: "THD+N", Unit: "%", Heading: "THD+N", Digits: Significant,
	Definition: "all but the test tone, with the noise at rest (AES17-2015)",
	Tones:      alone,
	At: func(j *Jack) Figure {
		if noise := Noise.At(j); !noise.OK() {
			return noise
		}
		return withNoise(j.Steady, j.Rate, j.Noise.Value)
	}}

// Modulation is intermodulation by SMPTE's two tones.
var Modulation = &Measure{Key: "modulation_percent", Name: "modulation distortion", Unit: "%", Heading: "60 Hz\n+ 7 kHz", Digits: Significant,
	Definition: "intermodulation of 60 Hz and 7 kHz, 4 to 1, second and third order together (IEC 60268-3)",
	Tones: func(t dsp.Tone) []dsp.Tone {
		return []dsp.Tone{{Hz: 60, Volts: 0.8 * t.Volts}, {Hz: 7000, Volts: 0.2 * t.Volts}}
	},
	At: func(j *Jack) Figure {
		i, err := measure.ModulationDistortion(j.Steady, j.Rate, 60, 7000)
		return percent(i.Second+i.Third, err)
	}}

// Difference is intermodulation of two high tones.
var Difference = &Measure{Key: "difference_percent", Name: "difference distortion", Unit: "%", Heading: "8 kHz +\n11.95 kHz", Digits: Significant,
	Definition: "intermodulation of 8 and 11.95 kHz, second and third order together (IEC 60268-3)",
	Tones: func(t dsp.Tone) []dsp.Tone {
		return []dsp.Tone{{Hz: 8000, Volts: t.Volts / 2}, {Hz: 11950, Volts: t.Volts / 2}}
	},
	At: func(j *Jack) Figure {
		i, err := measure.DifferenceDistortion(j.Steady, j.Rate, 8000, 11950)
		return percent(i.Second+i.Third, err)
	}}

func alone(t dsp.Tone) []dsp.Tone { return []dsp.Tone{t} }

// ToneTHD is the THD of the test tone where it is made, the guitar's volume as it is.
var ToneTHD = &Measure{Key: toneKey, Name: "distortion", Unit: "%", Heading: "distortion", Digits: 2,
	Definition: "THD to the tenth harmonic (IEC 60268-3) of the test tone, 997 Hz and 0.2 V peak, at the output of the block that distorts the most what comes to it; square waves have 43 %, pulses more",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		return t.Made(ctx, AsItIs)
	},
	Says: func(text string, f Values) string {
		for _, one := range f {
			if one.Key == toneKey && one.By != "" && one.Value >= 1 {
				text += " where most of it is made, at the output of " + one.By
				if one.Value >= overSquare {
					text += ": more than a square wave has (43 %), so narrow pulses, or its own tone control takes the tone away"
				}
			}
		}
		return text
	}}

// HeardDistortion is how far what distortion adds to the test tone at the end stands over what the
// tone itself hides.
var HeardDistortion = &Measure{Key: "distortion_heard_db", Name: "distortion as heard", Unit: "dB", Heading: "as heard", Digits: 1,
	Definition: "noise to mask (ITU-R BS.1387-1) of all at out that is not the test tone, which is played at 72 dB SPL; under 0 the tone hides it",
	OfTake: func(ctx context.Context, t Take) (Figure, error) {
		if by := t.Modulated(); by != "" {
			return None("it is modulated by %s", by), nil
		}
		x, err := steady(ctx, t, AsItIs, t.Tone())
		if err != nil {
			return Figure{}, err
		}
		return heard(x, t.Rate(), float64(t.Tone().Hz)), nil
	},
	Says: func(text string, f Values) string {
		if negative(text) {
			return text + ": the tone hides its harmonics"
		}
		return text + " over what the tone itself hides"
	}}

// heard is the noise-to-mask ratio of what a tone became, less what is left of the tone.
func heard(x []float64, rate, hz float64) Figure {
	h, err := measure.FitHarmonics(x, rate, hz, 10)
	if err != nil {
		return Read(0, err)
	}
	const loud = 0.1 // RMS: BS.1387's 92 dB SPL for a full-scale sine, less 17 dB of RMS and 3 dB
	gain := loud / h.Total
	tone, all := make([]float64, len(x)), make([]float64, len(x))
	for k, v := range x {
		all[k] = gain * (v - h.DC)
		tone[k] = gain * h.Amplitude[0] * math.Sin(2*math.Pi*h.Frequency*float64(k)/rate+h.Phase[0])
	}
	return Read(measure.NoiseToMask(tone, all, rate, 92))
}

// THDChange is how much more distorted the other take is.
var THDChange = &Measure{Key: "distortion_db", Name: "distortion", Unit: "dB", Heading: "THD", Digits: 1,
	Definition: "THD to the tenth harmonic (IEC 60268-3) of a 997 Hz tone where either take makes it",
	Facts:      []*Measure{ToneTHD},
	Change: func(s *Sides) Figure {
		inDB := func(percent Figure) Figure {
			if !percent.OK() {
				return percent
			}
			return Figure{Value: dsp.ToDB(math.Max(percent.Value, barely))}
		}
		return inDB(s.B.Facts.Of(ToneTHD)).Minus(inDB(s.A.Facts.Of(ToneTHD)))
	}}

// barely is a THD, in percent, under which what is left is the rounding of the render and no
// property of the chain.
const barely = 1e-3

// overSquare is a THD, in percent, that clipping both sides alike does not make: the odd harmonics
// of a square wave, to the ninth, are 42.9 % of its fundamental (closed form).
const overSquare = 50

const toneKey = "distortion_percent"

// SteadyTHD is the THD in percent of a tone in a signal.
func SteadyTHD(x []float64, rate, hz float64) Figure {
	h, err := measure.FitHarmonics(x, rate, hz, 10)
	if err != nil {
		return Read(0, err)
	}
	return percent(h.THD(), nil)
}

// withNoise is AES17's THD+N of a tone, in percent, with the noise of the chain at rest in volts:
// what a render has of it is none, so its power is added.
func withNoise(x []float64, rate, noise float64) Figure {
	ratio, err := measure.THDN(x, rate)
	if err != nil {
		return Read(0, err)
	}
	l, err := measure.MeasureLevels(x)
	if err != nil {
		return Read(0, err)
	}
	total := l.RMS*l.RMS - l.DC*l.DC
	return percent(math.Sqrt((ratio*ratio*total+noise*noise)/(total+noise*noise)), nil)
}

func percent(ratio float64, err error) Figure {
	f := Read(ratio, err)
	f.Value *= 100
	return f
}
