package measures

import (
	"context"
	"fmt"
	"math"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// TestTone is AES17-2015's 997 Hz, as high as a hard single note is at a pickup (common practice,
// no source).
var TestTone = dsp.Tone{Hz: 997, Volts: 0.2}

// Silence is the peak, in volts, under which a take counts as silent: the thermal noise of 10 kΩ
// from 0 to 20 kHz is 1.8 µV RMS (sqrt(4kTRB)), so anything below is inaudible, and matching its
// loudness to the others would be meaningless.
const Silence = 1e-6

// Sines is the sum of some tones, all from phase 0, in n samples at a rate in Hz.
func Sines(n int, rate float64, tones ...dsp.Tone) []float64 {
	x := make([]float64, n)
	for _, t := range tones {
		for k := range x {
			x[k] += float64(t.Volts) * math.Sin(2*math.Pi*float64(t.Hz)/rate*float64(k))
		}
	}
	return x
}

// steady plays a tone for half a second and returns the last tenth: the steady state before any
// tail has filled. An echo or a reverb has come in by then as far as it does while one plays.
func steady(ctx context.Context, t Take, volume float64, tone dsp.Tone) ([]float64, error) {
	rate := t.Rate()
	x, err := t.Play(ctx, fmt.Sprint("tone ", tone), volume, func() []float64 { return Sines(int(0.5*rate), rate, tone) })
	if err != nil {
		return nil, err
	}
	return x[len(x)-int(0.1*rate):], nil
}

// SteadyLevel is the RMS level in dBV of a tone at the end of a take, as it is. The error is that
// of Take.Play, or measure.NotMeasurable where a sample is not finite.
func SteadyLevel(ctx context.Context, t Take, tone dsp.Tone) (Figure, error) {
	x, err := steady(ctx, t, AsItIs, tone)
	if err != nil {
		return Figure{}, err
	}
	l, err := measure.MeasureLevels(x)
	if err != nil {
		return Figure{}, err
	}
	if l.Peak < Silence {
		return None("%s", measure.Silence), nil
	}
	return Read(l.RMSDB()), nil
}

// Spectrum is by Welch's method, its segments at least 0.3 s long and a power of two. It is an
// error of type measure.NotMeasurable where a signal is too short.
func Spectrum(x []float64, rate float64) (measure.Spectrum, error) {
	n := 1 << 14
	for float64(n) < 0.3*rate {
		n *= 2
	}
	return measure.Welch(x, rate, n)
}

// Unplayed has no value, and the reason, where a signal is silent, not finite or clips throughout.
// x is in volts.
func Unplayed(x []float64) Figure {
	l, err := measure.MeasureLevels(x)
	if err != nil {
		return Read(0, err)
	}
	if l.Peak < Silence {
		return None("%s", measure.Silence)
	}
	if clipsThroughout(x, l.Peak) {
		return None("clips throughout")
	}
	return Figure{}
}

// clipsThroughout reports whether a signal stands at its own peak, within 1 %, for nine tenths of
// the time: nothing is left of what was played. The loudest sine does so for 9 %: 2·acos(0.99)/π.
func clipsThroughout(x []float64, peak float64) bool {
	at := 0
	for _, v := range x {
		if math.Abs(v) > 0.99*peak {
			at++
		}
	}
	return 10*at >= 9*len(x)
}
