package measure

import (
	"fmt"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Null is what is left when one signal is taken from another.
type Null struct {
	Reference  float64 // RMS of the reference
	Difference float64 // RMS of the other minus the reference
}

// DB is the level of the difference relative to the reference: -60 is one part in a thousand.
// Identical signals have no such level; the error then has the reason NoDifference.
func (n Null) DB() (float64, error) {
	if n.Difference == 0 {
		return 0, NotMeasurable{Reason: NoDifference}
	}
	return 20 * math.Log10(n.Difference/n.Reference), nil
}

// NullOf compares two records of one length, in one unit, sample by sample, over all frequencies.
// The error is NotMeasurable: Unequal, TooShort where they are empty, NotFinite, or Silence where
// the reference is silent.
func NullOf(reference, other []float64) (Null, error) {
	if err := checkPair(reference, other); err != nil {
		return Null{}, err
	}
	var signal, difference float64
	for i, v := range reference {
		d := other[i] - v
		signal += v * v
		difference += d * d
	}
	return nullOf(signal, difference, len(reference))
}

// BandNull compares two records of one length between low and high Hz (20 Hz and 20 kHz: BandLow,
// BandHigh). The band's edges are sharp: the records' transforms are cut there. Records whose
// length is no power of two are padded with zeros, and a record that starts or stops abruptly has
// the spectrum of that step in it: fade it, or let it hold whole periods. The errors are those of
// NullOf. It panics where low is under 0 Hz or not under high, or the rate under 1 Hz.
func BandNull(reference, other []float64, rate, low, high float64) (Null, error) {
	mustRate("null", rate, 1, math.MaxFloat64)
	if !(low >= 0 && high > low) {
		panic(fmt.Sprintf("measure: null: band from %v to %v Hz", low, high))
	}
	if err := checkPair(reference, other); err != nil {
		return Null{}, err
	}
	n := nextPowerOfTwo(len(reference))
	plan := fourier.NewFFT(n)
	padded := make([]float64, n)
	power := func(fill func(i int) float64) float64 {
		for i := range reference {
			padded[i] = fill(i)
		}
		c := plan.Coefficients(nil, padded)
		sum := 0.0
		for k := range c {
			if f := float64(k) * rate / float64(n); f >= low && f <= high {
				sum += linePower(c, k, n)
			}
		}
		return sum * float64(n)
	}
	signal := power(func(i int) float64 { return reference[i] })
	difference := power(func(i int) float64 { return other[i] - reference[i] })
	return nullOf(signal, difference, len(reference))
}

func nullOf(signal, difference float64, n int) (Null, error) {
	switch {
	case signal == 0:
		return Null{}, notMeasurable(Silence, "the reference")
	case !finite(signal) || !finite(difference):
		return Null{}, notMeasurable(NotFinite, "samples too large to be squared")
	}
	return Null{Reference: math.Sqrt(signal / float64(n)), Difference: math.Sqrt(difference / float64(n))}, nil
}

func checkPair(reference, other []float64) error {
	switch {
	case len(reference) != len(other):
		return notMeasurable(Unequal, "%d and %d samples", len(reference), len(other))
	case len(reference) == 0:
		return notMeasurable(TooShort, "no samples")
	}
	if err := checkFinite(reference); err != nil {
		return err
	}
	return checkFinite(other)
}

// Alignment is how one record lies in time to another.
type Alignment struct {
	Lag         int     // other[i+Lag] goes with reference[i]: positive where other is late
	Correlation float64 // at that lag, from 0 to 1
	Inverted    bool    // the polarity is the opposite
}

// Align finds the whole number of samples, up to maxLag either way, at which other is most like the
// reference in shape, either polarity: the maximum of the magnitude of their cross-correlation. The
// error is NotMeasurable: TooShort where one is empty, NotFinite, or Silence where one is silent or
// they have nothing in common. It panics where maxLag is under 0.
func Align(reference, other []float64, maxLag int) (Alignment, error) {
	if maxLag < 0 {
		panic(fmt.Sprintf("measure: align: lag %d", maxLag))
	}
	if len(reference) == 0 || len(other) == 0 {
		return Alignment{}, notMeasurable(TooShort, "no samples")
	}
	if err := checkFinite(reference); err != nil {
		return Alignment{}, err
	}
	if err := checkFinite(other); err != nil {
		return Alignment{}, err
	}
	energy := 0.0
	for _, x := range [][]float64{reference, other} {
		e := 0.0
		for _, v := range x {
			e += v * v
		}
		if e == 0 {
			return Alignment{}, NotMeasurable{Reason: Silence}
		}
		energy += math.Log(e) / 2
	}
	n := nextPowerOfTwo(len(reference) + len(other)) // long enough that nothing wraps round
	plan := fourier.NewFFT(n)
	padded := make([]float64, n)
	copy(padded, reference)
	r := plan.Coefficients(nil, padded)
	clear(padded)
	copy(padded, other)
	o := plan.Coefficients(nil, padded)
	for k := range o {
		o[k] *= cmplx.Conj(r[k])
	}
	plan.Sequence(padded, o)
	var best Alignment
	for lag := -maxLag; lag <= maxLag; lag++ {
		if -lag >= len(reference) || lag >= len(other) {
			continue
		}
		v := padded[(lag+n)%n] / float64(n)
		if c := math.Abs(v) / math.Exp(energy); c > best.Correlation {
			best = Alignment{Lag: lag, Correlation: min(1, c), Inverted: v < 0}
		}
	}
	if best.Correlation == 0 {
		return Alignment{}, notMeasurable(Silence, "nothing in common within %d samples", maxLag)
	}
	return best, nil
}
