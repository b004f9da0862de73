package chains_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/dsp/section"
)

// distortion is the total harmonic distortion, as a ratio, of 330 Hz at the output.
func distortion(t *testing.T, c *board.Chain, peak float64) float64 {
	t.Helper()
	const rate = 48000
	// 160 periods of 330 Hz are 23272.7 samples; 330 periods of it are 48000. The first second
	// settles the bias.
	y := rendertest.Render(t, c, rate, section.Normal, render.Volts(chaintest.Tone(2*rate, rate, 330, peak)), "fuzz.out")[0]
	h, err := measure.FitHarmonics(y[rate:], rate, 330, 40)
	if err != nil {
		t.Fatal(err)
	}
	return h.THD()
}

func TestRollingBackCleansUpAFuzzThatSeesTheGuitar(t *testing.T) {
	blocks := "fuzz: {kind: fuzz, device: silicon, fuzz: 10}; buffer: {kind: buffer}"
	direct := distortion(t, chaintest.Chain(t, blocks, "fuzz, buffer", "guitar.volume: 3"), chaintest.SoftNote)
	buffered := distortion(t, chaintest.Chain(t, blocks, "buffer, fuzz", "guitar.volume: 3"), chaintest.SoftNote)
	t.Logf("guitar's volume at 3, soft note: distortion %.1f %% with the fuzz first, %.1f %% behind a buffer", 100*direct, 100*buffered)
	if direct > 0.20 {
		t.Errorf("fuzz first: distortion %.1f %%, want under 20 %%", 100*direct)
	}
	if buffered < 0.60 {
		t.Errorf("behind a buffer: distortion %.1f %%, want over 60 %%", 100*buffered)
	}
	if full := distortion(t, chaintest.Chain(t, blocks, "fuzz, buffer", "guitar.volume: 10"), chaintest.SoftNote); full < 0.60 {
		t.Errorf("fuzz first with the volume full: distortion %.1f %%; it should be a fuzz", 100*full)
	}
}

// gainAt is the small-signal gain in dB from the pickup to a jack through all circuits and
// followers.
func gainAt(t *testing.T, c *board.Chain, jack string, f dsp.Hertz) float64 {
	t.Helper()
	h, err := render.PlanOf(c, 48000, section.Normal).Response(jack, f)
	if err != nil {
		t.Fatal(err)
	}
	return dsp.ToDB(cmplx.Abs(h))
}

func TestBufferMakesTheFuzzBrighter(t *testing.T) {
	blocks := "fuzz: {kind: fuzz, device: silicon, fuzz: 10}; buffer: {kind: buffer}"
	tilt := func(order string) float64 {
		c := chaintest.Chain(t, blocks, order)
		return gainAt(t, c, "fuzz.out", 3000) - gainAt(t, c, "fuzz.out", 400)
	}
	more := tilt("buffer, fuzz") - tilt("fuzz, buffer")
	t.Logf("3 kHz against 400 Hz: %.1f dB more behind a buffer", more)
	if more < 10 {
		t.Errorf("the buffer gives %.1f dB more at 3 kHz relative to 400 Hz, want at least 10 dB", more)
	}
}

func TestCableDullsOnlyAPassiveSource(t *testing.T) {
	blocks := "run: {kind: cable, length: 12 m}; buffer: {kind: buffer}"
	loss := func(order string) float64 {
		with := chaintest.Chain(t, blocks, order)
		without := chaintest.Chain(t, "buffer: {kind: buffer}", "buffer")
		return gainAt(t, without, "out", 5000) - gainAt(t, with, "out", 5000)
	}
	first, after := loss("run, buffer"), loss("buffer, run")
	t.Logf("12 m of cable cost %.2f dB at 5 kHz before the buffer and %.3f dB after it", first, after)
	if first < 3 {
		t.Errorf("before the buffer 12 m cost %.2f dB at 5 kHz, want at least 3 dB", first)
	}
	if after > 0.1 {
		t.Errorf("after the buffer 12 m cost %.3f dB at 5 kHz, want at most 0.1 dB", after)
	}
}

