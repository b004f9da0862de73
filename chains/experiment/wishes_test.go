package experiment

import (
	"math"
	"slices"
	"testing"

	"drywire/chains"
	"drywire/dsp"
	"drywire/dsp/section"
)

// What a chain file may wish for is what there are measures for.
func TestWishesAreThoseOfTheChainFile(t *testing.T) {
	var file, here []string
	for _, w := range chains.Wishes() {
		file = append(file, w.Name)
	}
	for _, w := range Wishes() {
		here = append(here, w.Name)
		if w.Unit == "" || w.Better != "higher" || !(w.Step > 0) || w.Definition == "" {
			t.Errorf("%+v", w)
		}
	}
	if !slices.Equal(file, here) || !slices.IsSorted(here) || len(here) < 7 {
		t.Errorf("chain file: %v, measures: %v", file, here)
	}
	if _, err := findWishes([]string{"loud"}); err == nil {
		t.Error("a wish that there is not")
	}
}

func wished(t *testing.T, c *chains.Chain, recording []float64, names ...string) []Figure {
	t.Helper()
	list, err := findWishes(names)
	if err != nil {
		t.Fatal(err)
	}
	values, err := newWishBench(recording, measureRate, section.Draft, RankMemory, false).measure(t.Context(), c, list)
	if err != nil {
		t.Fatal(err)
	}
	return values
}

// What Measure says of a whole take, the wishes say with renders that are shared.
func TestWishesAgreeWithMeasure(t *testing.T) {
	c := take(t, "fuzz: {kind: fuzz}; buffer: {kind: buffer}", "volume: 10", "fuzz", "buffer")
	x := swelling(1, Tone{220, 0.2})
	got := wished(t, c, x, "clean-up", "sustain", "quiet")
	m := measured(t, c, x, TestTone)
	if !m.Dynamics.CleanUp.OK() || !m.Dynamics.Sustain.OK() {
		t.Fatalf("%+v", m.Dynamics)
	}
	near(t, "clean-up", got[0], m.Dynamics.CleanUp.Value, 0.01, "dB")
	near(t, "sustain", got[1], m.Dynamics.Sustain.Value, 0.005, "s")
	near(t, "quiet", got[2], m.Jacks[len(m.Jacks)-1].SNRA.Value, 0.1, "dB") // a coarser ledger: 0.05 dB
}

// A buffer of 9 V clips at 3 V: 4.5 V less 1.5 V. A tone of so many volts at the source comes to its input all but whole: 500 kΩ of pots and 1 MΩ behind a pickup of
// 8 kΩ take 0.3 dB at 220 Hz.
func TestHeadroom(t *testing.T) {
	c := take(t, "one: {kind: buffer}; eq: {kind: eq, level: 12 dB}", "volume: 10", "one", "eq")
	for _, volts := range []float64{0.1, 0.3, 1.2} {
		got := wished(t, c, swelling(0.5, Tone{220, volts}), "headroom")[0]
		near(t, "headroom after 12 dB of gain", got, math.Max(dsp.ToDB(3/volts)-12, 0), 0.5, "dB") // what comes out of a stage that clips is at its ceiling
	}
	// What goes in tells by how much a stage is over.
	got := wished(t, take(t, "one: {kind: buffer}", "volume: 10", "one"), swelling(0.5, Tone{220, 6}), "headroom")[0]
	near(t, "headroom of a stage that gets twice what it can", got, dsp.ToDB(3.0/6), 0.5, "dB")
	if got := wished(t, take(t, "pedal: {kind: volume}", "volume: 10", "pedal"), swelling(0.5, Tone{220, 0.1}), "headroom")[0]; got.OK() {
		t.Errorf("two resistors have %v dB of headroom", got.Value)
	}
}

// Brightness: a treble shelf raises what lies above 2 kHz, and little else.
func TestBrightness(t *testing.T) {
	x := sines(measureRate, measureRate, Tone{300, 0.1}, Tone{4000, 0.01})
	flat := take(t, "one: {kind: buffer}; eq: {kind: eq}", "volume: 10", "one", "eq")
	bright := take(t, "one: {kind: buffer}; eq: {kind: eq, high: 6 dB, high_freq: 1.2 kHz}", "volume: 10", "one", "eq")
	a, b := wished(t, flat, x, "brightness kept")[0], wished(t, bright, x, "brightness kept")[0]
	// A shelf of 6 dB has all of it at 4 kHz, 1.7 octaves above its middle, and little at 300 Hz.
	near(t, "what a shelf of 6 dB adds", b.minus(a), 6, 0.3, "dB")
}

