package sheet_test

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/sheet"
)

var boards = []string{"reference-board", "presets-on-a-loop-switcher", "big-board", "fuzz-or-buffer-first"}

func made(t *testing.T, f *board.File, tape int) (*sheet.Sheet, string) {
	t.Helper()
	s, err := sheet.New(f, "")
	if err != nil {
		t.Fatal(err)
	}
	var page bytes.Buffer
	if err := s.HTML(&page, tape); err != nil {
		t.Fatal(err)
	}
	return s, page.String()
}

// trimmed gives a sheet trims as if they had been worked out.
func trimmed(f *board.File, s *sheet.Sheet) {
	if len(s.TrimHeads()) == 0 {
		return
	}
	s.Played = "“riff”"
	for k, g := range s.Guitars {
		t := sheet.Trims{Guitar: g.Name}
		for n := range f.Presets {
			t.DB = append(t.DB, float64(k)-1.25*float64(n))
		}
		s.Trims = append(s.Trims, t)
	}
}

// rows is the cells of the page's cables.
func rows(page string) (all [][]string) {
	for _, row := range regexp.MustCompile(`<tr class="cable">(.*?)</tr>`).FindAllStringSubmatch(page, -1) {
		var cells []string
		for _, c := range regexp.MustCompile(`<td[^>]*>(.*?)</td>`).FindAllStringSubmatch(row[1], -1) {
			cells = append(cells, html.UnescapeString(c[1]))
		}
		all = append(all, cells)
	}
	return all
}

