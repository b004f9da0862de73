package noise

import (
	"math"
	"slices"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/dsp"
)

// What a microphone and its input make is apart, of both of two loudspeakers, and only of those:
// the other path ends in an input without one.
func TestWhatNobodyInTheRoomHears(t *testing.T) {
	f := chaintest.Board(t, `blocks: {amp: {kind: preamp}, power: {kind: poweramp}, box: {kind: speaker}, desk: {kind: eq}, dry: {kind: buffer}}
order: [amp, power, box, desk]
takes:
  - {name: one}
  - {name: two, order: [{split: {left: [amp, power, box, desk], right: [dry]}}]}
`)
	for _, take := range []string{"one", "two"} {
		l, err := At(chaintest.TakeOf(t, f, take), 48000, "out")
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range l.Shares {
			if slices.Contains([]string{"box", "desk"}, s.Block) || s.Element == "load" || s.Element == "load.left" || s.Element == "cable.out.r" || s.Element == "cable.out.left.r" || s.Element == "cable.desk.r" {
				t.Errorf("%s: %s (%s) is behind the loudspeaker", take, s.Element, s.Block)
			}
		}
		apart := map[string]bool{}
		for _, s := range l.Apart {
			apart[s.Block] = true
			if slices.Contains([]string{"guitar", "amp", "power", "dry"}, s.Block) || s.Element == "load.right" || s.Element == "cable.out.right.r" || s.Element == "cable.box.r" {
				t.Errorf("%s: %s (%s) is before the loudspeaker", take, s.Element, s.Block)
			}
		}
		if !apart["box"] || !apart["desk"] || !apart["load"] {
			t.Errorf("%s: apart are only %v", take, apart)
		}
		if !(l.ApartRMS(AWeighted) > 0) {
			t.Errorf("%s: nothing apart", take)
		}
	}
}

// A gate of 30 dB takes 30 dB from what comes before it, and nothing when it is open.
func TestNoiseWithGatesOpen(t *testing.T) {
	f := chaintest.Board(t, `blocks: {loud: {kind: fuzz}, still: {kind: gate, range: 30 dB}}
order: [loud, still]
takes: [{name: gated}, {name: off, off: [still]}]
`)
	rms := map[bool]float64{}
	for _, open := range []bool{false, true} {
		c := chaintest.TakeOf(t, f, "gated")
		if open {
			there := false
			if c, there = c.Opened(); !there {
				t.Fatal("no gate")
			}
		}
		l, err := At(c, 48000, "out")
		if err != nil {
			t.Fatal(err)
		}
		at := slices.IndexFunc(l.Shares, func(s Share) bool { return s.Element == "guitar.winding" })
		rms[open] = math.Sqrt(l.Power(at, Flat))
	}
	if got := dsp.ToDB(rms[true] / rms[false]); math.Abs(got-30) > 0.001 {
		t.Errorf("open over closed: %.3f dB, want 30", got)
	}
	if _, there := chaintest.TakeOf(t, f, "off").Opened(); there {
		t.Error("a gate that is off is opened")
	}
}