// A ladder of levels has a known spread: 50 steps of 50 ms from -24.5 to 0 dB, of which the 10 % and 95 % points are 42 steps of 0.5 dB apart.
func TestLevelSpread(t *testing.T) {
	var x []float64
	for k := range 50 {
		x = append(x, scaled(sines(measureRate/20, measureRate, Tone{400, 1}), -0.5*float64(k))...)
	}
	// Of 50 levels in order, number round(0.1·49) = 5 and round(0.95·49) = 47: 42 steps.
	near(t, "spread", levelSpread(x, measureRate), 21, 1e-6, "dB")
	// What is more than 40 dB down does not count.
	quiet := append(slices.Clone(x), scaled(sines(measureRate, measureRate, Tone{400, 1}), -60)...)
	near(t, "spread with a pause", levelSpread(quiet, measureRate), 21, 1e-6, "dB")
	if f := levelSpread(x[:measureRate/2], measureRate); f.OK() || f.Why != "too short: 0.5 s, needs 1 s of sound" {
		t.Errorf("half a second: %+v", f)
	}
	if f := levelSpread(make([]float64, measureRate), measureRate); f.OK() || f.Why != "silence" {
		t.Errorf("silence: %+v", f)
	}
}

// The lines of a repeat: 1 V of it, 1 V of the note over it, and 0.1 V at a line of neither are 20 dB.
func TestRepeatClarity(t *testing.T) {
	const size = 1 << 14
	low, high := repeatLines(size, measureRate)
	if low != 113 || high != 150 { // 330·16384/48000 = 112.6, 440·16384/48000 = 150.2; 113 is prime
		t.Fatalf("lines %d and %d", low, high)
	}
	line := func(k int, volts float64) Tone { return Tone{float64(k) * measureRate / size, volts} }
	x := sines(size, measureRate, line(low, 1), line(high, 1), line(high+low/2, 0.1))
	near(t, "clarity", repeatClarity(x, low, high, measureRate), 20, 0.01, "dB")
	// Harmonics of either do not count against it; the repeat's own count for it.
	x = sines(size, measureRate, line(low, 1), line(3*low, 1), line(high, 1), line(2*high, 5), line(high+low/2, 0.1))
	near(t, "clarity with harmonics", repeatClarity(x, low, high, measureRate), 20+dsp.ToDB(math.Sqrt2), 0.01, "dB")
	if f := repeatClarity(sines(size, measureRate, line(high, 1), line(high+low/2, 0.1)), low, high, measureRate); f.OK() {
		t.Errorf("no repeat: %v dB", f.Value)
	}
}

// A delay behind the fuzz keeps its repeats apart from what is played over them; in front of it, both are torn up together.
func TestClearRepeats(t *testing.T) {
	const blocks = "fuzz: {kind: fuzz}; buffer: {kind: buffer}; echo: {kind: delay, time: 300 ms}"
	x := swelling(0.1, Tone{220, 0.2})
	behind := wished(t, take(t, blocks, "volume: 10", "buffer", "fuzz", "echo"), x, "clear repeats")[0]
	before := wished(t, take(t, blocks, "volume: 10", "buffer", "echo", "fuzz"), x, "clear repeats")[0]
	if !behind.OK() || !before.OK() || behind.Value < before.Value+6 {
		t.Errorf("behind the fuzz %+v dB, before it %+v dB", behind, before)
	}
	for what, c := range map[string]struct{ blocks, why string }{
		"none":  {"buffer: {kind: buffer}", "no delay in the chain"},
		"short": {"buffer: {kind: delay, time: 30 ms}", "too short: a delay of 30 ms; it takes 60 ms and more to tell notes apart"},
	} {
		if f := wished(t, take(t, c.blocks, "volume: 10", "buffer"), x, "clear repeats")[0]; f.Why != c.why {
			t.Errorf("%s: %+v", what, f)
		}
	}
}

// Silence, too little, and a wall of sound get a reason in every wish that reads the take.
func TestWishesNotMeasurable(t *testing.T) {
	c := take(t, "one: {kind: buffer}", "volume: 10", "one")
	for _, name := range []string{"brightness kept", "dynamics kept", "headroom", "quiet"} {
		if f := wished(t, c, make([]float64, measureRate), name)[0]; f.OK() {
			t.Errorf("%s of silence is %v", name, f.Value)
		}
	}
	for _, name := range []string{"brightness kept", "dynamics kept"} {
		if f := wished(t, c, swelling(0.1, Tone{220, 0.1}), name)[0]; f.OK() {
			t.Errorf("%s of 0.1 s is %v", name, f.Value)
		}
	}
}
