package chains_test

import (
	"context"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

const twoPaths = `
blocks:
  drive: {kind: boost, gain: 6 dB}
  a: {kind: trim}
  b: {kind: trim, polarity: inverted, gain: -6 dB}
  c: {kind: eq, high_mid: 3 dB}
order: [drive, {split: {left: [a], right: [b]}}]
takes:
  - {name: stereo}
  - {name: mono, order: [drive, {split: {left: [a], right: [b], mix: mono}}]}
  - {name: late, order: [drive, {split: {left: [a], right: [c], mix: mono}}], set: {c.high_mid: 0 dB}}
  - {name: left, order: [drive, a]}
  - {name: right, order: [drive, b]}
`

func TestSplitJacks(t *testing.T) {
	f := chaintest.Board(t, twoPaths)
	stereo, mono := chaintest.TakeOf(t, f, "stereo"), chaintest.TakeOf(t, f, "mono")
	if got, want := strings.Join(stereo.Jacks(), " "), "guitar drive.in drive.out a.in a.out out.left b.in b.out out.right"; got != want {
		t.Errorf("jacks: %s, want %s", got, want)
	}
	if got, want := mono.Ends(), []string{"out"}; !slices.Equal(got, want) {
		t.Errorf("ends of mono: %v", got)
	}
	if got, want := stereo.Ends(), []string{"out.left", "out.right"}; !slices.Equal(got, want) {
		t.Errorf("ends of stereo: %v", got)
	}
	if err := stereo.Jack("out"); err == nil || !strings.Contains(err.Error(), "choose one") {
		t.Errorf("out of a stereo take: %v", err)
	}
}

// Either path has what it would have alone: a buffer drives both, and its 100 Ω into two inputs of
// 1 MΩ lose 0.001 dB more. The mean is the mean, to the sample: with a path of unity and one of -6
// dB upside down, half of what is left, (1 - 10^(-6/20))/2.
func TestSplitPathsAndMean(t *testing.T) {
	const rate = 48000
	f := chaintest.Board(t, twoPaths)
	in := render.Volts(chaintest.Tone(9600, rate, 440, 0.1))
	both := rendertest.Render(t, chaintest.TakeOf(t, f, "stereo"), rate, section.Normal, in, "out.left", "out.right")
	in = render.Volts(chaintest.Tone(9600, rate, 440, 0.1))
	mean := rendertest.Render(t, chaintest.TakeOf(t, f, "mono"), rate, section.Normal, in, "out", "out.left", "out.right")
	for side, name := range []string{"left", "right"} {
		in = render.Volts(chaintest.Tone(9600, rate, 440, 0.1))
		alone := rendertest.Render(t, chaintest.TakeOf(t, f, name), rate, section.Normal, in, "out")[0]
		if d := chaintest.Residual(both[side], alone); d > -60 {
			t.Errorf("%s path differs from the same path alone by %.1f dB, want -60 or less", name, d)
		}
	}
	worst := 0.0
	for k := range mean[0] {
		worst = math.Max(worst, math.Abs(mean[0][k]-(mean[1][k]+mean[2][k])/2))
	}
	if worst > 1e-12 {
		t.Errorf("the mean differs from the mean of its paths by %g V", worst)
	}
	if got, want := dsp.ToDB(chaintest.Rms(mean[0])/chaintest.Rms(mean[1])), dsp.ToDB((1-dsp.FromDB(-6))/2); math.Abs(got-want) > 0.01 {
		t.Errorf("mean of a path and its opposite 6 dB down: %.3f dB under the path, want %.3f", got, want)
	}
}

// Paths of different latency are aligned to the sample: an equaliser with all bands flat clips
// before and behind its bands, so it is twice as late as a trim.
func TestSplitIsAligned(t *testing.T) {
	const rate = 48000
	c := chaintest.TakeOf(t, chaintest.Board(t, twoPaths), "late")
	w := render.PlanOf(c, rate, section.Normal)
	late := map[string]int{}
	for _, s := range w.Stages {
		late[s.Name] = s.Shape().Latency()
	}
	if late["a.amp"] == late["c.bands"] {
		t.Fatalf("both paths are %d samples late: nothing to align", late["a.amp"])
	}
	out := rendertest.Render(t, c, rate, section.Normal, render.Volts(chaintest.Tone(9600, rate, 440, 0.1)), "out", "out.left", "out.right")
	if d := chaintest.Residual(out[1], out[2]); d > -60 {
		t.Errorf("paths of %d and %d samples differ by %.1f dB, want -60 or less", late["a.amp"], late["c.bands"], d)
	}
	if got := dsp.ToDB(chaintest.Rms(out[0]) / chaintest.Rms(out[1])); math.Abs(got) > 0.01 {
		t.Errorf("the mean of two equal paths is %.3f dB off", got)
	}
}

// Both paths load what feeds them: two inputs of 1 MΩ are 500 kΩ, but for their cables.
func TestSplitLoadsAdd(t *testing.T) {
	f := chaintest.Board(t, `
blocks: {a: {kind: buffer}, b: {kind: buffer}}
order: [{split: {left: [a], right: [b]}}]
guitar: {cable: 0 m}
`)
	hands, err := wiring.Handovers(f.Chains()[0], 10)
	if err != nil {
		t.Fatal(err)
	}
	var jacks []string
	for _, h := range hands {
		jacks = append(jacks, h.Jack)
	}
	if got, want := strings.Join(jacks, " "), "split a.in load.left b.in load.right"; got != want {
		t.Errorf("hand-overs: %s, want %s", got, want)
	}
	if got := real(hands[0].Input); math.Abs(got-500e3) > 500 {
		t.Errorf("input of the split: %.0f Ω, want 500 kΩ", got)
	}
}

// Backwards from either path, the other one is seen beside what feeds both: 1 MΩ more, in parallel.
func TestSplitSeesTheOtherPath(t *testing.T) {
	lines := "blocks: {a: {kind: buffer}, b: {kind: buffer}}\nguitar: {cable: 0 m, volume: 5}\norder: [{split: {left: [a], right: [b]}}]\ntakes: [{name: both}, {name: alone, order: [a]}]\n"
	f := chaintest.Board(t, lines)
	source := func(take string) complex128 {
		hands, err := wiring.Handovers(chaintest.TakeOf(t, f, take), 10)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range hands {
			if h.Jack == "a.in" {
				return h.Source
			}
		}
		t.Fatalf("%s: no hand-over at a.in", take)
		return 0
	}
	both, alone := source("both"), source("alone")
	want := 1 / (1/alone + 1e-6)
	if d := cmplx.Abs(both-want) / cmplx.Abs(want); d > 1e-3 {
		t.Errorf("source of the left path: %.0f Ω, want %.0f", both, want)
	}
	if cmplx.Abs(both-alone) < 1e3 {
		t.Errorf("alone it is %.0f Ω: nothing to tell apart", alone)
	}
}

// In a path of a split a block has the ceiling that it has alone behind the same block: a volume
// pedal half way up is a source of 20 kΩ and more for what follows, a buffer one of 100 Ω.
func TestSplitCeilings(t *testing.T) {
	f := chaintest.Board(t, `
blocks:
  first: {kind: buffer}
  pedal: {kind: volume, volume: 5}
  over: {kind: fuzz, fuzz: 4}
  dirt: {kind: fuzz}
order: [first, {split: {left: [pedal, dirt], right: [over]}}]
takes: [{name: both}, {name: left, order: [first, pedal, dirt]}, {name: right, order: [first, over]}]
`)
	ceilings := func(take string) map[string]float64 {
		list, err := experiment.Ceilings(chaintest.TakeOf(t, f, take), context.Background(), 48000)
		if err != nil {
			t.Fatal(err)
		}
		all := map[string]float64{}
		for _, c := range list {
			all[c.Block] = c.BreaksUp.Value
		}
		return all
	}
	both, left, right := ceilings("both"), ceilings("left"), ceilings("right")
	for block, want := range map[string]float64{"first": left["first"], "pedal": left["pedal"], "dirt": left["dirt"], "over": right["over"]} {
		if got := both[block]; math.Abs(got-want) > 0.01*want {
			t.Errorf("ceiling of %s: %.4g V, alone %.4g V", block, got, want)
		}
	}
	if both["dirt"] == 0 || both["over"] == 0 {
		t.Errorf("ceilings: %v", both)
	}
}

// With the input buffer off, what is in the first loop feels the guitar; with it on, 100 Ω.
func TestSwitcherInputBuffer(t *testing.T) {
	f := chaintest.Board(t, loops+"takes: [{name: off, preset: solo}, {name: on, preset: solo, set: {board.input_buffer: on}}]\n")
	for take, want := range map[string][2]float64{"off": {5e3, 1e6}, "on": {100, 101}} {
		hands, err := wiring.Handovers(chaintest.TakeOf(t, f, take), 1000)
		if err != nil {
			t.Fatal(err)
		}
		if got := cmplx.Abs(hands[1].Source); hands[1].Jack != "dirt.in" || got < want[0] || got > want[1] {
			t.Errorf("%s: source at %s %.1f Ω, want %v", take, hands[1].Jack, got, want)
		}
	}
}

const loops = `
blocks:
  board: {kind: switcher, input_buffer: off, loops: {1: [dirt, tone], 2: [wet], 3: []}}
  dirt: {kind: boost}
  tone: {kind: eq}
  wet: {kind: buffer}
  last: {kind: buffer}
order: [board, last]
presets:
  clean: {loops: []}
  verse: {loops: [1, 2], set: {dirt.gain: 3 dB}, trim: -2 dB}
  solo: {loops: [1]}
`

func blockNames(c *board.Chain) string {
	var names []string
	for _, b := range c.Every() {
		names = append(names, b.Name)
	}
	return strings.Join(names, " ")
}

func TestPresetsAndToggles(t *testing.T) {
	f := chaintest.Board(t, loops+`takes:
  - {name: none}
  - {name: verse, preset: verse}
  - {name: other, preset: verse, toggle: [1, 3], set: {board.input_buffer: on}}
`)
	for name, want := range map[string]string{
		"none":  "board last",
		"verse": "board dirt tone board.return-1 wet board.return-2 last",
		"other": "board wet board.return-2 board.return-3 last",
	} {
		if got := blockNames(chaintest.TakeOf(t, f, name)); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
	verse := chaintest.TakeOf(t, f, "verse")
	if got, want := strings.Join(verse.Jacks(), " "), "guitar board.in board.send-1 dirt.in dirt.out tone.in tone.out board.return-1 board.send-2 wet.in wet.out board.return-2 board.out last.in last.out out"; got != want {
		t.Errorf("jacks: %s", got)
	}
	if g := verse.Blocks[1].Settings.Number("gain"); g != 3 {
		t.Errorf("the preset's setting: %v dB", g)
	}
	names := func(c *board.Chain) (all []string) {
		for _, s := range render.PlanOf(c, 48000, section.Draft).Stages {
			all = append(all, s.Name)
		}
		return all
	}
	if s := names(verse); !slices.Contains(s, "board.return-2.trim") || slices.Contains(s, "board.follower") {
		t.Errorf("a trim of -2 dB and no input buffer: stages %v", s)
	}
	if s := names(chaintest.TakeOf(t, f, "other")); !slices.Contains(s, "board.follower") {
		t.Errorf("input buffer on: stages %v", s)
	}
	// A file with presets and no takes has a take for each.
	var takes []string
	for _, take := range chaintest.Board(t, loops).Takes {
		takes = append(takes, take.Name)
	}
	if got := strings.Join(takes, " "); got != "clean verse solo" {
		t.Errorf("takes: %s", got)
	}
}

// A switcher is wires and contacts: with a buffer in front of it, loops that are in sound like the
// same blocks in a row.
func TestSwitcherIsTransparent(t *testing.T) {
	const rate = 48000
	f := chaintest.Board(t, `
blocks:
  first: {kind: buffer}
  board: {kind: switcher, input_buffer: off, loops: {1: [dirt], 2: [wet]}}
  dirt: {kind: boost}
  wet: {kind: eq, low: 3 dB}
  a: {kind: boost}
  b: {kind: eq, low: 3 dB}
order: [first, board]
presets: {all: {loops: [1, 2]}, trimmed: {loops: [1, 2], trim: -6 dB}}
takes:
  - {name: loops, preset: all}
  - {name: trimmed, preset: trimmed}
  - {name: row, order: [first, a, b]}
`)
	play := func(name string) []float64 {
		return rendertest.Render(t, chaintest.TakeOf(t, f, name), rate, section.Normal, render.Volts(chaintest.Tone(9600, rate, 440, 0.1)), "out")[0]
	}
	row, in := play("row"), play("loops")
	if d := chaintest.Residual(row, in); d > -60 {
		t.Errorf("the same blocks in loops differ by %.1f dB, want -60 or less", d)
	}
	if got := dsp.ToDB(chaintest.Rms(play("trimmed")) / chaintest.Rms(in)); math.Abs(got+6) > 0.02 {
		t.Errorf("a trim of -6 dB: %.3f dB", got)
	}
}

func TestGuitarsOfTakes(t *testing.T) {
	f := chaintest.Board(t, `
guitar: {pickup: humbucker, volume: 8}
guitars: {old: {pickup: single-coil, cable: 3 m}, new: {volume: 5}}
blocks: {b: {kind: buffer}}
order: [b]
takes:
  - {name: own}
  - {name: old, guitar: old, set: {guitar.volume: 3}}
  - {name: new, guitar: new}
`)
	own, old, other := chaintest.TakeOf(t, f, "own"), chaintest.TakeOf(t, f, "old"), chaintest.TakeOf(t, f, "new")
	if own.Guitar.Volume != 8 || own.GuitarName != "" {
		t.Errorf("the file's own guitar: %+v", own.Guitar)
	}
	// 250 kΩ goes with a single-coil: common practice, no source.
	if old.Guitar.Pickup.Name != "single-coil" || old.Guitar.Volume != 3 || old.Guitar.Cable != 3 || old.Guitar.VolumePot != 250e3 || old.GuitarName != "old" {
		t.Errorf("the named guitar: %+v", old.Guitar)
	}
	if other.Guitar.Volume != 5 || other.Guitar.Pickup.Name != "humbucker" {
		t.Errorf("a named guitar has the usual values, not those of guitar: %+v", other.Guitar)
	}
}
