package experiment

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"gonum.org/v1/gonum/dsp/fourier"

	"drywire/chains"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// Playback is the level, in dB SPL, that a full-scale sine of 1 kHz is taken to have at the listener's ear: BS.1387's 92 dB, where nothing is known. Takes at
// -20 LUFS are then played at some 72 dB.
const Playback = 92.0

// PairSeconds is how much of two takes is compared, from their beginning.
const PairSeconds = 20.0

// Pair is how a take differs from another, both brought to one loudness and aligned. Changes are of take b against take a.
type Pair struct {
	A int `json:"a"` // numbers of takes
	B int `json:"b"`

	Lag      int    `json:"lag_samples"` // by how much b comes later than a, where both are most alike, within 1 ms; taken back
	Inverted bool   `json:"inverted"`    // b is upside down against a; taken back for the null
	NullDB   Figure `json:"null_db"`     // level of what is left when a is taken from b

	Level  Figure       `json:"level_lu"` // loudness before matching
	Bands  []BandChange `json:"third_octaves"`
	Bass   Figure       `json:"bass_db"`   // power from 20 to 250 Hz
	Middle Figure       `json:"middle_db"` // from 250 Hz to 2 kHz
	Treble Figure       `json:"treble_db"` // from 2 to 20 kHz

	Noise      Figure `json:"noise_db"`        // A-weighted noise at rest, with the gain that brings each take to one loudness
	Distortion Figure `json:"distortion_db"`   // THD of a test tone
	Sustain    Figure `json:"sustain_seconds"` // time for 20 dB of a falling note

	Hearing Hearing `json:"hearing"`
	Mean    Figure  `json:"log_spectral_mean_db"` // log-spectral distance: mean over the frames
	Max     Figure  `json:"log_spectral_max_db"`  // and of the frame that differs most

	Heard    string   `json:"heard"`    // Heard… below
	Respects []string `json:"respects"` // in what the change is large enough to speak of: level, tone, noise, distortion, decay; the clearest first
	Sentence string   `json:"sentence"` // what a player will hear
}

// BandChange is the change in a third-octave band (IEC 61260-1, base ten).
type BandChange struct {
	Hz float64 `json:"hz"`
	DB Figure  `json:"db"`
}

// Hearing is whether a listener could tell: measure.Audibility, to ITU-R BS.1387.
type Hearing struct {
	Playback    float64 `json:"playback_db_spl"`
	Probability Figure  `json:"probability"` // that the difference is heard, mean over the frames
	Share       Figure  `json:"share"`       // of the frames in which it is more likely heard than not
	Highest     Figure  `json:"highest"`     // probability, smoothed over some 10 frames
	Bands       Figure  `json:"bands"`       // most critical bands over the detection step in any frame
	BandsOf     int     `json:"bands_of"`
}

// Whether a listener could tell.
const (
	HeardNot     = "not heard" // the smoothed probability is never over one half
	HeardInParts = "in places" // it is, but in less than half of the frames
	HeardMostly  = "mostly"    // it is in half of the frames and more
	HeardSame    = "identical" // to the last bit
	HeardUnknown = "not measurable"
)

// rounding is a null, in dB, that only the rounding of the arithmetic leaves: 20·log10(2^-53) is -319 for one operation.
const rounding = -200

// What is large enough to speak of.
const (
	// tellLevel: comments on level vanish at 0.5 dB (common practice, no source), the textbook's step for wide-band noise.
	tellLevel = 0.5 // LU
	// tellTone: 1 dB of excitation in any band is the textbook's step of hearing; here in a third of the spectrum.
	tellTone = 1.0 // dB
	// tellDistortion: common practice, no source; only where the larger THD is over 1 %.
	tellDistortion = 3.0 // dB
	tellTHD        = 1.0 // %
	// tellDecay: 5 % is the step for reverberation times (ISO 3382-1); a note's is taken for twice that.
	tellDecay = 0.10
	// An A-weighted noise that is softer than this at the playback level is not heard in any room: threshold of hearing.
	tellNoiseLevel = 0.0 // dB SPL(A)
)

// Facts is what is known about a take beside its sound.
type Facts struct {
	NoiseDBu Figure // A-weighted, at out, at rest
	THD      Figure // percent, of the test tone
	Sustain  Figure // s
}

