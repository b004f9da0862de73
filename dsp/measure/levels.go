package measure

import "math"

// Levels are the plain levels of a signal, in the unit of its samples.
type Levels struct {
	Samples int
	Peak    float64 // the largest magnitude of a sample (not the true peak: see TruePeakMeter)
	PeakAt  int     // the first sample that has it
	RMS     float64 // root of the mean square, DC included
	DC      float64 // the mean
}

// Crest is the crest factor, Peak/RMS, as a ratio. It is at least 1, and √2 for a whole number of
// periods of a sine. The error is NotMeasurable, Silence.
func (l Levels) Crest() (float64, error) {
	if l.RMS == 0 {
		return 0, NotMeasurable{Reason: Silence}
	}
	return l.Peak / l.RMS, nil
}

// CrestDB is the crest factor in dB. The error is Crest's.
func (l Levels) CrestDB() (float64, error) {
	c, err := l.Crest()
	if err != nil {
		return 0, err
	}
	return 20 * math.Log10(c), nil
}

// PeakDB is the peak in dB relative to 1 of the samples' unit. The error is NotMeasurable, Silence.
func (l Levels) PeakDB() (float64, error) { return levelDB(l.Peak) }

// RMSDB is the RMS in dB relative to 1 of the samples' unit: a sine of peak 1 has -3.01 dB.
// (AES17-2015 calls that sine 0 dBFS: add 3.01 dB for its "dB FS".) The error is NotMeasurable,
// Silence.
func (l Levels) RMSDB() (float64, error) { return levelDB(l.RMS) }

func levelDB(v float64) (float64, error) {
	if v == 0 {
		return 0, NotMeasurable{Reason: Silence}
	}
	return 20 * math.Log10(v), nil
}

// LevelMeter takes a signal in blocks of any length and gives its levels at any moment. Its zero
// value is ready.
type LevelMeter struct {
	n, peakAt   int
	peak        float64
	sum, square float64
	bad         int // 1 + index of the first sample that was not finite
	badValue    float64
}

// Push takes the next samples.
func (m *LevelMeter) Push(x []float64) {
	sum, square, peak := m.sum, m.square, m.peak
	for i, v := range x {
		a := math.Abs(v)
		if a > peak {
			peak, m.peakAt = a, m.n+i
		} else if v != v && m.bad == 0 {
			m.bad, m.badValue = m.n+i+1, v
		}
		sum += v
		square += v * v
	}
	m.sum, m.square, m.peak = sum, square, peak
	m.n += len(x)
}

// Levels are the levels of all that was pushed. Silence has levels (all zero); only its crest
// factor and its decibels have no value. The error is NotMeasurable: TooShort where there were no
// samples, or NotFinite.
func (m *LevelMeter) Levels() (Levels, error) {
	switch {
	case m.n == 0:
		return Levels{}, notMeasurable(TooShort, "no samples")
	case m.bad > 0:
		return Levels{}, notMeasurable(NotFinite, "sample %d is %v", m.bad-1, m.badValue)
	case !finite(m.square):
		return Levels{}, notMeasurable(NotFinite, "the peak, sample %d, is %v", m.peakAt, m.peak)
	}
	n := float64(m.n)
	return Levels{Samples: m.n, Peak: m.peak, PeakAt: m.peakAt, RMS: math.Sqrt(m.square / n), DC: m.sum / n}, nil
}

// MeasureLevels are the levels of x, in its unit. The errors are those of LevelMeter.Levels.
func MeasureLevels(x []float64) (Levels, error) {
	var m LevelMeter
	m.Push(x)
	return m.Levels()
}
