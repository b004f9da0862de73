package measures

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Centroid is the middle of the spectrum.
var Centroid = &Measure{Key: "centroid_hz", Name: "spectral centroid", Unit: "Hz", Heading: "centroid", Digits: 0,
	Definition: "mean frequency from 20 Hz to 20 kHz, weighted by power (ISO/IEC 15938-4)",
	At: func(j *Jack) Figure {
		return j.inSpectrum(func(s measure.Spectrum) Figure {
			return Read(s.Centroid(measure.BandLow, measure.BandHigh))
		})
	}}

// BassChange, MiddleChange and TrebleChange are the change of the power in three bands.
var (
	BassChange   = bandChange("bass", 20, 250)
	MiddleChange = bandChange("middle", 250, 2000)
	TrebleChange = bandChange("treble", 2000, 20e3)
)

func bandChange(name string, low, high float64) *Measure {
	return &Measure{
		Key: name + "_db", Name: name, Unit: "dB", Heading: name, Digits: 1,
		Definition: fmt.Sprintf("power from %g to %g Hz", low, high),
		Change: func(s *Sides) Figure {
			a, b, err := s.Spectra()
			if err != nil {
				return Read(0, err)
			}
			before, after := a.Power(low, high), b.Power(low, high)
			if before == 0 || after == 0 {
				return None("nothing from %g to %g Hz", low, high)
			}
			return Read(10*math.Log10(after/before), nil)
		},
	}
}

// SpectralMean and SpectralMax are the log-spectral distance.
var (
	SpectralMean = &Measure{
		Key: "log_spectral_mean_db", Name: "spectra", Unit: "dB", Heading: "spectra", Digits: 1,
		Definition: "log-spectral distance, mean over the frames (IEEE Trans. Speech Audio Process. 1(1), 3-14, 1993)",
		Change:     func(s *Sides) Figure { mean, _ := s.distance(); return mean },
	}
	SpectralMax = &Measure{
		Key: "log_spectral_max_db", Name: "spectra at most", Unit: "dB", Digits: 1,
		Definition: "the same in the frame that differs most",
		Change:     func(s *Sides) Figure { _, most := s.distance(); return most },
	}
)

// distance is both, computed once.
func (s *Sides) distance() (mean, most Figure) {
	if !s.compared {
		s.compared = true
		if s.mean = Apart(s.A, s.B); s.mean.OK() {
			x, y, _ := s.Aligned()
			s.mean, s.most = logSpectral(x, y, s.Rate)
		} else {
			s.most = s.mean
		}
	}
	return s.mean, s.most
}

var brightnessKept = &Measure{Name: "brightness kept", Unit: "dB", Better: Higher, Step: 0.1, Digits: 1,
	Brief:      "no treble is lost on the way",
	Definition: "power from 2 to 8 kHz over that from 80 Hz to 20 kHz, at out, less the same in the recording",
	OfPlayed: func(_ context.Context, p Played) (Figure, error) {
		share := func(x []float64) Figure {
			if f := Unplayed(x); !f.OK() {
				return f
			}
			s, err := Spectrum(x, p.Rate())
			if err != nil {
				return Read(0, err)
			}
			all := s.Power(80, 20e3)
			if all == 0 {
				return None("%s", measure.Silence)
			}
			return Level(math.Sqrt(s.Power(2e3, 8e3)/all), "nothing from 2 to 8 kHz")
		}
		return p.OfEnd("brightness", share).Minus(p.OfRecording("brightness", share)), nil
	}}

// logSpectral is the log-spectral distance: the root of the mean, over the lines from 100 Hz to 10
// kHz, of the squared difference in dB, in frames of 2048 points under a Hann window (as in IEEE
// Trans. Speech Audio Process. 1(1), 3-14, 1993). What is more than 60 dB under a frame's highest
// line counts as that, and frames in which both are more than 60 dB under the loudest do not count.
func logSpectral(x, y []float64, rate float64) (mean, most Figure) {
	const size = 2048
	if len(x) < size {
		none := None("%s: %d samples, needs %d", measure.TooShort, len(x), size)
		return none, none
	}
	plan := fourier.NewFFT(size)
	from, to := int(math.Ceil(100*size/rate)), int(10e3*size/rate)
	frames := (len(x)-size)/(size/2) + 1
	lines := func(v []float64) ([][]float64, []float64, float64) {
		all, tops, loudest := make([][]float64, frames), make([]float64, frames), 0.0
		frame := make([]float64, size)
		var z []complex128
		for f := range frames {
			for k := range frame {
				frame[k] = v[f*size/2+k] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(k)/size))
			}
			z = plan.Coefficients(z, frame)
			for _, c := range z[from:to] {
				e := cmplx.Abs(c)
				all[f] = append(all[f], e)
				tops[f] = math.Max(tops[f], e)
			}
			loudest = math.Max(loudest, tops[f])
		}
		return all, tops, loudest
	}
	a, topA, loudA := lines(x)
	b, topB, loudB := lines(y)
	floor := 1e-3 * math.Max(loudA, loudB)
	sum, n, highest := 0.0, 0, 0.0
	for f := range frames {
		if topA[f] < floor && topB[f] < floor {
			continue
		}
		low := 1e-3 * math.Max(topA[f], topB[f])
		d := 0.0
		for k := range a[f] {
			e := dsp.ToDB(math.Max(a[f][k], low) / math.Max(b[f][k], low))
			d += e * e
		}
		d = math.Sqrt(d / float64(len(a[f])))
		sum += d
		n++
		highest = math.Max(highest, d)
	}
	if n == 0 {
		none := None("%s", measure.Silence)
		return none, none
	}
	return Figure{Value: sum / float64(n)}, Figure{Value: highest}
}
