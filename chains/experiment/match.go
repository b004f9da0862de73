package experiment

import (
	"errors"
	"math"

	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/measure"
)

// What takes for listening are brought to. Common practice, no source: quiet enough for a take with
// a crest factor of 19 dB, so that few sets of takes have to be brought lower.
const (
	Target  = -20.0 // LUFS
	Ceiling = -1.0  // dBTP
)

// Close is how near, in LU, the loudness is brought to its target.
const Close = 0.005

// Reading is what the meters say about a take at some gain.
type Reading struct {
	Level    float64 // LUFS, or dB re full scale where matched by RMS
	TruePeak float64 // of full scale
}

// Settled is a take brought to a level.
type Settled struct {
	Gain    float64 // factor from volts to full scale
	Reading         // at that gain
	Matched bool    // false where the take has no level: it is silent, or no more than a click
}

// Settle finds the gain that brings a take to a target level. The level is read again at every
// gain, for the loudness of a take does not follow its gain exactly: which blocks of it pass the
// absolute gate depends on the gain. truePeak is that of the take in volts. The error is read's;
// measure.NotMeasurable is none, but leaves the take unmatched.
func Settle(truePeak, target float64, read func(gain float64) (Reading, error)) (Settled, error) {
	if truePeak < measures.Silence {
		return Settled{Gain: 1, Reading: Reading{Level: math.Inf(-1)}}, nil
	}
	gain := dsp.FromDB(Ceiling) / truePeak
	var s Settled
	for range 8 {
		r, err := read(gain)
		var none measure.NotMeasurable
		if errors.As(err, &none) {
			// Nothing to match by. The true peak is put to the ceiling.
			gain = dsp.FromDB(Ceiling) / truePeak
			return Settled{Gain: gain, Reading: Reading{Level: math.Inf(-1), TruePeak: gain * truePeak}}, nil
		}
		if err != nil {
			return Settled{}, err
		}
		s = Settled{Gain: gain, Reading: r, Matched: true}
		if math.Abs(r.Level-target) < Close {
			break
		}
		gain *= dsp.FromDB(target - r.Level)
	}
	return s, nil
}

// Common is the target, in LUFS, that all takes can be brought to with their true peaks under the
// ceiling, given each settled at Target; and the index of the take that kept it below Target, or
// -1.
func Common(takes []Settled) (target float64, by int) {
	target, by = Target, -1
	for k, t := range takes {
		if !t.Matched {
			continue
		}
		// 0.01 dB for the last Close
		if over := dsp.ToDB(t.TruePeak) - (Ceiling - 0.01); over > 0 && t.Level-over < target {
			target, by = t.Level-over, k
		}
	}
	return target, by
}

// Shape is what happens to a take in volts before it is written for listening: a gain, and a
// raised-cosine fade at its beginning and its end.
type Shape struct {
	Gain   float64
	Fade   int   // samples
	Frames int64 // of the whole take
}

// Apply shapes a stretch of the take, src in volts, that begins at sample at, into dst, in
// fractions of full scale and as long; dst may be src.
func (s Shape) Apply(dst, src []float64, at int64) {
	for k, x := range src {
		n := at + int64(k)
		g := s.Gain
		if edge := min(n, s.Frames-1-n); edge < int64(s.Fade) {
			g *= 0.5 - 0.5*math.Cos(math.Pi*float64(edge)/float64(s.Fade))
		}
		dst[k] = g * x
	}
}

// Meter reads what Settle needs, as a stream.
type Meter struct {
	loudness *measure.LoudnessMeter // nil: by RMS
	levels   measure.LevelMeter
	peaks    []measure.TruePeakMeter // per channel; nil: not wanted
}

// shortest is the shortest take that has a loudness: one gating block of BS.1770-5, 400 ms.
const shortest = 0.4

// ByLoudness reports whether a take of that many samples is long enough to have a loudness.
func ByLoudness(frames int64, rate float64) bool { return float64(frames) >= shortest*rate }

// NewMeter reads a take of one channel, by loudness or by RMS; rate is in Hz.
func NewMeter(rate float64, byLoudness bool) *Meter { return newMeter(rate, byLoudness, measure.Mono) }

// NewStereoMeter reads a take of two channels; its RMS is that of both together. rate is in Hz.
func NewStereoMeter(rate float64, byLoudness bool) *Meter {
	return newMeter(rate, byLoudness, measure.Stereo)
}

func newMeter(rate float64, byLoudness bool, layout measure.Layout) *Meter {
	m := &Meter{peaks: make([]measure.TruePeakMeter, len(layout))}
	if byLoudness {
		m.loudness = measure.NewLoudnessMeter(rate, layout)
	}
	return m
}

// Push takes the next samples, a slice per channel.
func (m *Meter) Push(channels ...[]float64) {
	if m.loudness != nil {
		m.loudness.Push(channels...)
	}
	for k, x := range channels {
		if m.loudness == nil {
			m.levels.Push(x)
		}
		if m.peaks != nil {
			m.peaks[k].Push(x)
		}
	}
}

// ofLevel makes it read no true peak.
func (m *Meter) ofLevel() *Meter {
	m.peaks = nil
	return m
}

// Reading is what was read; an error of type measure.NotMeasurable where there is no level.
func (m *Meter) Reading() (Reading, error) {
	var r Reading
	var err error
	for k := range m.peaks {
		peak, err := m.peaks[k].TruePeak()
		if err != nil {
			return r, err
		}
		r.TruePeak = math.Max(r.TruePeak, peak)
	}
	if m.loudness != nil {
		r.Level, err = m.loudness.Integrated()
		return r, err
	}
	l, err := m.levels.Levels()
	if err != nil {
		return r, err
	}
	r.Level, err = l.RMSDB()
	return r, err
}

// Differences takes several takes at once, in step, and adds up what is left when one is taken from
// another.
type Differences struct {
	pairs [][2]int
	power []float64 // per take
	sum   []float64 // per pair
	count int64
}

// mostPairs is how many takes are compared each with each; beyond, each is compared with the first.
const mostPairs = 12

// NewDifferences compares n takes.
func NewDifferences(n int) *Differences {
	d := &Differences{power: make([]float64, n)}
	for a := range n {
		for b := a + 1; b < n && (a == 0 || n <= mostPairs); b++ {
			d.pairs = append(d.pairs, [2]int{a, b})
		}
	}
	d.sum = make([]float64, len(d.pairs))
	return d
}

// Push takes the next samples of all takes.
func (d *Differences) Push(takes [][]float64) {
	for k, x := range takes {
		for _, v := range x {
			d.power[k] += v * v
		}
	}
	for k, p := range d.pairs {
		a, b := takes[p[0]], takes[p[1]]
		for i, v := range a {
			e := b[i] - v
			d.sum[k] += e * e
		}
	}
	d.count += int64(len(takes[0]))
}

// Nulls is the result, with takes numbered from 1.
func (d *Differences) Nulls() []Null {
	nulls := []Null{}
	for k, p := range d.pairs {
		n := Null{A: p[0] + 1, B: p[1] + 1, Identical: d.sum[k] == 0}
		if d.power[p[0]] > 0 && d.power[p[1]] > 0 {
			m := measure.Null{
				Reference:  math.Sqrt(d.power[p[0]] / float64(d.count)),
				Difference: math.Sqrt(d.sum[k] / float64(d.count)),
			}
			if db, err := m.DB(); err == nil {
				n.DB = &db
			}
		}
		nulls = append(nulls, n)
	}
	return nulls
}