// Every cable of the wiring is on the page once, or said to be inside an amplifier; and bought
// once.
func TestEveryCableOnce(t *testing.T) {
	for _, name := range boards {
		f := chaintest.ShippedFile(t, name)
		s, page := made(t, f, 12)
		var got []string
		for k, r := range rows(page) {
			if r[0] != fmt.Sprint(k+1) {
				t.Errorf("%s: cable %d is called %s", name, k+1, r[0])
			}
			got = append(got, r[1]+" → "+r[2])
		}
		n := len(got)
		got = append(got, s.Inside...)
		var want []string
		for _, c := range f.Chains()[0].Cabling() {
			want = append(want, c.String())
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: got\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		bought := 0
		for _, i := range s.Shopping {
			if strings.Contains(i.What, " cable") {
				bought += i.Count
			}
		}
		if bought != n {
			t.Errorf("%s: %d cables to buy, %d to plug in", name, bought, n)
		}
	}
}

// Labels are as high as their tape, their lines stay in it, and both ends of every cable have one.
func TestLabelsFitTheirTape(t *testing.T) {
	for _, name := range boards {
		f := chaintest.ShippedFile(t, name)
		for _, tape := range sheet.Tapes {
			s, page := made(t, f, tape)
			top, below := sheet.Letters(tape)
			// printers leave a tenth at both edges: common practice, no source
			if high := 1.15 * (top + below); high > 0.8*float64(tape) {
				t.Errorf("%d mm: lines of %.1f mm", tape, high)
			}
			if !strings.Contains(page, fmt.Sprintf(".label { margin: 0 -0.1mm -0.1mm 0; height: %dmm;", tape)) {
				t.Errorf("%d mm: the page's labels have another height", tape)
			}
			ends := 0
			for _, l := range s.Labels(tape) {
				if l.Width > 189 {
					t.Errorf("%s, %d mm: label %q is %.0f mm wide, the page 189", name, tape, l.Top, l.Width)
				}
				if regexp.MustCompile(`^[0-9]+ `).MatchString(l.Top) {
					ends++
				}
			}
			if ends != 2*len(s.Cables) {
				t.Errorf("%s: %d ends labelled of %d cables", name, ends, len(s.Cables))
			}
		}
	}
	s, _ := made(t, chaintest.ShippedFile(t, boards[0]), 12)
	if err := s.HTML(&bytes.Buffer{}, 10); err == nil {
		t.Error("a tape of 10 mm is taken")
	}
}

const small = `drywire: 1
title: "<b>Loud</b> & clear"
recording: {sample: riff}
supplies: {brick: {outputs: {1: {voltage: 9 V, current: 100 mA}, 2: {voltage: 9 V, current: 100 mA}}}}
patch: 25 cm
blocks:
  board: {kind: switcher, loops: {1: [old], 2: []}}
  old:   {kind: fuzz, device: germanium, fuzz: 10, power: brick.1}
  echo:  {kind: delay, mix: 20 %, power: auto}
order: [board, echo]
presets:
  soft: {loops: []}
  loud: {loops: [1], trim: -2 dB, set: {echo.mix: 50 %, guitar.volume: 7}}
takes: [{name: loud, preset: loud}]
`

// Trims that were worked out stand in a column for each guitar, beside the file's own.
func TestTrimsOfEveryGuitar(t *testing.T) {
	f := chaintest.ShippedFile(t, "big-board")
	s, page := made(t, f, 12)
	if got := fmt.Sprint(s.TrimHeads(), s.TrimsOf(5)); got != "[[trim] [by ear on bright] [by ear on deep]] [-3.0 dB  ]" || !strings.Contains(page, "by ear on<br>deep") {
		t.Errorf("without: %s", got)
	}
	trimmed(f, s)
	if got, want := fmt.Sprint(s.TrimHeads(), s.TrimsOf(5)), "[[trim in the file] [equal on guitar] [equal on bright] [equal on deep]] [-3.0 dB -6.3 dB -5.3 dB -4.3 dB]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	var b bytes.Buffer
	if err := s.HTML(&b, 12); err != nil || !strings.Contains(b.String(), `<td class="trim">-5.3 dB</td>`) || strings.Contains(b.String(), "by ear on") {
		t.Errorf("the page does not have them: %v", err)
	}
}

// What the sheet says of a small board, worked out by hand.
func TestSmallBoard(t *testing.T) {
	s, page := made(t, chaintest.MustParse(t, small), 9)
	if strings.Contains(page, "<b>Loud") || !strings.Contains(page, "&lt;b&gt;Loud") {
		t.Error("a title is let into the page as markup")
	}
	var cables []string
	for _, c := range s.Cables {
		cables = append(cables, fmt.Sprint(c.Number, " ", c.From, " ", c.To, " ", c.Length, " ", c.Use))
	}
	want := []string{
		"1 guitar board.in 5 m guitar",
		"2 board.send-1 old.in 25 cm patch",
		"3 old.out board.return-1 25 cm patch",
		"4 board.send-2 board.return-2 25 cm patch",
		"5 board.out echo.in 25 cm patch",
		"6 echo.out out 3 m amplifier",
	}
	if !slices.Equal(cables, want) {
		t.Errorf("cables\n%s\nwant\n%s", strings.Join(cables, "\n"), strings.Join(want, "\n"))
	}
	loud := s.Presets[1]
	if got, want := fmt.Sprint(loud.In, " ", loud.Trim, " ", loud.Changes), "[true false] -2.0 dB [echo mix: 20 % → 50 % guitar.volume: 7]"; got != want {
		t.Errorf("preset: %s, want %s", got, want)
	}
	if got, want := fmt.Sprint(s.Open, s.OwnPower), "[echo] [board]"; got != want {
		t.Errorf("open and own: %s, want %s", got, want)
	}
	text := strings.Join(s.Cautions, "\n")
	for _, want := range []string{"Not plugged in yet: echo", "old: ground at the positive pole"} {
		if !strings.Contains(text, want) {
			t.Errorf("no caution %q in\n%s", want, text)
		}
	}
	// The fuzz at 10 points to 5 o'clock, 150° clockwise from the top: sin 150° = 0.5, -cos 150° =
	// 0.87, of 11.5.
	if !strings.Contains(page, `x2="5.7" y2="10.0"`) && !strings.Contains(page, `x2="5.8" y2="10.0"`) {
		t.Error("no tick at 5 o'clock")
	}
}