// FactsOf works them out, at draft quality, as Dynamics and Noise define them.
func FactsOf(ctx context.Context, c *chains.Chain, rate dsp.Hertz) (Facts, error) {
	var f Facts
	l, err := c.Noise(rate, "out")
	if err != nil {
		f.NoiseDBu = figure(0, err)
	} else {
		a := l.RMS(chains.AWeighted)
		f.NoiseDBu = noiseLevel(a * a)
	}
	err = together(ctx,
		func(ctx context.Context) error {
			x, err := toneAlone(ctx, c, rate, TestTone)
			f.THD = figure(0, err)
			if err == nil {
				f.THD = toneTHD(x, float64(rate))
			}
			return ctx.Err()
		},
		func(ctx context.Context) error {
			var err error
			if f.Sustain, err = sustain(ctx, c, rate, TestTone.Volts); err != nil {
				f.Sustain = figure(0, err)
			}
			return ctx.Err()
		})
	return f, err
}

// Side is one take of a pair.
type Side struct {
	Number  int
	Name    string
	Samples []float64 // at the common loudness, fractions of full scale
	Matched bool
	Gain    float64 // factor from volts to Samples
	Before  Figure  // loudness before that
	Facts   Facts
}

// NewPair compares b with a, sides of one length.
func NewPair(a, b *Side, rate float64) Pair {
	p := Pair{A: a.Number, B: b.Number, Bands: []BandChange{}, Respects: []string{}, Hearing: Hearing{Playback: Playback, BandsOf: measure.BandCount}}
	for _, s := range []*Side{a, b} {
		why := ""
		if f := unplayed(s.Samples); !s.Matched || !f.OK() {
			why = f.Why
			if why == "" {
				why = string(measure.Silence)
			}
			none := noFigure("%q: %s", s.Name, why)
			for _, f := range []*Figure{&p.NullDB, &p.Level, &p.Bass, &p.Middle, &p.Treble, &p.Noise, &p.Distortion, &p.Sustain, &p.Mean, &p.Max,
				&p.Hearing.Probability, &p.Hearing.Share, &p.Hearing.Highest, &p.Hearing.Bands} {
				*f = none
			}
			p.Heard = HeardUnknown
			p.Sentence = "Not measurable: " + none.Why + "."
			return p
		}
	}
	x, y := p.align(a.Samples, b.Samples, rate)
	p.Level = b.Before.minus(a.Before)
	p.tone(x, y, rate)
	p.Noise = b.Facts.NoiseDBu.minus(a.Facts.NoiseDBu)
	if p.Noise.OK() {
		p.Noise.Value += dsp.ToDB(b.Gain / a.Gain)
	}
	p.Distortion = inDB(b.Facts.THD).minus(inDB(a.Facts.THD))
	p.Sustain = b.Facts.Sustain.minus(a.Facts.Sustain)
	h, err := measure.Audible(x, y, rate, Playback)
	p.Hearing.Probability, p.Hearing.Share, p.Hearing.Highest = figure(h.Probability, err), figure(h.Share, err), figure(h.Highest, err)
	p.Hearing.Bands = figure(float64(h.Bands), err)
	p.Mean, p.Max = logSpectral(x, y, rate)
	p.judge(a, b, x, y)
	p.Sentence = p.sentence(a, b)
	return p
}

func inDB(percent Figure) Figure {
	if !percent.OK() {
		return percent
	}
	return Figure{Value: dsp.ToDB(math.Max(percent.Value, barely))}
}

// align finds where both are most alike and returns what they have in common there.
func (p *Pair) align(x, y []float64, rate float64) ([]float64, []float64) {
	at, err := measure.Align(x, y, int(1e-3*rate))
	if err != nil || at.Correlation < 0.5 { // so unlike that a lag means nothing
		at = measure.Alignment{}
	}
	p.Lag, p.Inverted = at.Lag, at.Inverted
	if at.Lag > 0 {
		x, y = x[:len(x)-at.Lag], y[at.Lag:]
	} else {
		x, y = x[-at.Lag:], y[:len(y)+at.Lag]
	}
	upright := y
	if p.Inverted {
		upright = make([]float64, len(y))
		for k, v := range y {
			upright[k] = -v
		}
	}
	null, err := measure.NullOf(x, upright)
	if err != nil {
		p.NullDB = figure(0, err)
	} else {
		p.NullDB = figure(null.DB())
		if p.NullDB.OK() && p.NullDB.Value < rounding {
			p.NullDB = noFigure("no difference but rounding")
		}
	}
	return x, y
}

