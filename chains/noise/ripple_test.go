package noise

import (
	"math"
	"slices"
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

const brick = `
supplies:
  brick: {outputs: {1: {voltage: 9 V, current: 500 mA}, 2: {voltage: 18 V, current: 210 mA}}}
  daisy: {isolated: no, outputs: {1: {voltage: 9 V, current: 100 mA}}}
  clean: {isolated: no, ripple: 0 V, outputs: {1: {voltage: 9 V, current: 100 mA}}}
`

// The ceiling of a clean boost follows the voltage of the output that it is plugged into: an op-amp
// swings to 1.5 V from its rails, 3 V about half of 9 V and 7.5 V about half of 18 V. The median of
// what it does with ten times too much is that, without the overshoot of a band that ends at 24
// kHz.
func TestHeadroomFollowsTheOutput(t *testing.T) {
	f := chaintest.Board(t, brick+`
blocks: {b: {kind: boost, gain: 20 dB, power: brick.1}}
order: [b]
takes: [{name: nine}, {name: eighteen, set: {b.power: brick.2}}]
`)
	plateau := func(take string) float64 {
		x := rendertest.Render(t, chaintest.TakeOf(t, f, take), 48000, section.Normal, render.Volts(chaintest.Tone(4800, 48000, 500, 10)), "b.out")[0][2400:]
		for k, v := range x {
			x[k] = math.Abs(v)
		}
		slices.Sort(x)
		return x[len(x)/2]
	}
	nine, eighteen := plateau("nine"), plateau("eighteen")
	if want := 7.5 / 3; math.Abs(dsp.ToDB(eighteen/nine/want)) > 0.05 || math.Abs(dsp.ToDB(nine/3)) > 0.1 {
		t.Errorf("ceilings of %.3f V and %.3f V: ratio %.3f, want %.3f", nine, eighteen, eighteen/nine, want)
	}
}

// What is drawn from an output is the sum over its blocks.
func TestPluggedAndWarnings(t *testing.T) {
	f := chaintest.Board(t, `
supplies:
  small: {outputs: {1: {voltage: 9 V, current: 120 mA}, low: {voltage: 7 V, current: 50 mA}}}
blocks:
  a: {kind: delay, power: small.1}
  b: {kind: boost, power: small.1}
  c: {kind: compressor, power: small.1}
  d: {kind: overdrive, power: small.1}
  e: {kind: fuzz, power: small.low}
order: [a, b, c, d, e]
`)
	p := f.Plugged()
	// 100 mA, 5 mA and two of 8 mA, as the kinds state.
	if len(p) != 2 || math.Abs(float64(p[0].Draw)-121e-3) > 1e-9 || strings.Join(p[0].Blocks, " ") != "a b c d" {
		t.Fatalf("%+v", p)
	}
	if len(p[0].Warnings) != 1 || !strings.Contains(p[0].Warnings[0], "small.1 is overloaded by 1 mA: a 100 mA, b 5 mA, c 8 mA, d 8 mA draw up to 121 mA, and it gives 120 mA") {
		t.Errorf("warnings: %q", p[0].Warnings)
	}
	if len(p[1].Warnings) != 1 || !strings.Contains(p[1].Warnings[0], "e starves: it is made for 9 V and more, and small.low gives 7 V") {
		t.Errorf("warnings: %q", p[1].Warnings)
	}
	if v := f.Chains()[0].Blocks[4].Settings.Number("supply"); v != 7 {
		t.Errorf("the fuzz runs on %v V", v)
	}
}

// ripple is the RMS of a chain's ripple at out, in volts.
func ripple(t *testing.T, f *board.File) float64 {
	t.Helper()
	l, err := At(f.Chains()[0], 48000, "out")
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for k, s := range l.Shares {
		if s.Cause == "ripple" {
			sum += l.Power(k, Flat)
		}
	}
	return math.Sqrt(sum)
}

// A ripple comes in by what the kind rejects of it, once a block, at its output: 5 mV, 60 dB
// softer, are 5 µV behind a boost, whatever its gain, and 20 dB more behind a second boost of 20
// dB; the second adds its own. Coupling capacitors and 100 Ω into 1 MΩ take off less than 0.1 dB at
// 100 Hz.
func TestRippleByRejection(t *testing.T) {
	one := ripple(t, chaintest.Board(t, brick+"blocks: {a: {kind: boost, gain: 6 dB, power: daisy.1}}\norder: [a]\n"))
	if want := 5e-6; math.Abs(dsp.ToDB(one/want)) > 0.1 {
		t.Errorf("one boost: %.3g V, want %.3g", one, want)
	}
	two := ripple(t, chaintest.Board(t, brick+"blocks: {a: {kind: boost, gain: 6 dB, power: daisy.1}, b: {kind: boost, gain: 20 dB, power: daisy.1}}\norder: [a, b]\n"))
	if want := 5e-6 * math.Sqrt(101); math.Abs(dsp.ToDB(two/want)) > 0.1 {
		t.Errorf("two boosts: %.3g V, want %.3g", two, want)
	}
	// An overdrive has two stages, and the ripple comes in at the last.
	if v := ripple(t, chaintest.Board(t, brick+"blocks: {a: {kind: overdrive, drive: 10, level: 10, power: daisy.1}}\norder: [a]\n")); math.Abs(dsp.ToDB(v/5e-6)) > 0.1 {
		t.Errorf("an overdrive: %.3g V, want 5e-6", v)
	}
	for _, output := range []string{"brick.1", "clean.1"} {
		if v := ripple(t, chaintest.Board(t, brick+"blocks: {a: {kind: boost, power: "+output+"}}\norder: [a]\n")); v != 0 {
			t.Errorf("on %s: %.3g V of ripple", output, v)
		}
	}
}

// The fuzz has its supply in its circuit, which tells what comes of a ripple: the same as of a
// source in series with the supply.
func TestRippleThroughACircuit(t *testing.T) {
	f := chaintest.Board(t, brick+"blocks: {a: {kind: fuzz, power: daisy.1}}\norder: [a]\n")
	c := f.Chains()[0]
	w := render.PlanOf(c, 48000, section.Draft)
	ac, err := w.Section("out").AC()
	if err != nil {
		t.Fatal(err)
	}
	want := 0.0
	for _, l := range rippleLines(5e-3) {
		want += l.Power * dsp.Abs2(ac.Transfer("a.supply", dsp.Hertz(l.Frequency), "out")[0])
	}
	got := ripple(t, f)
	if math.Abs(dsp.ToDB(got/math.Sqrt(want))) > 0.01 {
		t.Errorf("%.4g V, want %.4g", got, math.Sqrt(want))
	}
	t.Logf("5 mV on the supply of a fuzz are %.3g mV at its output", 1e3*got)
	// Players know that an old fuzz hums on a supply that others share (common practice, no
	// source): it rejects far less than the 60 dB of an op-amp.
	if db := dsp.ToDB(got / 5e-3); db < -40 {
		t.Errorf("a fuzz rejects %.1f dB of the ripple", -db)
	}
}

// A supply is what the circuit declares as one, whatever it and its node are called: 5 mV on it,
// through 10 kΩ into 10 kΩ, are 2.5 mV at the output.
func TestRippleOfASupplyByAnyName(t *testing.T) {
	c := chaintest.Board(t, brick+"blocks: {a: {kind: fuzz, power: daisy.1}}\norder: [a]\n").Chains()[0]
	kind := *c.Blocks[0].Kind
	kind.Build = func(b *blocks.Bench, _ blocks.Settings) {
		b.R("rin", "in", "0", 1e6)
		b.Circuit.Supply("battery", "rail", 9)
		b.Circuit.R("top", "rail", "a.out", 10e3)
		b.R("bottom", "out", "0", 10e3)
	}
	c.Blocks[0].Kind = &kind
	l, err := At(c, 48000, "a.out")
	if err != nil {
		t.Fatal(err)
	}
	for k, s := range l.Shares {
		if s.Cause == "ripple" {
			got := math.Sqrt(l.Power(k, Flat))
			if s.Block != "a" || math.Abs(dsp.ToDB(got/2.5e-3)) > 0.1 { // 1 MΩ of load is 0.04 dB
				t.Errorf("%s has a ripple of %.4g V, want 2.5 mV of a", s.Block, got)
			}
			return
		}
	}
	t.Error("no ripple")
}

func TestPowerOfAllPieces(t *testing.T) {
	f := chaintest.Board(t, brick+`
blocks:
  board: {kind: switcher, power: brick.2, loops: {1: [a]}}
  a: {kind: buffer}
order: [board]
presets: {on: {loops: [1], trim: -3 dB}}
`)
	for _, b := range f.Chains()[0].Blocks {
		if b.Piece != nil && b.Settings.Number("supply") != 18 {
			t.Errorf("%s runs on %v V, want 18", b.Name, b.Settings.Number("supply"))
		}
	}
}
