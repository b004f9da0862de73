package measures

import (
	"context"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Noise is the noise at rest, by the ledger of package noise.
var Noise = &Measure{Key: "noise_dbu", Name: "noise", Unit: "dBu", Better: Lower, Digits: 1,
	Definition: "RMS from 20 Hz to 20 kHz of what there is when nobody plays (see drywire noise)",
	At:         func(j *Jack) Figure { return fromVolts(j.Noise) }}

// NoiseA is the same, A-weighted.
var NoiseA = &Measure{Key: "noise_a_dbu", Name: "noise, A-weighted", Unit: "dBu(A)", Better: Lower, Heading: "noise", Digits: 1,
	Definition: "the same, A-weighted (IEC 61672-1)",
	At:         func(j *Jack) Figure { return fromVolts(j.NoiseA) }}

// HissA is the A-weighted noise under the playing, with gates open.
var HissA = &Measure{Key: "hiss_a_dbu", Name: "noise under the playing, A-weighted", Unit: "dBu(A)", Better: Lower, Digits: 1,
	Definition: "noise with gates open, A-weighted (IEC 61672-1)",
	At:         func(j *Jack) Figure { return fromVolts(j.HissA) }}

// SignalToNoise is how far the playing is above the noise, both with gates open.
var SignalToNoise = &Measure{Key: "signal_to_noise_db", Name: "signal to noise", Unit: "dB", Better: Higher, Digits: 1,
	Definition: "RMS over noise with gates open, both from 20 Hz to 20 kHz",
	At: func(j *Jack) Figure {
		return j.inSpectrum(func(s measure.Spectrum) Figure {
			return NoiseLevel(s.Power(measure.BandLow, measure.BandHigh))
		}).Minus(fromVolts(j.Hiss))
	}}

// SignalToNoiseA is the same, both A-weighted.
var SignalToNoiseA = &Measure{Key: "signal_to_noise_a_db", Name: "signal to noise, A-weighted", Unit: "dB(A)", Better: Higher, Heading: "above\nnoise", Digits: 1,
	Definition: "RMS over noise with gates open, both A-weighted (IEC 61672-1)",
	At: func(j *Jack) Figure {
		return j.level(func(measure.Levels) (float64, error) {
			a, err := measure.AWeighted(j.X, j.Rate)
			return dsp.VoltsToDBu(a), err
		}).Minus(HissA.At(j))
	}}

// NoiseLevel is the level in dBu of a noise's power in V²; there is none of no noise.
func NoiseLevel(power float64) Figure {
	if power == 0 {
		return None("no noise")
	}
	return Read(dsp.VoltsToDBu(math.Sqrt(power)), nil)
}

func fromVolts(v Figure) Figure {
	if v.OK() {
		return NoiseLevel(v.Value * v.Value)
	}
	return v
}

// NoiseAtEnd is the A-weighted noise at the last jack.
var NoiseAtEnd = &Measure{Name: "noise, A-weighted", Unit: "dBu(A)", Better: Lower, Heading: "noise", Digits: 1,
	Definition: "A-weighted noise (IEC 61672-1) at out, when nobody plays",
	OfTake: func(_ context.Context, t Take) (Figure, error) {
		noise, err := t.Noise()
		if err != nil {
			return Read(0, err), nil
		}
		return NoiseLevel(noise * noise), nil
	}}

// NoiseChange is how much louder the noise of the other take is.
var NoiseChange = &Measure{Key: "noise_db", Name: "noise", Unit: "dB(A)", Better: Lower, Heading: "noise", Digits: 1,
	Definition: "A-weighted noise (IEC 61672-1) at rest, with the gain that brings each take to one loudness",
	Facts:      []*Measure{NoiseAtEnd},
	Change: func(s *Sides) Figure {
		f := s.fact(NoiseAtEnd)
		if f.OK() {
			f.Value += dsp.ToDB(s.B.Gain / s.A.Gain)
		}
		return f
	}}

var quiet = &Measure{Name: "quiet", Unit: "dB", Better: Higher, Step: 0.1, Digits: 1,
	Brief:      "little noise under the playing",
	Definition: "A-weighted level of the take at out over the A-weighted noise at rest, with gates open",
	OfPlayed: func(_ context.Context, p Played) (Figure, error) {
		level := p.OfEnd("level", func(x []float64) Figure {
			if f := Unplayed(x); !f.OK() {
				return f
			}
			rms, err := measure.AWeighted(x, p.Rate())
			return Read(dsp.ToDB(rms), err)
		})
		if !level.OK() {
			return level, nil
		}
		noise, err := p.Hiss()
		if err != nil {
			return Figure{}, err
		}
		if noise == 0 {
			return None("no noise"), nil
		}
		return Read(level.Value-dsp.ToDB(noise), nil), nil
	}}