// tone compares the spectra.
func (p *Pair) tone(x, y []float64, rate float64) {
	a, err := measure.Welch(x, rate, segment(rate))
	if err == nil {
		var b measure.Spectrum
		if b, err = measure.Welch(y, rate, segment(rate)); err == nil {
			change := func(low, high float64) Figure {
				before, after := a.Power(low, high), b.Power(low, high)
				if before == 0 || after == 0 {
					return noFigure("nothing from %g to %g Hz", low, high)
				}
				return figure(10*math.Log10(after/before), nil)
			}
			p.Bass, p.Middle, p.Treble = change(20, 250), change(250, 2000), change(2000, 20e3)
			was, is := a.ThirdOctaves(), b.ThirdOctaves()
			loudest := 0.0
			for k := range was {
				loudest = math.Max(loudest, math.Max(was[k].Power, is[k].Power))
			}
			for k := range was {
				c := BandChange{Hz: was[k].Centre, DB: noFigure("more than 60 dB under the loudest band")}
				if math.Max(was[k].Power, is[k].Power) > 1e-6*loudest && was[k].Power > 0 && is[k].Power > 0 {
					c.DB = figure(10*math.Log10(is[k].Power/was[k].Power), nil)
				}
				p.Bands = append(p.Bands, c)
			}
			return
		}
	}
	p.Bass, p.Middle, p.Treble = figure(0, err), figure(0, err), figure(0, err)
}

// logSpectral is the log-spectral distance: the root of the mean, over the lines from 100 Hz to 10 kHz, of the squared difference in dB, in frames of 2048 points under a Hann window
// (as in IEEE Trans. Speech Audio Process. 1(1), 3-14, 1993). What is more than 60 dB under a frame's highest line counts as that, and frames in which both are more than 60 dB
// under the loudest do not count.
func logSpectral(x, y []float64, rate float64) (mean, most Figure) {
	const size = 2048
	if len(x) < size {
		none := noFigure("%s: %d samples, needs %d", measure.TooShort, len(x), size)
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
		none := noFigure("%s", measure.Silence)
		return none, none
	}
	return Figure{Value: sum / float64(n)}, Figure{Value: highest}
}

// judge says whether the difference is heard and in what it is large enough to speak of.
func (p *Pair) judge(a, b *Side, x, y []float64) {
	switch {
	case identical(x, y) && p.Lag == 0:
		p.Heard = HeardSame
	case !p.Hearing.Highest.OK():
		p.Heard = HeardUnknown
	case p.Hearing.Highest.Value <= 0.5:
		p.Heard = HeardNot
	case p.Hearing.Share.Value < 0.5:
		p.Heard = HeardInParts
	default:
		p.Heard = HeardMostly
	}
	type respect struct {
		name  string
		times float64 // the step that is spoken of
	}
	var found []respect
	add := func(name string, times float64) {
		at := len(found)
		for at > 0 && found[at-1].times < times {
			at--
		}
		found = append(found[:at], append([]respect{{name, times}}, found[at:]...)...)
	}
	if p.Level.OK() && math.Abs(p.Level.Value) >= tellLevel {
		add("level", math.Abs(p.Level.Value)/tellLevel)
	}
	if t := p.tilt(); t >= tellTone && p.audible() {
		add("tone", t/tellTone)
	}
	if p.noisier(a, b) {
		add("noise", math.Abs(p.Noise.Value)/worthMoving)
	}
	if p.Distortion.OK() && math.Abs(p.Distortion.Value) >= tellDistortion && math.Max(a.Facts.THD.Value, b.Facts.THD.Value) >= tellTHD && p.audible() {
		add("distortion", math.Abs(p.Distortion.Value)/tellDistortion)
	}
	if p.Sustain.OK() && p.Sustain.Value != 0 && p.audible() {
		if times := math.Abs(p.Sustain.Value) / (tellDecay * math.Min(a.Facts.Sustain.Value, b.Facts.Sustain.Value)); times >= 1 {
			add("decay", times)
		}
	}
	for _, r := range found {
		p.Respects = append(p.Respects, r.name)
	}
}

func (p *Pair) audible() bool { return p.Heard == HeardInParts || p.Heard == HeardMostly }

