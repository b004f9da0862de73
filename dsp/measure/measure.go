// Package measure holds the meters: levels, loudness, true peak, distortion, spectra, weightings,
// decays, nulls, listening-test statistics and audibility.
//
// One measure is one file, which cites the definition that it follows. A measure takes samples as
// float64 and their rate in Hz and returns a plain struct. What the samples count (volts, or
// fractions of full scale) is the caller's affair unless the measure says otherwise: a level in dB
// is then relative to 1 of that unit. What cannot be measured (silence, too short, a NaN among the
// samples) is an error of type NotMeasurable with the reason in it, never a NaN and never an
// invented number.
//
// It is not a set of effects: nothing here changes a recording, and nothing here reads a file.
//
// A parameter that only a mistake in the program can get wrong (a rate of zero, an even bin where
// an odd one is asked for) panics. Start reading at NotMeasurable, then levels.go (the plainest
// meter) and loudness.go (a streaming one).
package measure

import (
	"fmt"
	"math"
)

// Reason says why a measure has no value.
type Reason string

// The reasons that a measure gives.
const (
	Silence      Reason = "silence"                  // nothing but zeros, or nothing in the band that counts
	TooShort     Reason = "too short"                // fewer samples than the definition needs
	NotFinite    Reason = "not finite"               // a NaN, an infinity, or so large that its square is one
	BelowGate    Reason = "below the gate"           // loudness: no block passes the absolute gate
	LowRange     Reason = "too little decay"         // decay: the record does not fall far enough
	NoTone       Reason = "no steady tone"           // distortion: no sine where one was expected
	OutOfBand    Reason = "out of the band"          // the samples' rate cannot carry the band that was asked for
	Unequal      Reason = "records of unequal shape" // a comparison of two records that do not correspond
	NoDifference Reason = "no difference"            // a comparison: the two are identical, so no level tells how alike
)

// NotMeasurable is the error of a measure that has no value for the samples it was given. Compare
// Reason with the constants of this package through errors.As.
type NotMeasurable struct {
	Reason Reason
	Detail string // what was missing, for people; may be empty
}

func (e NotMeasurable) Error() string {
	if e.Detail == "" {
		return "not measurable: " + string(e.Reason)
	}
	return "not measurable: " + string(e.Reason) + ": " + e.Detail
}

func notMeasurable(r Reason, format string, args ...any) NotMeasurable {
	return NotMeasurable{Reason: r, Detail: fmt.Sprintf(format, args...)}
}

// finite reports whether v is a number: neither NaN nor an infinity.
func finite(v float64) bool { return v-v == 0 }

// checkFinite is the error of the first sample that is no number, nil when all are.
func checkFinite(x []float64) error {
	for i, v := range x {
		if !finite(v) {
			return notMeasurable(NotFinite, "sample %d is %v", i, v)
		}
	}
	return nil
}

// mustRate panics unless rate is a sample rate within [lo, hi] Hz.
func mustRate(what string, rate, lo, hi float64) {
	if !(rate >= lo && rate <= hi) {
		panic(fmt.Sprintf("measure: %s: rate %v Hz, want %v to %v", what, rate, lo, hi))
	}
}

// powerDB is the level of a power ratio, 10·log10.
func powerDB(p float64) float64 { return 10 * math.Log10(p) }
