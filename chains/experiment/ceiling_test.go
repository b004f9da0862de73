package experiment

import (
	"math"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// A buffer clips a sine hard at 4.5 V - 1.5 V = 3 V: the ceiling is where a hard-clipped sine has 1
// % of distortion, by its closed form.
func TestCeilingOfARail(t *testing.T) {
	// Harmonics of a sine clipped at the share x of its peak, a = arcsin x: b1 = (2/π)(a + x·cos
	// a), and for odd n bn = (4/π)((sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1))/2 + x·cos(na)/n).
	thd := func(x float64) float64 {
		a := math.Asin(x)
		b1 := 2 / math.Pi * (a + x*math.Cos(a))
		sum := 0.0
		for n := 3.0; n <= 9; n += 2 { // the meter takes ten harmonics
			b := 4 / math.Pi * ((math.Sin((n-1)*a)/(n-1)-math.Sin((n+1)*a)/(n+1))/2 + x*math.Cos(n*a)/n)
			sum += b * b
		}
		return math.Sqrt(sum) / b1
	}
	lo, hi := 0.5, 1.0
	for range 50 {
		if m := (lo + hi) / 2; thd(m) > 0.01 {
			lo = m
		} else {
			hi = m
		}
	}
	want := 3 / lo
	c := chaintest.Chain(t, "pedal: {kind: volume}; buffer: {kind: buffer}; eq: {kind: eq, level: 12 dB}", "pedal, buffer, eq")
	list, err := Ceilings(c, t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	if got := list[1].Volts; math.Abs(dsp.ToDB(got/want)) > 0.1 {
		t.Errorf("buffer: %.4f V, want %.4f V within 0.1 dB", got, want)
	}
	if got, want := list[2].Volts, want/math.Pow(10, 12./20); math.Abs(dsp.ToDB(got/want)) > 0.1 {
		t.Errorf("equaliser with 12 dB of gain: %.4f V, want %.4f V within 0.1 dB", got, want)
	}
	if list[0].Volts != 0 || list[0].Why == "" {
		t.Errorf("a passive volume pedal has a ceiling of %v V (%q)", list[0].Volts, list[0].Why)
	}
}

// However many boosts stand in a row behind a drive, and however hard they are hit, none gives more
// than its rails, 4.5 V - 1.5 V = 3 V, but for what a band limit makes of edges: 9 % (Gibbs) where
// they stand alone, and at the very worst 7.1 V, by the sum of the magnitudes of the filter's taps.
// Twice the rails is between the two.
func TestRailsHoldInARow(t *testing.T) {
	c := chaintest.Chain(t, "drive: {kind: overdrive, drive: 10, tone: 10, level: 10}; one: {kind: boost, gain: 30 dB}; two: {kind: boost, gain: 30 dB}; three: {kind: boost, gain: 30 dB}", "drive, one, two, three")
	jacks := []string{"one.out", "two.out", "three.out"}
	for k, y := range rendertest.Render(t, c, 48000, section.Draft, render.Volts(chaintest.Chord(48000, 48000)), jacks...) {
		largest := 0.0
		for _, v := range y {
			largest = max(largest, math.Abs(v))
		}
		if largest < 2.9 || largest > 6 {
			t.Errorf("%s: at most %.3f V, want 3 V to 6 V", jacks[k], largest)
		}
		t.Logf("%s: at most %.3f V", jacks[k], largest)
	}
}

// A block that lets no tone through at some level has no ceiling, which is no reason to measure
// nothing else.
func TestCeilingOfABlockTurnedDown(t *testing.T) {
	c := chaintest.Chain(t, "fuzz: {kind: fuzz, fuzz: 0, level: 0}; dist: {kind: distortion, distortion: 0, tone: 0, level: 0}", "fuzz, dist")
	list, err := Ceilings(c, t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range list {
		if l.Volts != 0 || !strings.HasSuffix(l.Why, "tone comes through") {
			t.Errorf("%s: %v V (%q)", l.Block, l.Volts, l.Why)
		}
	}
}
