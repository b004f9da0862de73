package experiment

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Two paths by their difference in level and polarity: with a gain g against 1, the sum re the sum
// of powers is (1+g)²/(1+g²) and the correlation is the sign of g. A path that is equalised is told
// by what is rendered.
func TestCancellationByClosedForm(t *testing.T) {
	for _, c := range []struct {
		settings string
		gain     float64
		cancels  bool
	}{
		{"{kind: trim}", 1, false},
		{"{kind: trim, polarity: inverted}", -1, true},
		{"{kind: trim, gain: -6 dB}", dsp.FromDB(-6), false},
		{"{kind: trim, gain: -6 dB, polarity: inverted}", -dsp.FromDB(-6), true},
	} {
		f := chaintest.Board(t, "blocks:\n  a: {kind: trim}\n  b: "+c.settings+"\norder: [{split: {left: [a], right: [b]}}]\n")
		x, err := CancellationOf(f.Chains()[0], t.Context(), 48000)
		if err != nil {
			t.Fatal(err)
		}
		if want := math.Copysign(1, c.gain); math.Abs(x.Correlation-want) > 1e-6 {
			t.Errorf("%s: correlation %.6f, want %v", c.settings, x.Correlation, want)
		}
		want := 10 * math.Log10((1+c.gain)*(1+c.gain)/(1+c.gain*c.gain))
		if c.gain == -1 {
			if !strings.Contains(x.String(), "the sum under -100 dB re") {
				t.Errorf("said: %v", x)
			}
			if x.MonoDB > -100 {
				t.Errorf("%s: %.1f dB are left, want nothing", c.settings, x.MonoDB)
			}
		} else if math.Abs(x.MonoDB-want) > 0.001 || math.Abs(x.WorstDB-want) > 0.001 {
			t.Errorf("%s: sum %.4f dB, lowest %.4f dB, want %.4f", c.settings, x.MonoDB, x.WorstDB, want)
		}
		if x.Cancels() != c.cancels {
			t.Errorf("%s: cancels: %v", c.settings, x.Cancels())
		}
	}
}

// The correlation is that of what is rendered: a quarter of a second of noise with as much power in
// every octave, from 80 Hz to 5 kHz.
func TestCancellationIsThatOfTheRender(t *testing.T) {
	const rate = 48000
	f := chaintest.Board(t, `
blocks:
  first: {kind: buffer}
  a: {kind: eq, low: 12 dB, high: -12 dB}
  b: {kind: trim, polarity: inverted, gain: -3 dB}
order: [first, {split: {left: [a], right: [b]}}]
`)
	c := f.Chains()[0]
	x, err := CancellationOf(c, t.Context(), rate)
	if err != nil {
		t.Fatal(err)
	}
	const n = rate / 4
	in := make([]float64, n)
	chance := rand.New(rand.NewPCG(1, 2))
	// whole periods, and amplitude as 1/√f: every octave has the same power
	for hz := 80; hz < 5120; hz += 4 {
		amplitude, phase := 4e-4/math.Sqrt(float64(hz)), 2*math.Pi*chance.Float64()
		step := 2 * math.Pi * float64(hz) / rate
		for k := range in {
			in[k] += amplitude * math.Sin(step*float64(k)+phase)
		}
	}
	out := rendertest.Render(t, c, rate, section.Draft, render.Volts(in), "out.left", "out.right")
	var left, right, cross float64
	for k := n / 8; k < n; k++ { // 80 Hz and the bands' filters have settled
		l, r := out[0][k], out[1][k]
		left, right, cross = left+l*l, right+r*r, cross+l*r
	}
	rendered := cross / math.Sqrt(left*right)
	if math.Abs(rendered-x.Correlation) > 0.01 {
		t.Errorf("correlation %.4f by the responses, %.4f of what is rendered", x.Correlation, rendered)
	}
	if x.Correlation > -0.5 || x.Correlation < -0.99 {
		t.Errorf("correlation %.3f: the case should lie between", x.Correlation)
	}
}

