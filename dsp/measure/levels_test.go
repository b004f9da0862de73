package measure

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// wantReason fails unless err says that the measure has no value for that reason.
func wantReason(t *testing.T, name string, err error, want Reason) {
	t.Helper()
	var e NotMeasurable
	if !errors.As(err, &e) || e.Reason != want {
		t.Errorf("%s: error %v, want reason %q", name, err, want)
	}
}

// near fails unless got is within tol of want; both are in the unit given.
func near(t *testing.T, name string, got, want, tol float64, unit string) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.7g, want %.7g, off by %.3g %s (allowed %.3g)", name, got, want, got-want, unit, tol)
	}
}

// sine is n samples of amplitude·sin(2π·frequency·t + phase).
func sine(n int, rate, frequency, amplitude, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*frequency*float64(i)/rate+phase)
	}
	return x
}

// noise is n samples of seeded Gaussian noise of standard deviation 1.
func noise(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 0))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// inPieces calls push with x cut into calls of the lengths of the conformance kit.
func inPieces(x []float64, push func([]float64)) {
	lengths := []int{1, 7, 64, 479}
	for i := 0; len(x) > 0; i++ {
		n := min(len(x), lengths[i%len(lengths)])
		push(x[:n])
		x = x[n:]
	}
}

func must[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func TestLevels(t *testing.T) {
	x := sine(48000, 48000, 1000, 0.5, 0.1)
	for i := range x {
		x[i] += 0.25
	}
	x[777] = -2
	l := must[Levels](t)(MeasureLevels(x))
	// Closed form: mean 0.25, mean square 0.25²+0.5²/2, each corrected for the one sample that was
	// replaced.
	was := 0.25 + 0.5*math.Sin(2*math.Pi*1000*777/48000+0.1)
	near(t, "DC", l.DC, 0.25+(-2-was)/48000, 1e-12, "V")
	near(t, "RMS", l.RMS, math.Sqrt(0.0625+0.125+(4-was*was)/48000), 1e-12, "V")
	if l.Peak != 2 || l.PeakAt != 777 || l.Samples != 48000 {
		t.Errorf("peak %v at %d of %d, want 2 at 777 of 48000", l.Peak, l.PeakAt, l.Samples)
	}
	pure := must[Levels](t)(MeasureLevels(sine(48000, 48000, 12000, 1, math.Pi/4)))
	near(t, "crest of samples at 45°", must[float64](t)(pure.CrestDB()), 0, 1e-9, "dB") // all samples are ±sqrt(1/2)
	near(t, "RMS of a sine", must[float64](t)(pure.RMSDB()), -3.0103, 1e-4, "dB")       // 10·log10(1/2)

	var m LevelMeter
	inPieces(x, m.Push)
	if got := must[Levels](t)(m.Levels()); got != l {
		t.Errorf("in pieces %+v, in one call %+v", got, l)
	}
}

func TestLevelsNotMeasurable(t *testing.T) {
	_, err := MeasureLevels(nil)
	wantReason(t, "no samples", err, TooShort)
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e200} {
		_, err = MeasureLevels([]float64{0, v, 0})
		wantReason(t, "bad sample", err, NotFinite)
		if err == nil || !strings.Contains(err.Error(), "sample 1") {
			t.Errorf("error %v does not name sample 1", err)
		}
	}
	silent := must[Levels](t)(MeasureLevels(make([]float64, 10)))
	if silent.RMS != 0 || silent.Peak != 0 {
		t.Errorf("silence has levels %+v", silent)
	}
	_, err = silent.CrestDB()
	wantReason(t, "crest of silence", err, Silence)
	_, err = silent.RMSDB()
	wantReason(t, "level of silence", err, Silence)
}
