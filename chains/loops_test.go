package chains_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/cables"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/render/rendertest"
	"drywire/dsp"
	"drywire/dsp/section"
)

// looped is a board with loops in which takes try other orders.
const looped = `
blocks:
  board: {kind: switcher, input_buffer: on, loops: {1: [drive], 3: [plate, echo], 7: []}}
  drive: {kind: overdrive, drive: 7}
  plate: {kind: reverb, mix: 40 %}
  echo:  {kind: delay, time: 120 ms, mix: 50 %}
  wah:   {kind: eq, high_mid: 6 dB}
  amp:   {kind: boost, gain: 3 dB}
order: [board, amp]
tray: [wah]
presets:
  lead: {loops: [1, 3], set: {drive.drive: 9}, trim: 2 dB}
takes:
  - {name: as it is, preset: lead}
  - {name: echo first, preset: lead, loops: {3: [echo, plate]}}
  - {name: exchanged, preset: lead, loops: {3: [drive], 1: [plate, echo]}}
  - {name: spread, preset: lead, toggle: [7], loops: {7: [echo], 3: [plate]}}
  - {name: behind, preset: lead, order: [board, amp, echo], loops: {3: [plate]}, set: {echo.mix: 30 %}}
  - {name: without, preset: lead, loops: {3: [plate]}}
  - {name: out, loops: {3: [echo, plate]}}
  - {name: no switcher, order: [drive, plate, amp, echo], off: [plate], set: {echo.mix: 30 %}}
  - {name: from the tray, preset: lead, toggle: [7], loops: {7: [wah]}, off: [wah]}
`

// blocksOf is the names of the blocks of a chain, a switcher's pieces left out.
func blocksOf(c *board.Chain) string {
	var names []string
	for _, p := range c.Every() {
		if p.Piece == nil {
			names = append(names, p.Name)
		}
	}
	return strings.Join(names, " ")
}

