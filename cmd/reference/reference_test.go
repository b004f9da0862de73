package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"drywire/dsp/section"
)

// These need no simulator.

// TestResample: a cubic through uneven points gives a cubic back.
func TestResample(t *testing.T) {
	f := func(x float64) float64 { return 1 - 2*x + 3*x*x - 0.5*x*x*x }
	var at, v []float64
	for x := 0.0; x < 10.5; x += 0.1 + 0.07*math.Sin(17*x) {
		at, v = append(at, x), append(v, f(x))
	}
	for k, got := range resample(at, v, 0.033, 303) {
		if want := f(0.033 * float64(k)); math.Abs(got-want) > 1e-11*(1+math.Abs(want)) {
			t.Fatalf("at %v: %v, want %v", 0.033*float64(k), got, want)
		}
	}
}

// TestErrorDB: a tone that is a thousandth too loud is at -60 dB, however often it was sampled, and
// what lies above the band does not count.
func TestErrorDB(t *testing.T) {
	c := Case{Rate: 48000, Length: 0.1, Drive: Tones(1000, 1)}
	wave := func(multiple int, gain, above float64) []complex128 {
		x := make([]float64, c.samples()*multiple)
		for k := range x {
			at := float64(k) / (c.Rate * float64(multiple))
			x[k] = gain*c.Drive.At(at) + above*math.Sin(2*math.Pi*30e3*at)
		}
		return c.Spectrum(x, multiple)
	}
	if got := ErrorDB(wave(1, 1.001, 0), wave(64, 1, 1)); math.Abs(got+60) > 0.01 {
		t.Errorf("%v dB, want -60", got)
	}
	// the fade's share above half the rate
	if got := ErrorDB(wave(1, 1, 0), wave(64, 1, 0)); got > -140 {
		t.Errorf("the same signal is %v dB apart", got)
	}
	// What is stored comes back.
	lines := wave(64, 1, 0)
	y := c.waveform(lines)
	if len(y) != c.samples()-960 {
		t.Fatalf("%d samples", len(y))
	}
	peak := 0.0
	for _, x := range y {
		peak = max(peak, math.Abs(x))
	}
	if math.Abs(peak-1) > 0.01 {
		t.Errorf("peak of %v, want 1", peak)
	}
}

// TestReadPlots: a real and a complex plot, one after the other; a file that is cut short is an
// error.
func TestReadPlots(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("Title: t\nPlotname: Transient Analysis\nFlags: real\nNo. Variables: 2\nNo. Points: 2  \nVariables:\n\t0\ttime\ttime\n\t1\tv(Out)\tvoltage\nBinary:\n")
	for _, x := range []float64{0, 5, 1, 6} {
		if err := binary.Write(&b, binary.LittleEndian, x); err != nil {
			t.Fatal(err)
		}
	}
	b.WriteString("Title: t\nPlotname: AC Analysis\nFlags: complex\nNo. Variables: 1\nNo. Points: 1\nVariables:\n\t0\tv(a)\tvoltage\nBinary:\n")
	for _, x := range []float64{3, 4} {
		if err := binary.Write(&b, binary.LittleEndian, x); err != nil {
			t.Fatal(err)
		}
	}
	plots, err := readPlots(b.Bytes())
	if err != nil || len(plots) != 2 {
		t.Fatalf("%d plots, %v", len(plots), err)
	}
	if v := plots[0].Vector("v(out)"); len(v) != 2 || v[1] != 6 {
		t.Errorf("v(out) is %v", v)
	}
	if v := plots[1].Vector("v(a).imag"); len(v) != 1 || v[0] != 4 {
		t.Errorf("the imaginary part is %v", v)
	}
	if _, err := readPlots(b.Bytes()[:b.Len()-1]); err == nil {
		t.Error("a cut file was read")
	}
}

// TestCases: every case parses, wires and prints a deck with the drive in it; the suite has the 24
// combinations.
func TestCases(t *testing.T) {
	if n := len(Suite()); n < 24 {
		t.Errorf("%d cases in the suite, want 24 or more", n)
	}
	for _, c := range append(append(Suite(), stored()...), Random(3, 10)...) {
		if _, err := c.Wire(section.Normal); err != nil {
			t.Fatal(err)
		}
		deck, err := c.Deck(coarsest)
		if err != nil {
			t.Fatal(err)
		}
		follower := strings.Contains(deck, "V=min(max(") // a fuzz has none of its own
		if !strings.Contains(deck, c.Drive.Expression()) || strings.Contains(c.Name, "buffered") && !follower || strings.Contains(c.Name, "direct") && follower {
			t.Errorf("%s: the deck is\n%s", c.Name, deck)
		}
	}
}

// TestMisuse: wrong flags end with status 2.
func TestMisuse(t *testing.T) {
	for _, args := range [][]string{
		{"-quality", "best"}, {"-chain", "fuzz-or-buffer-first"}, {"-chain", "nothing.yaml", "-tone", "330 Hz 1 mV"}, {"-nonsense"},
		{"-chain", "fuzz-or-buffer-first", "-tone", "330"},
	} {
		var out, errs bytes.Buffer
		if got := run(context.Background(), args, &out, &errs); got != 2 || errs.Len() == 0 {
			t.Errorf("%v: status %d, %q", args, got, errs.String())
		}
	}
}

// Verdicts on what is known to be heard or not, on the two shortest of the recordings that ship;
// -events has the others, and yours.
func TestEvents(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of processor time, and none of it is concurrent")
	}
	list, err := programmes(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range list[1:3] {
		p.x = p.x[:min(len(p.x), int(3*p.rate))]
		for _, e := range events() {
			if pair := said(p, e); !agrees(pair, e.want) {
				t.Errorf("%s, %s: %s, want %s: %s", p.name, e.name, pair.Heard, e.want, e.source)
			}
		}
	}
}
