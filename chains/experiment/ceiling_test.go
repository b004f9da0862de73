package experiment

import (
	"math"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// clippedAt is the peak, re the voltage at which it is clipped, of a hard-clipped sine that is just
// past some limit on its THD as a ratio and its gain, in closed form.
func clippedAt(past func(thd, gain float64) bool) float64 {
	// Harmonics of a sine clipped at the share x of its peak, a = arcsin x: b1 = (2/π)(a + x·cos
	// a), and for odd n bn = (4/π)((sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1))/2 + x·cos(na)/n).
	of := func(x float64) (thd, gain float64) {
		a := math.Asin(x)
		b1 := 2 / math.Pi * (a + x*math.Cos(a))
		sum := 0.0
		for n := 3.0; n <= 9; n += 2 { // the meter takes ten harmonics
			b := 4 / math.Pi * ((math.Sin((n-1)*a)/(n-1)-math.Sin((n+1)*a)/(n+1))/2 + x*math.Cos(n*a)/n)
			sum += b * b
		}
		return math.Sqrt(sum) / b1, b1
	}
	lo, hi := 0.1, 1.0
	for range 50 {
		if m := (lo + hi) / 2; past(of(m)) {
			lo = m
		} else {
			hi = m
		}
	}
	return 1 / lo
}

// The ceilings of a stage that clips a sine hard, re the voltage at which it does.
var (
	railColours  = clippedAt(func(thd, _ float64) bool { return thd > 0.01 })
	railBreaksUp = clippedAt(func(thd, gain float64) bool {
		began := 0.0
		clippedAt(func(thd, gain float64) bool {
			if thd > 0.01 {
				began = gain
			}
			return thd > 0.01
		})
		return thd > 0.1 || thd > 0.01 && dsp.ToDB(began/gain) > 1
	})
)

// A buffer clips a sine hard at 4.5 V - 1.5 V = 3 V: it colours where a hard-clipped sine has 1 %
// of distortion, and breaks up where its gain has fallen by 1 dB since or it has 10 %, by closed
// form.
func TestCeilingsOfARail(t *testing.T) {
	c := chaintest.Chain(t, "pedal: {kind: volume}; buffer: {kind: buffer}; eq: {kind: eq, level: 12 dB}", "pedal, buffer, eq")
	list, err := Ceilings(c, t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	for k, gain := range map[int]float64{1: 0, 2: 12} {
		near(t, list[k].Block+" colours", measures.Figure{Value: dsp.ToDB(list[k].Colours.Value)}, dsp.ToDB(3*railColours)-gain, 0.1, "dBV")
		near(t, list[k].Block+" breaks up", measures.Figure{Value: dsp.ToDB(list[k].BreaksUp.Value)}, dsp.ToDB(3*railBreaksUp)-gain, 0.1, "dBV")
	}
	for _, f := range []measures.Figure{list[0].Colours, list[0].BreaksUp} {
		if f.OK() {
			t.Errorf("a passive volume pedal has a ceiling of %v V", f.Value)
		}
	}
	t.Logf("clipped hard: colours at %.3f, breaks up at %.3f of where it clips", railColours, railBreaksUp)
}

// An overdrive hides its harmonics behind a filter and adds its clean input: of 10 % at its output
// it is short with 3 V still. That its gain falls tells that its diodes are at work, long before a
// guitar's 0.3 V. A clean amplifier's triodes colour at a tenth of what makes them break up, and a
// compressor colours where its rails are, however far it compresses.
func TestBreakUpIsWhatPlayersCallIt(t *testing.T) {
	c := chaintest.Chain(t, "drive: {kind: overdrive, drive: 4}; clear: {kind: preamp, gain: 2}; squash: {kind: compressor, threshold: -40 dBV, ratio: 10}", "drive, clear, squash")
	list, err := Ceilings(c, t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	drive, clear, squash := list[0], list[1], list[2]
	for _, l := range list {
		t.Logf("%s: colours from %.4g V, breaks up at %.4g V", l.Block, l.Colours.Value, l.BreaksUp.Value)
	}
	if v := drive.BreaksUp; !v.OK() || v.Value > 0.1 {
		t.Errorf("an overdrive breaks up at %+v V, want under 0.1 V", v)
	}
	if v := dsp.ToDB(clear.BreaksUp.Value / clear.Colours.Value); v < 12 || clear.BreaksUp.Value < 0.2 {
		t.Errorf("a clean preamplifier colours %.1f dB under where it breaks up, at %.3g V", v, clear.BreaksUp.Value)
	}
	if v := squash.BreaksUp; !v.OK() || v.Value < 2 {
		t.Errorf("a compressor breaks up at %+v V: it only compresses", v)
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
		for _, f := range []measures.Figure{l.Colours, l.BreaksUp} {
			if f.OK() || !strings.HasSuffix(f.Why, "tone comes through") {
				t.Errorf("%s: %+v", l.Block, f)
			}
		}
	}
}
