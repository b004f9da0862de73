package sweep

import (
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/measures"
	"drywire/dsp/section"
)

const rate = 48000

// played is a chord of three decaying strings, 0.2 V peak.
func played() []float64 {
	x := make([]float64, rate)
	for k := range x {
		s := float64(k) / rate
		for _, hz := range []float64{110, 164.81, 220} {
			x[k] += 0.07 * math.Exp(-2*s) * math.Sin(2*math.Pi*hz*s)
		}
	}
	return x
}

func ask(t *testing.T, text, block, knob string, takes ...string) *Answer {
	t.Helper()
	a, err := Ask(t.Context(), Question{File: chaintest.MustParse(t, text), Takes: takes, Block: block, Knob: knob, Recording: experiment.Dry{Volts: played()}, Rate: rate, Quality: section.Draft})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

const headroomBoard = `drywire: 1
recording: {sample: riff, peak: 200 mV, load: none}
blocks:
  lift: {kind: boost, gain: 0 dB, supply: 18 V}
  keep: {kind: buffer}
order: [lift, keep]
takes: [{name: plain}]
`

// A boost into a buffer: its level rises by its knob, dB for dB, and the peaks pass the buffer's
// ceiling where its peak and the knob add up to it, in closed form.
func TestCeilingInClosedForm(t *testing.T) {
	a := ask(t, headroomBoard, "lift", "gain", "plain")
	tr := a.Takes[0]
	if tr.Next != "keep" || len(tr.Ends) == 0 || tr.Ends[0].What != Ceiling {
		t.Fatalf("%+v", tr.Ends)
	}
	first, last := tr.Points[0], tr.Points[len(tr.Points)-1]
	rise := tr.Points[3].Average.Value - first.Average.Value
	if want := tr.Points[3].Value - first.Value; math.Abs(rise-want) > 0.05 {
		t.Errorf("the level rises by %.2f dB, want %.2f", rise, want)
	}
	want := first.Headroom.Value / (last.Value - first.Value) // a dB of the knob is one of the peak
	if math.Abs(tr.Ends[0].At-want) > 0.02 {
		t.Errorf("the ceiling is passed at %.3f of the travel, want %.3f", tr.Ends[0].At, want)
	}
	svg := string(a.SVG())
	if !strings.Contains(svg, "ceiling of keep") || strings.Contains(svg, "NaN") {
		t.Error(svg)
	}
}

// The corner of a shelf of 0 dB is heard nowhere.
func TestNoChange(t *testing.T) {
	a := ask(t, `drywire: 1
recording: {sample: riff, peak: 200 mV, load: none}
blocks: {tilt: {kind: eq}, keep: {kind: buffer}}
order: [tilt, keep]
takes: [{name: plain}]
`, "tilt", "high_freq", "plain")
	tr := a.Takes[0]
	if len(tr.Ends) != 1 || tr.Ends[0].What != NoChange || tr.Ends[0].At != 0 {
		t.Errorf("a shelf of 0 dB over its frequencies: %+v, want no change from the bottom", tr.Ends)
	}
}

// The louder preset ends the travel where it is 2 LU over the other.
func TestOtherPreset(t *testing.T) {
	a := ask(t, `drywire: 1
recording: {sample: riff, peak: 20 mV, load: none}
blocks: {board: {kind: switcher, loops: {1: [lift]}}, lift: {kind: boost, gain: 0 dB}}
order: [board]
presets: {soft: {loops: []}, loud: {loops: [1]}}
takes: [{name: loud, preset: loud}]
`, "lift", "gain", "loud")
	tr := a.Takes[0]
	for _, e := range tr.Ends {
		if e.What == Level {
			if gain := value(liftGain(t), e.At); math.Abs(gain-2) > 0.3 {
				t.Errorf("it jumps out at %.2f dB, want 2 dB: both presets are the same at 0 dB", gain)
			}
			return
		}
	}
	t.Errorf("%+v: no other preset's level", tr.Ends)
}

func liftGain(t *testing.T) blocks.Knob {
	k, ok := blocks.Find("boost").Knob("gain")
	if !ok {
		t.Fatal("a boost has no gain")
	}
	return k
}

func TestCrossing(t *testing.T) {
	none := measures.None("silent")
	for _, c := range []struct {
		margins []measures.Figure
		at      float64
		ok      bool
	}{
		{[]measures.Figure{none, {Value: 3}, {Value: -1}, {Value: 5}, none}, 1.75 / 4, true},
		{[]measures.Figure{none, {Value: -2}, {Value: -3}}, 0.5, true},
		{[]measures.Figure{none, {Value: 1}, {Value: 0}}, 0, false},
	} {
		at, ok := crossing(len(c.margins), func(k int) measures.Figure { return c.margins[k] })
		if at != c.at || ok != c.ok {
			t.Errorf("%v: %v %v, want %v %v", c.margins, at, ok, c.at, c.ok)
		}
	}
	for share, want := range map[float64]string{0: "7", 0.2: "9", 0.25: "9:30", 0.5: "12", 1: "5"} {
		if got := Clock(share); got != want {
			t.Errorf("%g of the travel is %s o'clock, want %s", share, got, want)
		}
	}
}

// The puzzle's picture: in both orders the peaks pass where the amplifier begins to colour before 9
// o'clock, as TestPuzzle of package chains has it. Where it breaks up they are an hour apart, at half
// past 11 with the octave first and half past 10 with the fuzz first: an hour of travel is what the
// order takes, and no more.
func TestPuzzleTravel(t *testing.T) {
	if testing.Short() {
		t.Skip("it renders 22 positions")
	}
	f := chaintest.ShippedFile(t, "octave-or-op-amp-fuzz-first")
	a, err := Ask(t.Context(), Question{File: f, Takes: []string{"octave on, first", "fuzz first, octave on"}, Block: "wall", Knob: "volume", Recording: experiment.Dry{Volts: played()}, Rate: rate, Quality: section.Draft})
	if err != nil {
		t.Fatal(err)
	}
	var at []float64
	for _, tr := range a.Takes {
		if p := tr.Points[2]; p.Clock != "9" || tr.Next != "amp" || !p.Clean.OK() || p.Clean.Value > 0 {
			t.Errorf("%s at %s o'clock into %s: %+v dB under where it colours, want it to colour", tr.Take, p.Clock, tr.Next, p.Clean)
		}
		for _, e := range tr.Ends {
			if e.What == Ceiling && e.Block == "amp" {
				at = append(at, e.At)
			}
		}
	}
	if len(at) != 2 || math.Abs(at[0]-0.45) > 0.03 || math.Abs(at[1]-0.35) > 0.03 {
		t.Errorf("the amplifier breaks up at %v of the travel, want 0.45 and 0.35", at)
	}
}

// A boost that is turned up into its own rails ends by itself: a dB of its knob is one of its
// headroom, in closed form. A fuzz is over its ceiling from the start on, and does not end by it.
func TestOwnCeilingEndsTheTravel(t *testing.T) {
	const loud = `drywire: 1
recording: {sample: riff, peak: 200 mV, load: none}
blocks:
  lift: {kind: boost, gain: 0 dB}
  keep: {kind: buffer, supply: 18 V}
  dirt: {kind: fuzz}
order: [lift, keep]
takes: [{name: plain}, {name: dirty, order: [dirt]}]
`
	tr := ask(t, loud, "lift", "gain", "plain").Takes[0]
	at := slices.IndexFunc(tr.Ends, func(e End) bool { return e.What == Ceiling && e.Block == "lift" })
	if at < 0 {
		t.Fatalf("%+v", tr.Ends)
	}
	first, last := tr.Points[0], tr.Points[len(tr.Points)-1]
	if want := first.own.Value / (last.Value - first.Value); math.Abs(tr.Ends[at].At-want) > 0.02 {
		t.Errorf("its own ceiling is passed at %.3f of the travel, want %.3f", tr.Ends[at].At, want)
	}
	tr = ask(t, loud, "dirt", "level", "dirty").Takes[0]
	if slices.ContainsFunc(tr.Ends, func(e End) bool { return e.Block == "dirt" }) {
		t.Errorf("a fuzz is over its ceiling by its nature: %+v", tr.Ends)
	}
}