// tilt is the largest change of bass, middle and treble.
func (p *Pair) tilt() float64 {
	most := 0.0
	for _, f := range []Figure{p.Bass, p.Middle, p.Treble} {
		if f.OK() {
			most = math.Max(most, math.Abs(f.Value))
		}
	}
	return most
}

// noisier says whether the noise changes by as much as one notices, and can be heard at the playback level.
func (p *Pair) noisier(a, b *Side) bool {
	if !p.Noise.OK() || math.Abs(p.Noise.Value) < worthMoving {
		return false
	}
	// A full-scale sine has an RMS of -3.01 dB re full scale.
	atEar := func(s *Side) float64 {
		return s.Facts.NoiseDBu.Value + dsp.ToDB(dsp.DBu) + dsp.ToDB(s.Gain) + 3.01 + Playback
	}
	return math.Max(atEar(a), atEar(b)) >= tellNoiseLevel
}

func identical(x, y []float64) bool {
	for k := range x {
		if x[k] != y[k] {
			return false
		}
	}
	return true
}

// sentence says what a player will hear, and no more than was measured.
func (p *Pair) sentence(a, b *Side) string {
	subject := fmt.Sprintf("%q against %q", b.Name, a.Name)
	switch p.Heard {
	case HeardSame:
		if p.Level.OK() && math.Abs(p.Level.Value) < 1e-6 {
			return fmt.Sprintf("%q and %q are the same.", a.Name, b.Name)
		}
	case HeardUnknown:
		return fmt.Sprintf("Not measurable: %s.", p.Hearing.Highest.Why)
	}
	var parts []string
	for _, r := range p.Respects {
		parts = append(parts, p.words(r, a, b)...)
	}
	said := strings.Join(parts, ", ")
	switch {
	case p.Heard == HeardMostly && said != "":
		return fmt.Sprintf("%s: a clear difference: %s.", subject, said)
	case p.Heard == HeardMostly:
		return fmt.Sprintf("%s: a difference that is heard most of the time, in nothing that was measured apart.", subject)
	case p.Heard == HeardInParts && said != "":
		return fmt.Sprintf("%s: a difference in places: %s.", subject, said)
	case p.Heard == HeardInParts:
		return fmt.Sprintf("%s: a difference that is heard in places, in nothing that was measured apart.", subject)
	case said != "":
		return fmt.Sprintf("%s: at equal loudness the playing sounds the same; %s.", subject, said)
	}
	return fmt.Sprintf("%s: nobody is likely to hear a difference.", subject)
}

// words is the change in one respect.
func (p *Pair) words(respect string, a, b *Side) []string {
	more := func(f Figure, up, down string) string {
		if f.Value > 0 {
			return up
		}
		return down
	}
	switch respect {
	case "level":
		return []string{fmt.Sprintf("%.1f LU %s as it comes out of the chain", math.Abs(p.Level.Value), more(p.Level, "louder", "softer"))}
	case "tone":
		var list []string
		if p.Treble.OK() && math.Abs(p.Treble.Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s (%+.1f dB above 2 kHz)", more(p.Treble, "brighter", "duller"), p.Treble.Value))
		}
		if p.Middle.OK() && math.Abs(p.Middle.Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s middle (%+.1f dB)", more(p.Middle, "more", "less"), p.Middle.Value))
		}
		if p.Bass.OK() && math.Abs(p.Bass.Value) >= tellTone {
			list = append(list, fmt.Sprintf("%s bass (%+.1f dB below 250 Hz)", more(p.Bass, "more", "less"), p.Bass.Value))
		}
		return list
	case "noise":
		return []string{fmt.Sprintf("noise %.1f dB %s when nobody plays", math.Abs(p.Noise.Value), more(p.Noise, "louder", "softer"))}
	case "distortion":
		return []string{fmt.Sprintf("%s distorted (THD %s %% against %s %%)", more(p.Distortion, "more", "less"), b.Facts.THD.Text(1), a.Facts.THD.Text(1))}
	case "decay":
		by := fmt.Sprintf("%.1f s", math.Abs(p.Sustain.Value))
		if math.Abs(p.Sustain.Value) < 0.095 {
			by = fmt.Sprintf("%.0f ms", 1e3*math.Abs(p.Sustain.Value))
		}
		return []string{fmt.Sprintf("a held note rings %s %s", by, more(p.Sustain, "longer", "shorter"))}
	}
	panic("experiment: no respect " + respect)
}
