package measures

import (
	"context"

	"drywire/dsp"
	"drywire/dsp/measure"
)

// Jack is what there is to measure at one jack.
type Jack struct {
	X      []float64 // V, over the whole recording
	Rate   float64   // Hz
	Noise  Figure    // V RMS from 20 Hz to 20 kHz, when nobody plays
	NoiseA Figure    // the same, A-weighted
	Hiss   Figure    // as Noise, under the playing: with gates open
	HissA  Figure    // the same, A-weighted
	// V, of the block that the jack leads into: where it begins to colour, and its ceiling
	Colours, BreaksUp Figure
	Test              dsp.Tone  // zero: none was asked for
	Steady            []float64 // V, of the measure's tones

	levels   *measure.Levels
	spectrum *measure.Spectrum
	none     Figure // why neither has anything to say
	short    error  // why there is no spectrum
}

// look reads levels and spectrum once.
func (j *Jack) look() {
	if j.levels != nil {
		return
	}
	levels, err := measure.MeasureLevels(j.X)
	j.levels, j.none, j.spectrum = &levels, Read(0, err), &measure.Spectrum{}
	if levels.Peak < Silence { // what rounding leaves of silence
		j.none = None("%s", measure.Silence)
	}
	if j.none.OK() {
		*j.spectrum, j.short = Spectrum(j.X, j.Rate)
	}
}

// level reads a level; there is none of silence.
func (j *Jack) level(of func(measure.Levels) (float64, error)) Figure {
	j.look()
	if !j.none.OK() {
		return j.none
	}
	return Read(of(*j.levels))
}

// inSpectrum reads the spectrum.
func (j *Jack) inSpectrum(of func(measure.Spectrum) Figure) Figure {
	j.look()
	switch {
	case !j.none.OK():
		return j.none
	case j.short != nil:
		return Read(0, j.short)
	}
	return of(*j.spectrum)
}

// ThirdOctaves is the power in every third octave (IEC 61260-1, base ten); none where there is no
// spectrum.
func (j *Jack) ThirdOctaves() []measure.Band {
	j.look()
	if !j.none.OK() || j.short != nil {
		return nil
	}
	return j.spectrum.ThirdOctaves()
}

// Take is a take that test signals can be played through. Errors are of a render.
type Take interface {
	Rate() float64 // Hz
	// Tone is the test tone of the measurement.
	Tone() dsp.Tone
	// Play is a signal through the take, in volts at its last jack and as long as the signal, with
	// the guitar's volume at 0 to 10, or AsItIs. One name stands for one signal.
	Play(ctx context.Context, name string, volume float64, signal func() []float64) ([]float64, error)
	// Made is the THD, in percent, of the test tone where the take makes it, with the guitar's
	// volume at 0 to 10, or AsItIs: ToneTHD says where that is.
	Made(ctx context.Context, volume float64) (Figure, error)
	// Modulated is the block with an oscillator on the way to the end, after which a tone is in no
	// steady state; "" where there is none.
	Modulated() string
	// Noise is the A-weighted noise at the last jack in volts, when nobody plays.
	Noise() (float64, error)
	// Hiss is the same under the playing: with gates open.
	Hiss() (float64, error)
	// Tail is how long echoes and reverbs go on, in seconds.
	Tail() float64
	// Delays is the times, in seconds, of the delays that are on.
	Delays() []float64
}

// AsItIs leaves the guitar's volume where it is.
const AsItIs = -1

// Played is a take with the recording through it. What is asked of signals has a name, so that it
// is computed once for all takes with that signal. Errors are of a render.
type Played interface {
	Take
	// NoisePart is a part of Noise: what is tones (hum and ripple), or what is noise.
	NoisePart(tones bool) (float64, error)
	// OfEnd is a figure of the voltage at the last jack, OfRecording of the pickup's own voltage.
	OfEnd(name string, of func(x []float64) Figure) Figure
	OfRecording(name string, of func(x []float64) Figure) Figure
	// Blocks calls tell for every block that is not a distortion, with the peak in volts at which
	// it breaks up and the highest peak at its input, in volts. The error is of a render.
	Blocks(ctx context.Context, tell func(breaksUp Figure, peak float64)) error
}

// Side is one take of two that are compared.
type Side struct {
	Number  int
	Name    string
	Samples []float64 // at the common loudness, fractions of full scale
	Matched bool
	// the guitar whose own recording it plays, "" for the file's: sides that played apart have
	// nothing sample by sample in common
	Played string
	Gain   float64 // factor from volts to Samples
	Before Figure  // loudness before that
	Facts  Values
	// dB of the block that has least of it among those that should stay clean, which By names; 0
	// on both sides where nobody has looked
	Clean Figure
}

// Sides is two takes to be compared, of one length unless they were played apart.
type Sides struct {
	A, B *Side
	Rate float64 // Hz
	// Align is Aligned, worked out; it is called once at most, and not at all for what is read of
	// facts alone.
	Align func() (x, y []float64, inverted bool)

	aligned          bool
	x, y             []float64
	inverted         bool
	looked, compared bool
	before, after    measure.Spectrum
	short            error // why there are no spectra
	mean, most       Figure
}

// Apart is no figure, and why, of what compares two takes sample by sample: where both were played
// on recordings of their own, there is no such thing. It has no reason elsewhere.
func Apart(a, b *Side) Figure {
	if a.Played == b.Played {
		return Figure{}
	}
	return None("each was played on a recording of its own")
}

// Aligned is the samples of A and B where they are most alike, and whether those of B are upside
// down against A's.
func (s *Sides) Aligned() (x, y []float64, inverted bool) {
	if !s.aligned {
		s.aligned = true
		s.x, s.y, s.inverted = s.Align()
	}
	return s.x, s.y, s.inverted
}

// Spectra is the spectra of both. The error is that of Spectrum.
func (s *Sides) Spectra() (before, after measure.Spectrum, err error) {
	if !s.looked {
		s.looked = true
		x, y, _ := s.Aligned()
		if s.before, s.short = Spectrum(x, s.Rate); s.short == nil {
			s.after, s.short = Spectrum(y, s.Rate)
		}
	}
	return s.before, s.after, s.short
}

// fact is the difference of an OfTake measure, b's less a's.
func (s *Sides) fact(m *Measure) Figure { return s.B.Facts.Of(m).Minus(s.A.Facts.Of(m)) }
