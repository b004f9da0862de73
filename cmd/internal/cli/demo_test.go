package cli

import (
	"testing"

	"drywire/dsp/measure"
	"math"
)

// treble is the share of power from 2 to 20 kHz, in dB.
func treble(t *testing.T, x []float64) float64 {
	t.Helper()
	s, err := measure.Welch(x, 48000, 4096)
	if err != nil {
		t.Fatal(err)
	}
	return 10 * math.Log10(s.Power(2000, 20000)/s.Power(20, 20000))
}

func crest(t *testing.T, x []float64) float64 {
	t.Helper()
	l, err := measure.MeasureLevels(x)
	if err != nil {
		t.Fatal(err)
	}
	db, err := l.CrestDB()
	if err != nil {
		t.Fatal(err)
	}
	return db
}
