package experiment

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"drywire/dsp"
	"drywire/dsp/measure"
)

const rate = 48000

// noise is seeded noise with silence after it, for a loudness that needs its gates.
func noisy(level float64, seconds, silence float64) []float64 {
	r := rand.New(rand.NewPCG(7, 7))
	x := make([]float64, int((seconds+silence)*rate))
	for k := range x[:int(seconds*rate)] {
		x[k] = level * (2*r.Float64() - 1)
	}
	return x
}

func read(x []float64) func(float64) (Reading, error) {
	return func(gain float64) (Reading, error) {
		m := NewMeter(rate, ByLoudness(int64(len(x)), rate))
		y := make([]float64, len(x))
		Shape{Gain: gain, Frames: int64(len(x))}.Apply(y, x, 0)
		for at := 0; at < len(y); at += 479 {
			m.Push(y[at:min(at+479, len(y))])
		}
		return m.Reading()
	}
}

func peakOf(t *testing.T, x []float64) float64 {
	t.Helper()
	var m measure.TruePeakMeter
	m.Push(x)
	p, err := m.TruePeak()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestSettle(t *testing.T) {
	// A quiet part 37 dB under the loud one: at some gains it passes the gate of -70 LUFS and at
	// others not.
	gated := append(noisy(1e-3, 2, 1), noisy(1e-3/70, 6, 0)...)
	for name, x := range map[string][]float64{"loud": noisy(3, 2, 0), "soft": noisy(2e-5, 2, 3), "gated": gated} {
		s, err := Settle(peakOf(t, x), Target, read(x))
		if err != nil {
			t.Fatal(err)
		}
		if !s.Matched || math.Abs(s.Level-Target) > Close {
			t.Errorf("%s: settled at %+v, want %v LUFS", name, s, Target)
		}
		again, err := read(x)(s.Gain)
		if err != nil {
			t.Fatal(err)
		}
		if again != s.Reading {
			t.Errorf("%s: read %+v at the gain that was found, reported %+v", name, again, s.Reading)
		}
	}
}

// A full-scale sine at 997 Hz is -3.01 LUFS (BS.1770-5, Annex 1), so one of 2 V needs -6.02 - 16.99
// dB to be at -20.
func TestSettleSine(t *testing.T) {
	x := make([]float64, 2*rate)
	for k := range x {
		x[k] = 2 * math.Sin(2*math.Pi*997*float64(k)/rate)
	}
	s, err := Settle(peakOf(t, x), -20, read(x))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := dsp.ToDB(s.Gain), -23.01; math.Abs(got-want) > 0.02 { // dB
		t.Errorf("gain %.3f dB, want %.2f", got, want)
	}
}

func TestSettleWhatHasNoLevel(t *testing.T) {
	silent, err := Settle(0, Target, func(float64) (Reading, error) { t.Fatal("silence was read"); return Reading{}, nil })
	if err != nil || silent.Matched || silent.Gain != 1 {
		t.Errorf("silence: %+v, %v; want no match and no gain", silent, err)
	}
	gone := measure.NotMeasurable{Reason: measure.BelowGate}
	click, err := Settle(0.5, Target, func(float64) (Reading, error) { return Reading{}, gone })
	if err != nil || click.Matched || math.Abs(dsp.ToDB(0.5*click.Gain)-Ceiling) > 1e-9 {
		t.Errorf("a click: %+v, %v; want its true peak at the ceiling", click, err)
	}
	broken := errors.New("disk on fire")
	if _, err := Settle(0.5, Target, func(float64) (Reading, error) { return Reading{}, broken }); !errors.Is(err, broken) {
		t.Errorf("an error of the reading came back as %v", err)
	}
}

func TestShortTakesAreReadByRMS(t *testing.T) {
	if ByLoudness(rate*4/10-1, rate) || !ByLoudness(rate*4/10, rate) {
		t.Error("the shortest take with a loudness is 400 ms: BS.1770-5, one gating block")
	}
	x := noisy(1, 0.1, 0)
	r, err := read(x)(1)
	if err != nil {
		t.Fatal(err)
	}
	// dB; even noise of ±1 has an RMS of 1/√3
	if want := dsp.ToDB(1 / math.Sqrt(3)); math.Abs(r.Level-want) > 0.1 {
		t.Errorf("even noise reads %.2f dB, want %.2f", r.Level, want)
	}
}

func TestCommon(t *testing.T) {
	at := func(level, peakDB float64) Settled {
		return Settled{Matched: true, Reading: Reading{Level: level, TruePeak: dsp.FromDB(peakDB)}}
	}
	for _, c := range []struct {
		takes  []Settled
		target float64
		by     int
	}{
		{nil, Target, -1},
		{[]Settled{at(-20, -8), at(-20, -1.02)}, Target, -1},
		{[]Settled{at(-20, -0.5)}, -20.51, 0},
		// 4 dB over the ceiling, and the 0.01 that is kept back
		{[]Settled{at(-20, -8), at(-20, 3), at(-20, 1)}, -24.01, 1},
		{[]Settled{at(-20, -8), {Gain: 1, Reading: Reading{TruePeak: 9}}}, Target, -1},
	} {
		target, by := Common(c.takes)
		if math.Abs(target-c.target) > 1e-9 || by != c.by {
			t.Errorf("%+v: %v by %d, want %v by %d", c.takes, target, by, c.target, c.by)
		}
	}
}

func TestShape(t *testing.T) {
	x := make([]float64, 100)
	for k := range x {
		x[k] = 1
	}
	s := Shape{Gain: 2, Fade: 10, Frames: 100}
	whole := make([]float64, 100)
	s.Apply(whole, x, 0)
	// a raised cosine: half-way up at half the fade
	for k, want := range map[int]float64{0: 0, 5: 1, 10: 2, 50: 2, 89: 2, 94: 1, 99: 0} {
		if math.Abs(whole[k]-want) > 1e-12 {
			t.Errorf("sample %d is %g, want %g", k, whole[k], want)
		}
	}
	cut := make([]float64, 100)
	for at := 0; at < 100; at += 7 {
		end := min(at+7, 100)
		s.Apply(cut[at:end], x[at:end], int64(at))
	}
	for k := range cut {
		if cut[k] != whole[k] {
			t.Fatalf("in calls of 7, sample %d is %g, in one call %g", k, cut[k], whole[k])
		}
	}
}

func TestDifferences(t *testing.T) {
	a := noisy(1, 0.1, 0)
	b := make([]float64, len(a))
	for k := range a {
		b[k] = 1.001 * a[k] // a thousandth: -60 dB by definition
	}
	silent := make([]float64, len(a))
	d := NewDifferences(4)
	for at := 0; at < len(a); at += 100 {
		d.Push([][]float64{a[at : at+100], b[at : at+100], a[at : at+100], silent[at : at+100]})
	}
	nulls := d.Nulls()
	if len(nulls) != 6 {
		t.Fatalf("%d pairs of four takes, want 6", len(nulls))
	}
	c := Comparison{Nulls: nulls}
	if n, _ := c.Of(1, 2); n.DB == nil || math.Abs(*n.DB+60) > 1e-6 {
		t.Errorf("a thousandth more: %+v, want -60 dB", n)
	}
	if n, _ := c.Of(1, 3); !n.Identical || n.DB != nil {
		t.Errorf("the same: %+v", n)
	}
	if n, _ := c.Of(1, 4); n.Identical || n.DB != nil {
		t.Errorf("against silence: %+v, want no level", n)
	}
	if n := len(NewDifferences(mostPairs + 1).pairs); n != mostPairs {
		t.Errorf("%d takes make %d pairs, want each with the first", mostPairs+1, n)
	}
}