// oneOctave cancels about 200 Hz alone.
const oneOctave = `
blocks:
  a: {kind: eq, low_mid: -12 dB, low_mid_freq: 200 Hz, low_mid_q: 0.4, level: 12 dB}
  b: {kind: eq, low_mid: 18 dB, low_mid_freq: 200 Hz, low_mid_q: 0.4, level: -18 dB}
  c: {kind: trim, polarity: inverted}
order: [{split: {left: [a], right: [b, c]}}]
`

// One octave may cancel where the whole does not: about 200 Hz the two are equal and opposite,
// elsewhere the left path drowns the right one.
func TestCancellationInAnOctave(t *testing.T) {
	f := chaintest.Board(t, oneOctave)
	x, err := CancellationOf(f.Chains()[0], t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	if x.WorstHz < 160 || x.WorstHz > 320 || x.WorstDB > -6 {
		t.Errorf("lowest at %.0f Hz, %.1f dB: want the octave of 226 Hz, -6 dB or less", x.WorstHz, x.WorstDB)
	}
	if x.Correlation < -0.5 || !x.Cancels() {
		t.Errorf("correlation %.2f, cancels %v", x.Correlation, x.Cancels())
	}
}

// What is in front of both paths does not matter, not even where it states no response; in one of
// them it does, and what is rendered tells. A plate in one path knows nothing of the other: the sum
// has the powers of both, give or take what chance has in 2 s (a tenth in the lowest octave, by
// 1/√(B·T)). With nothing of the plate in the mix, the path is the other one turned over.
func TestCancellationBehindAReverb(t *testing.T) {
	lines := "blocks: {plate: {kind: reverb, mix: 100 %}, a: {kind: trim}, b: {kind: trim, polarity: inverted}}\norder: [plate, {split: {left: [a], right: [b]}}]\n" +
		"takes: [{name: before}, {name: inside, order: [{split: {left: [a], right: [plate, b]}}]}, {name: dry, set: {plate.mix: 0 %}, order: [{split: {left: [a], right: [plate, b]}}]},\n" +
		"  {name: upright, off: [b], set: {plate.mix: 0 %}, order: [{split: {left: [a], right: [plate, b]}}]}]\n"
	f := chaintest.Board(t, lines)
	for _, c := range []struct {
		take        string
		correlation float64
		within      float64
		rendered    bool
		cancels     bool
	}{
		{"before", -1, 1e-6, false, true},
		{"inside", 0, 0.1, true, false},
		{"dry", -1, 1e-3, true, true},
		{"upright", 1, 1e-3, true, false},
	} {
		x, err := CancellationOf(chaintest.TakeOf(t, f, c.take), t.Context(), 48000)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(x.Correlation-c.correlation) > c.within || x.Rendered != c.rendered || x.Cancels() != c.cancels {
			t.Errorf("%s: %+v, cancels %v; want a correlation of %v", c.take, x, x.Cancels(), c.correlation)
		}
		t.Logf("%s: %v", c.take, x)
	}
}

// By rendering it is what it is by the responses, in the whole and in the octave that is lowest.
func TestCancellationBothWays(t *testing.T) {
	f := chaintest.Board(t, oneOctave)
	c := f.Chains()[0]
	response, err := octavesByResponse(c, 48000)
	if err != nil {
		t.Fatal(err)
	}
	rendered, err := octavesByRendering(c, t.Context(), 48000)
	if err != nil {
		t.Fatal(err)
	}
	for o := range response {
		of := func(p paths) (level, correlation float64) {
			return 10 * math.Log10(p.sum()/(p.left+p.right)), p.cross / math.Sqrt(p.left*p.right)
		}
		a, ca := of(response[o])
		b, cb := of(rendered[o])
		if math.Abs(a-b) > 0.5 || math.Abs(ca-cb) > 0.03 {
			t.Errorf("octave %d: %.2f dB, correlation %.3f by the responses, %.2f dB and %.3f rendered", o, a, ca, b, cb)
		}
	}
}
