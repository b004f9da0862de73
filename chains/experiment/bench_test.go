package experiment

import (
	"math"
	"testing"

	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/dsp"
	"drywire/dsp/section"
)

func TestObjectives(t *testing.T) {
	if list, err := objectives(nil); err != nil || len(list) != len(usual) {
		t.Errorf("without a wish: %v, %v", list, err)
	}
	if _, err := objectives([]string{"loud"}); err == nil {
		t.Error("an objective that there is not")
	}
}

func wished(t *testing.T, c *board.Chain, recording []float64, names ...string) []measures.Figure {
	t.Helper()
	list, err := objectives(names)
	if err != nil {
		t.Fatal(err)
	}
	values, err := newBench(Dry{Volts: recording}, measureRate, section.Draft, RankMemory, false).measure(t.Context(), c, list, false)
	if err != nil {
		t.Fatal(err)
	}
	return values
}

// What Measure says of a whole take, the objectives say with renders that are shared.
func TestWishesAgreeWithMeasure(t *testing.T) {
	c := take(t, "fuzz: {kind: fuzz}; buffer: {kind: buffer}", "volume: 10", "fuzz", "buffer")
	x := swelling(1, dsp.Tone{Hz: 220, Volts: 0.2})
	got := wished(t, c, x, "clean-up", "sustain", "quiet")
	m := measured(t, c, x, measures.TestTone)
	if !m.Dynamics.Of(measures.CleanUp).OK() || !m.Dynamics.Of(measures.Sustain).OK() {
		t.Fatalf("%+v", m.Dynamics)
	}
	near(t, "clean-up", got[0], m.Dynamics.Of(measures.CleanUp).Value, 0.01, "dB")
	near(t, "sustain", got[1], m.Dynamics.Of(measures.Sustain).Value, 0.005, "s")
	// a coarser ledger: 0.05 dB
	near(t, "quiet", got[2], m.Jacks[len(m.Jacks)-1].Of(measures.SignalToNoiseA).Value, 0.1, "dB")
}

// A buffer of 9 V clips at 3 V: 4.5 V less 1.5 V, and breaks up with a little more (closed form). A
// tone of so many volts at the source comes to its input all but whole: 500 kΩ of pots and 1 MΩ
// behind a pickup of 8 kΩ take 0.3 dB at 220 Hz.
func TestHeadroom(t *testing.T) {
	const clips = 3.0
	c := take(t, "one: {kind: buffer}; eq: {kind: eq, level: 12 dB}", "volume: 10", "one", "eq")
	for _, volts := range []float64{0.1, 0.3} {
		got := wished(t, c, swelling(0.5, dsp.Tone{Hz: 220, Volts: dsp.Volt(volts)}), "headroom")[0]
		near(t, "headroom before 12 dB of gain", got, dsp.ToDB(clips*railBreaksUp/volts)-12, 0.5, "dB")
	}
	// What goes in tells by how much a block is over, however hard what is before it clips.
	lift := take(t, "lift: {kind: boost, gain: 24 dB, supply: 18 V}; one: {kind: buffer}; keep: {kind: buffer}", "volume: 10", "lift", "one", "keep")
	for _, volts := range []float64{0.3, 0.4} {
		got := wished(t, lift, swelling(0.5, dsp.Tone{Hz: 220, Volts: dsp.Volt(volts)}), "headroom")[0]
		near(t, "headroom behind 24 dB of gain", got, dsp.ToDB(clips*railBreaksUp/volts)-24, 0.5, "dB")
	}
	// A fuzz is there to break up: the buffer behind it is what should stay clean.
	dirty := take(t, "fuzz: {kind: fuzz}; keep: {kind: buffer}", "volume: 10", "fuzz", "keep")
	if got := wished(t, dirty, swelling(0.5, dsp.Tone{Hz: 220, Volts: 0.2}), "headroom")[0]; !got.OK() || got.Value < 3 {
		t.Errorf("behind a fuzz: %+v dB of headroom", got)
	}
	if got := wished(t, take(t, "pedal: {kind: volume}", "volume: 10", "pedal"), swelling(0.5, dsp.Tone{Hz: 220, Volts: 0.1}), "headroom")[0]; got.OK() {
		t.Errorf("two resistors have %v dB of headroom", got.Value)
	}
}

// One ceiling in all commands: the least headroom of a take, which rankings and complaints go by,
// is that of a rung of its ladder, which a sweep and the page read too.
func TestOneHeadroom(t *testing.T) {
	c := take(t, "lift: {kind: boost, gain: 20 dB}; echo: {kind: delay, mix: 30 %}; amp: {kind: preamp, gain: 2}", "volume: 10", "lift", "echo", "amp")
	x := swelling(1, dsp.Tone{Hz: 220, Volts: 0.2})
	got := wished(t, c, x, "headroom")[0]
	least := math.Inf(1)
	for _, r := range NewLadder(measured(t, c, x, dsp.Tone{})).Takes[0].Rungs {
		if r.HeadroomDB.OK() {
			least = math.Min(least, r.HeadroomDB.Value)
		}
	}
	near(t, "headroom", got, least, 0.05, "dB")
}

// Brightness: a treble shelf raises what lies above 2 kHz, and little else.
func TestBrightness(t *testing.T) {
	x := measures.Sines(measureRate, measureRate, dsp.Tone{Hz: 300, Volts: 0.1}, dsp.Tone{Hz: 4000, Volts: 0.01})
	flat := take(t, "one: {kind: buffer}; eq: {kind: eq}", "volume: 10", "one", "eq")
	bright := take(t, "one: {kind: buffer}; eq: {kind: eq, high: 6 dB, high_freq: 1.2 kHz}", "volume: 10", "one", "eq")
	a, b := wished(t, flat, x, "brightness kept")[0], wished(t, bright, x, "brightness kept")[0]
	// A shelf of 6 dB has all of it at 4 kHz, 1.7 octaves above its middle, and little at 300 Hz.
	near(t, "what a shelf of 6 dB adds", b.Minus(a), 6, 0.3, "dB")
}

// A delay behind the fuzz keeps its repeats apart from what is played over them; in front of it,
// both are torn up together.
func TestClearRepeats(t *testing.T) {
	const blocks = "fuzz: {kind: fuzz}; buffer: {kind: buffer}; echo: {kind: delay, time: 300 ms}"
	x := swelling(0.1, dsp.Tone{Hz: 220, Volts: 0.2})
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
		if f := wished(t, c, swelling(0.1, dsp.Tone{Hz: 220, Volts: 0.1}), name)[0]; f.OK() {
			t.Errorf("%s of 0.1 s is %v", name, f.Value)
		}
	}
}
