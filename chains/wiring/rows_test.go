package wiring_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/wiring"
	"drywire/dsp/section"
)

// said is a row in words: a section by S and its driven source, a stage by its name, each with the
// number of the part before it.
func said(row wiring.Row) string {
	var list []string
	for _, p := range row {
		name := p.Stage.Name
		if p.Section != nil {
			name = "S(" + p.Node() + ")"
		}
		list = append(list, fmt.Sprint(p.From, " ", name))
	}
	return strings.Join(list, ", ")
}

// A row is from a non-linear part to the last one that has nothing but linear circuits and stages
// without memory before it.
func TestRows(t *testing.T) {
	const blocks = "fuzz: {kind: fuzz}; drive: {kind: overdrive}; dist: {kind: distortion}; buffer: {kind: buffer}; two: {kind: buffer}; " +
		"echo: {kind: delay}; vol: {kind: volume}; power: {kind: poweramp}; eq: {kind: eq}; box: {kind: load-box}; boost: {kind: boost, gain: 30 dB}; boost2: {kind: boost}"
	for _, c := range []struct {
		order string
		want  []string
	}{
		{"buffer, vol, two", nil},
		{"buffer, fuzz, two", nil}, // one alone
		{"fuzz, echo, drive", nil}, // memory in between
		{"fuzz, buffer, vol, drive, two", []string{"-1 S(Vdry), 0 buffer.follower, 1 S(buffer.follower), 2 drive.input, 3 S(drive.buffered)"}},
		{"buffer, drive, dist, echo, vol", []string{"-1 S(drive.buffered), 0 drive.output, 1 S(drive.driven), 2 dist.input, 3 S(dist.buffered)"}},
		{"dist, drive, boost, echo, fuzz, two", []string{
			"-1 S(dist.buffered), 0 dist.output, 1 S(dist.driven), 2 drive.input, 3 S(drive.buffered), 4 drive.output, 5 S(drive.driven), 6 boost.amp",
		}},
		{"boost, vol, boost2, two", nil}, // limits alone
		{"drive, power, box", []string{"-1 S(drive.buffered), 0 drive.output, 1 S(drive.driven), 2 power.valves"}},
	} {
		w := wiring.Of(chaintest.Chain(t, blocks, c.order), 48000, section.Draft)
		var got []string
		for _, row := range w.Rows(func(wiring.Part) bool { return true }) {
			got = append(got, said(row))
		}
		slices.Sort(got)
		want := slices.Sorted(slices.Values(c.want))
		if !slices.Equal(got, want) {
			t.Errorf("%s:\n%s\nwant\n%s", c.order, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
}

// What moves is in no row.
func TestRowsLeaveOutWhatMoves(t *testing.T) {
	w := wiring.Of(chaintest.Chain(t, "a: {kind: overdrive}; b: {kind: distortion}; c: {kind: overdrive}", "a, b, c"), 48000, section.Draft)
	rows := w.Rows(func(p wiring.Part) bool { return p.Section != nil || p.Stage.Name != "b.input" })
	if len(rows) != 1 || said(rows[0]) != "-1 S(b.buffered), 0 b.output, 1 S(b.driven), 2 c.input, 3 S(c.buffered)" {
		t.Errorf("%v", rows)
	}
}

// A signal that forks has a row in two lines; what a part depends on is one.
func TestRowForks(t *testing.T) {
	f := chaintest.ShippedFile(t, "two-amplifiers")
	for _, c := range f.Chains() {
		w := wiring.Of(c, 48000, section.Draft)
		for _, row := range w.Rows(func(wiring.Part) bool { return true }) {
			for k, p := range row {
				if p.From >= k || (p.From < 0) != (k == 0) {
					t.Errorf("%s: part %d of %s comes after %d", c.Take, k, said(row), p.From)
				}
				line := row.Upto(k)
				if last := line[len(line)-1]; last.Section != p.Section || last.Stage.Name != p.Stage.Name || line[0].Section != row[0].Section {
					t.Errorf("%s: %s up to %d is %s", c.Take, said(row), k, said(line))
				}
			}
		}
	}
}