// Linear time-invariant blocks on isolated stages commute: swapped, they null. Isolated means that
// each meets the same load in either place, here the input of another active block: as the last
// block one of them would have the long cable to the amplifier, and that is heard at -48 dB.
func TestLinearBlocksOnStagesSwapWithoutTrace(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	in := make([]float64, 48000)
	for k := range in {
		in[k] = 0.05 * rng.NormFloat64()
	}
	blocks := "eq: {kind: eq}; echo: {kind: delay, time: 40 ms}; plate: {kind: reverb, decay: 1 s}; last: {kind: buffer}; buffer: {kind: buffer}; fuzz: {kind: fuzz}"
	null := func(one, other string) float64 {
		var set []string
		if strings.Contains(one, "eq") {
			set = []string{"eq.low: 6 dB", "eq.high: -9 dB"}
		}
		a := rendertest.Render(t, chaintest.Chain(t, blocks, one, set...), 48000, section.Normal, render.Volts(in), "out")[0]
		b := rendertest.Render(t, chaintest.Chain(t, blocks, other, set...), 48000, section.Normal, render.Volts(in), "out")[0]
		n, err := measure.NullOf(a, b)
		if err != nil {
			t.Fatal(err)
		}
		db, err := n.DB()
		if err != nil {
			t.Fatal(err)
		}
		return db
	}
	const bound = -120 // dB
	for _, swap := range [][2]string{
		{"buffer, eq, echo, last", "buffer, echo, eq, last"},
		{"buffer, eq, plate, last", "buffer, plate, eq, last"},
		{"buffer, echo, plate, last", "buffer, plate, echo, last"},
	} {
		if depth := null(swap[0], swap[1]); depth > bound {
			t.Errorf("%s against %s: null %.1f dB, want at most %d dB", swap[0], swap[1], depth, bound)
		}
	}
	if depth := null("eq, fuzz", "fuzz, eq"); depth < -6 {
		t.Errorf("an EQ before and after a fuzz null at %.1f dB: the check sees nothing", depth)
	}
}

// A buffered fuzz that is played hard has more than 100 % of distortion, and no filter makes that:
// its second transistor conducts most of the time, and what comes out is narrow pulses. They have at
// its collector the THD that they have at its output, and that of rectangular pulses of their width
// (closed form: harmonics of sin(nπd)/n, here to the tenth), where a square wave has 43 %.
func TestBufferedFuzzMakesPulses(t *testing.T) {
	const rate, hz = 48000, 997
	c := shippedTake(t, "fuzz-or-buffer-first", "buffered")
	memo := render.NewMemo(chaintest.Tone(rate/2, rate, hz, 0.2), rate, section.Draft, 1<<28)
	plan := render.PlanOf(c, rate, section.Draft)
	at := func(node string) ([]float64, float64) {
		y, err := memo.Signal(t.Context(), plan, node)
		if err != nil {
			t.Fatal(err)
		}
		y = y[len(y)-rate/10:]
		h, err := measure.FitHarmonics(y, rate, hz, 10)
		if err != nil {
			t.Fatal(err)
		}
		return y, h.THD()
	}
	y, made := at("fuzz.c2")
	_, out := at("fuzz.out")
	half := (slices.Min(y) + slices.Max(y)) / 2
	width := share(len(y), func(k int) bool { return y[k] > half })
	line := func(n float64) float64 { return math.Sin(n*math.Pi*width) / n }
	sum := 0.0
	for n := 2.0; n <= 10; n++ {
		sum += line(n) * line(n)
	}
	want := math.Sqrt(sum) / line(1)
	t.Logf("pulses of %.0f %% of the period: THD %.1f %% at the collector, %.1f %% at the output; rectangular ones have %.1f %%", 100*width, 100*made, 100*out, 100*want)
	if math.Abs(out/made-1) > 0.01 {
		t.Errorf("THD of %.1f %% at the output, %.1f %% at the collector: a filter makes it", 100*out, 100*made)
	}
	if math.Abs(made/want-1) > 0.05 {
		t.Errorf("THD of %.1f %%, want %.1f %%: pulses of %.0f %% of the period", 100*made, 100*want, 100*width)
	}
}