// A take's own loops stand in the place of the switcher's; what is not named stays, and what is in
// no loop may stand in the order, or off the board.
func TestTakesWithLoops(t *testing.T) {
	f := chaintest.Board(t, looped)
	for name, want := range map[string]string{
		"as it is":      "drive plate echo amp",
		"echo first":    "drive echo plate amp",
		"exchanged":     "plate echo drive amp",
		"spread":        "drive plate echo amp",
		"behind":        "drive plate amp echo",
		"without":       "drive plate amp",
		"out":           "amp",
		"no switcher":   "drive plate amp echo",
		"from the tray": "drive plate echo wah amp",
	} {
		if got := blocksOf(chaintest.TakeOf(t, f, name)); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
	for _, c := range []struct {
		take, send string
		want       bool
	}{{"spread", "board.send-7", true}, {"exchanged", "board.send-7", false}} {
		if got := slices.Contains(chaintest.TakeOf(t, f, c.take).Jacks(), c.send); got != c.want {
			t.Errorf("%s: %s is a jack of it: %v, want %v", c.take, c.send, got, c.want)
		}
	}
	for k, c := range f.Chains() {
		if c.Take != f.Takes[k].Name {
			t.Fatalf("chain %d is %q", k, c.Take)
		}
		for _, b := range f.Blocks {
			if b.Loops != nil && fmt.Sprint(b.Loops) != "[{1 [drive] false} {3 [plate echo] false} {7 [] false}]" {
				t.Fatalf("%s: the switcher of the file has %v", c.Take, b.Loops)
			}
		}
	}
	if got := blocksOf(f.OnPreset("lead", "", nil)); got != "drive plate echo amp" {
		t.Errorf("a preset on the file's own loops: %s", got)
	}
}

// What a take with loops of its own sounds like is, to the bit, what a file sounds like whose
// switcher has these loops.
func TestLoopsOfATakeSoundAsTheSwitchers(t *testing.T) {
	const rate = 48000
	f := chaintest.Board(t, looped)
	for take, loops := range map[string]string{
		"echo first": "{1: [drive], 3: [echo, plate], 7: []}",
		"exchanged":  "{1: [plate, echo], 3: [drive], 7: []}",
		"spread":     "{1: [drive], 3: [plate], 7: [echo]}",
		"behind":     "{1: [drive], 3: [plate], 7: []}",
	} {
		text := ""
		for _, line := range strings.SplitAfter(looped, "\n") {
			switch name, _, _ := strings.Cut(strings.TrimPrefix(line, "  - {name: "), ","); {
			case strings.HasPrefix(line, "  board:"):
				from, to := strings.Index(line, "{1:"), strings.LastIndex(line, "}")
				line = line[:from] + loops + line[to:]
			case strings.HasPrefix(line, "  - {") && name != take:
				continue
			case strings.HasPrefix(line, "  - {"):
				from := strings.Index(line, ", loops: {")
				line = line[:from] + line[from+strings.Index(line[from:], "}")+1:]
			case strings.HasPrefix(line, "tray:"):
				line = "tray: [wah, echo]\n"
			}
			text += line
		}
		in := func() render.Source { return render.Volts(chaintest.Chord(rate/5, rate)) }
		got := rendertest.Render(t, chaintest.TakeOf(t, f, take), rate, section.Draft, in(), "out")[0]
		want := rendertest.Render(t, chaintest.TakeOf(t, chaintest.Board(t, text), take), rate, section.Draft, in(), "out")[0]
		plain := rendertest.Render(t, chaintest.TakeOf(t, f, "as it is"), rate, section.Draft, in(), "out")[0]
		if chaintest.Rms(want) < 1e-3 || !slices.Equal(got, want) {
			t.Errorf("%s: differs from a file with these loops by %.1f dB (%g V)", take, chaintest.Residual(got, want), chaintest.Rms(want))
		}
		if take != "spread" && slices.Equal(got, plain) {
			t.Errorf("%s: sounds as if it had no loops of its own", take)
		}
	}
}

// The cables between takes whose loops differ: each as few as there can be. A block that goes from
// one loop into an empty one takes three plugs, and no cable more.
func TestCablesOfLoops(t *testing.T) {
	f := chaintest.Board(t, looped)
	all := f.Chains()
	for _, a := range all {
		for _, b := range all {
			was, want := a.Cabling(), b.Cabling()
			moves := cables.Moves(was, want)
			plugs := 0
			for _, m := range moves {
				plugs += m.Ends
			}
			if c, p := chaintest.Fewest(was, want); len(moves) != c || plugs != p {
				t.Errorf("from %q to %q: %d cables and %d plugs, and %d and %d would do\n%v", a.Take, b.Take, len(moves), plugs, c, p, moves)
			}
			if got := chaintest.Carried(t, was, moves); !slices.Equal(chaintest.SortedCables(got), chaintest.SortedCables(want)) {
				t.Errorf("from %q the moves lead to %v, and not to %v", a.Take, got, want)
			}
		}
	}
	texts := func(from, to string) (list []string) {
		for _, m := range board.Cables(chaintest.TakeOf(t, f, from), chaintest.TakeOf(t, f, to)) {
			list = append(list, m.Text)
		}
		return list
	}
	for _, c := range []struct {
		from, to string
		want     []string
	}{
		{"echo first", "out", nil}, // the loop hangs there, in or out
		{"as it is", "spread", []string{
			"Unplug plate.out from echo.in; plug it into board.return-3 once that is free.",
			"Unplug board.send-7 from board.return-7; plug it into echo.in.",
			"Unplug echo.out from board.return-3; plug it into board.return-7.",
		}},
		{"as it is", "without", []string{
			"Take away the cable from echo.out to board.return-3.",
			"Unplug plate.out from echo.in; plug it into board.return-3.",
			"Take echo off the board.",
		}},
	} {
		if got := texts(c.from, c.to); !slices.Equal(got, c.want) {
			t.Errorf("from %q to %q:\n%s\nwant\n%s", c.from, c.to, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
}

// Fitted drops what a take's own loops leave without an object.
func TestFittedToLoops(t *testing.T) {
	f := chaintest.Board(t, looped)
	take := f.Takes[1]
	take.Loops = []board.Loop{{Number: 3, Blocks: []string{"plate"}}}
	take.Set = []board.Setting{{Target: "echo.mix", Text: "10 %"}, {Target: "plate.mix", Text: "10 %"}}
	take.Off = []string{"echo", "plate"}
	if got := f.Fitted(take); len(got.Set) != 1 || got.Set[0].Target != "plate.mix" || !slices.Equal(got.Off, []string{"plate"}) {
		t.Errorf("%v", got)
	}
}

// The shipped file of a switcher whose loops hold other blocks in other takes. The fuzz in the
// first loop sees the guitar, so a soft note comes out clean with the guitar's volume at 3; behind
// the drive it does not (common practice, no source; a tenth, as for the buffer before the fuzz).
// Echo and plate are linear, with the same impedances at both ends, so in which order they stand in
// their loop is inaudible: under -120 dB, as for any two linear blocks on stages of their own.
func TestLoopsInAnotherOrder(t *testing.T) {
	const file, as, exchanged, plate = "loops-in-another-order", "as it is", "fuzz and drive exchanged", "plate before the echo"
	thd := func(take string) float64 { return steady(t, file, take, "board.send-3", 330, chaintest.SoftNote).THD() }
	full, clean, dirty := thd(as), thd("as it is, volume rolled back"), thd("exchanged, volume rolled back")
	in := chaintest.Chord(classicRate, classicRate)
	out := func(take string) []float64 { return played(t, file, take, "out", in) }
	want := out(as)
	null, apart := chaintest.Residual(out(plate), want), chaintest.Residual(out(exchanged), want)
	plugs := func(take string) (n int) {
		for _, m := range board.Cables(shippedTake(t, file, as), shippedTake(t, file, take)) {
			n += m.Ends
		}
		return n
	}
	t.Logf("volume at 3: distortion %.2f %% as it is, %.1f %% exchanged; full: %.1f %%. Exchanged differs by %.1f dB for %d plugs, plate before echo by %.0f dB for %d",
		100*clean, 100*dirty, 100*full, apart, plugs(exchanged), null, plugs(plate))
	if full < 0.3 || clean > full/10 || dirty < full/2 {
		t.Errorf("distortion %.1f %%, want a fuzz's; rolled back %.2f %%, want under a tenth of it, and %.1f %% behind the drive, want over half", 100*full, 100*clean, 100*dirty)
	}
	if null > -120 || apart < -20 {
		t.Errorf("plate before the echo differs by %.1f dB, want -120 or less; fuzz and drive exchanged by %.1f dB, want -20 or more", null, apart)
	}
	// By hand: both ends of two blocks, and the middle of a loop with both its ends.
	if plugs(exchanged) != 4 || plugs(plate) != 3 {
		t.Errorf("%d plugs and %d, want 4 and 3", plugs(exchanged), plugs(plate))
	}
}

// With four cables the amplifier hangs in the insert of the switcher: its four cables are those
// between board and amplifier, the signal meets what a chain without a switcher has in that order,
// and no preset puts the amplifier out. The boost in front of the gain adds dirt and little level,
// behind it level and no dirt (common practice, no source).
func TestFourCables(t *testing.T) {
	const file = "four-cables"
	solo := shippedTake(t, file, "solo")
	var four []string
	for _, k := range solo.FourCables() {
		four = append(four, k.String())
	}
	want := []string{"guitar → board.in", "board.send-3 → amp.in", "amp.out → board.return-3", "board.out → power.in"}
	if !slices.Equal(four, want) {
		t.Errorf("%q, want %q", four, want)
	}
	for take, want := range map[string]string{
		"sing": "amp echo power box", "solo": "lift amp echo power box", "talk": "amp shine power box", "storm": "germ amp power box",
		"boost behind the gain": "amp lift echo power box", "all before the amplifier": "lift echo amp power box",
	} {
		if got := blocksOf(shippedTake(t, file, take)); got != want {
			t.Errorf("%s: %s, want %s", take, got, want)
		}
	}
	at := func(take string) (level, thd float64) {
		h := steady(t, file, take, "board.out", 330, 0.3)
		return dsp.ToDB(h.Amplitude[0]), 100 * h.THD()
	}
	level, thd := at("sing")
	before, dirt := at("solo")
	behind, clean := at("boost behind the gain")
	t.Logf("boost of 8 dB before the gain: %+.1f dB, distortion from %.1f to %.1f %%; behind it: %+.1f dB, %.1f %%", before-level, thd, dirt, behind-level, clean)
	if before-level > 3 || dirt < 1.1*thd || behind-level < 7.5 || behind-level > 8.5 || clean > 1.05*thd {
		t.Errorf("the boost before the gain: %+.1f dB, %.1f %%; behind it: %+.1f dB, %.1f %%; without it %.1f %%", before-level, dirt, behind-level, clean, thd)
	}
}
