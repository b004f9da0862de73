package cli

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/experiment"
	"drywire/chains/sheet"
	"drywire/cmd/internal/produce"
	"drywire/dsp/section"
)

type sheetOptions struct {
	file, take, out, recording string
	tape                       int
	trims                      bool
}

func sheetCommand(s streams) *cobra.Command {
	var o sheetOptions
	cmd := &cobra.Command{
		Use:   "sheet FILE",
		Short: "Make a board's wiring sheet: cables, presets, knobs, power, labels",
		Long: `Sheet writes what you need to wire and check a board, on A4 paper: the signal path and the loops,
presets and the loops that are in, every cable with its number, from, to and length, the inputs and
outputs at the board's edge, which supply output feeds what with its load and rating, knob positions
as numbers and pointers, what presets change, what to buy, a checklist for before a gig, and
cautions; then labels to cut out, for blocks, supply leads and both ends of every cable.

Cables are those of one take, with the lengths in the file; plugs, and what else the file does not
say, are the usual ones. Trims for another guitar are left blank, to be written in by ear; with
--trims every preset is played on every guitar, as drywire presets plays it, and the trims that
make all of them equally loud are on the sheet: minutes, for a large board.

A name that ends in .html is a page to print from a browser; one that ends in .png is the same
without labels as a picture, page under page, to send or to look at on a phone. Without -o the sheet
is printed as text, without labels.`,
		Example: `  drywire sheet my-board.yaml
  drywire sheet my-board.yaml -o my-board.html --tape 9
  drywire sheet my-board.yaml -o my-board.png --trims`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runSheet(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the HTML or PNG `FILE` to write")
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of the take whose cables these are; the first when there is none given")
	cmd.Flags().IntVar(&o.tape, "tape", 12, "the height of the labels' tape in `MM`: 9, 12 or 19")
	cmd.Flags().BoolVar(&o.trims, "trims", false, "work out the trim of every preset on every guitar, for one loudness")
	recordingFlag(cmd, &o.recording)
	complete(cmd, "take", completeTake)
	complete(cmd, "tape", cobra.NoFileCompletions)
	return cmd
}

func runSheet(ctx context.Context, s streams, o sheetOptions) error {
	ext := strings.ToLower(filepath.Ext(o.out))
	if o.out != "" && !slices.Contains([]string{".html", ".htm", ".png"}, ext) {
		return misusef("sheet writes a page, whose name ends in .html, or a picture, whose name ends in .png, not %q", o.out)
	}
	if !slices.Contains(sheet.Tapes, o.tape) {
		return misusef("--tape %d: want 9, 12 or 19", o.tape)
	}
	if o.recording != "" && !o.trims {
		return misusef("a recording is played only where trims are worked out: --trims")
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	page, err := sheet.New(f.File, c.Take)
	if err != nil {
		return err
	}
	if o.trims {
		if err := workOutTrims(ctx, s, page, o); err != nil {
			return err
		}
	}
	if o.out == "" {
		printSheet(s, page)
		return nil
	}
	var text bytes.Buffer
	if ext == ".png" {
		err = page.PNG(&text)
	} else {
		err = page.HTML(&text, o.tape)
	}
	if err != nil {
		return err
	}
	out, name, err := openFor(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	if err := out.text(name, text.Bytes(), f.Text.Name); err != nil {
		return err
	}
	if err := f.unchanged(); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	what := "for A4 paper. Open it in a browser and print it"
	if ext == ".png" {
		what = "as a picture"
	}
	s.printf("Wrote %s: %s, %s.\n", o.out, plural(len(page.Cables), "cable", "cables"), what)
	return nil
}

// workOutTrims plays every preset on every guitar, and puts the trims that make them equally loud
// on the sheet.
func workOutTrims(ctx context.Context, s streams, page *sheet.Sheet, o sheetOptions) error {
	f, q, err := material(ctx, s, o.file, o.recording, section.Normal.Name)
	if err != nil {
		return err
	}
	x, err := f.Beginning(ctx, produce.MostMeasured)
	if err != nil {
		return err
	}
	bench, err := experiment.NewPresetBench(f.File, x, f.Dry.Rate, q)
	if err != nil {
		return fmt.Errorf("%s: %w", f.Text.Name, err)
	}
	bar := newProgress(s.err, int64(1+len(f.Guitars)))
	defer bar.stop()
	list, err := bench.TrimsOnGuitars(ctx, func() { bar.add(1) })
	if err != nil {
		return err
	}
	bar.stop()
	page.Played = "“" + f.Dry.Title + "”"
	for _, t := range list {
		if t.Why != "" {
			return fmt.Errorf("%s: no trims on %s: %s", f.Text.Name, t.Guitar, t.Why)
		}
		one := sheet.Trims{Guitar: t.Guitar}
		for _, trim := range t.Trims {
			one.DB = append(one.DB, trim.DB)
		}
		page.Trims = append(page.Trims, one)
		if !t.Within {
			s.remark(fmt.Sprintf("on %s no trims bring the presets within %.1f dB of each other; these come nearest, within %.1f", t.Guitar, experiment.PresetSpread, t.Spread))
		}
	}
	return nil
}

func printSheet(s streams, p *sheet.Sheet) {
	s.printf("%s\n\nPath\n", p.Title)
	for _, path := range p.Paths {
		paragraph(s.out, strings.TrimSuffix("  "+path.Name+": ", "  : "), strings.Join(path.Steps, " > "), width)
	}
	s.printf("\nCables, wired as in: %s\n", p.Take)
	t := table{header: []string{" no.", "from", "to", " length", "what", "plugs"}}
	for _, c := range p.Cables {
		t.row(fmt.Sprint(c.Number), clip(c.From, 32), clip(c.To, 32), c.Length, c.Use, c.Letter())
	}
	t.print(s.out)
	for _, p := range p.Plugs() {
		s.printf("%s: %s\n", p.Letter, p.Text)
	}
	for _, k := range p.Inside {
		s.printf("Inside an amplifier: %s\n", k)
	}
	s.printf("\nAt the edge of the board\n")
	t = table{header: []string{"jack", "", " cable", "to and from"}}
	for _, b := range p.Bay {
		t.row(b.Jack, map[bool]string{true: "in", false: "out"}[b.In], fmt.Sprint(b.Number), b.Other)
	}
	t.print(s.out)
	if len(p.Presets) > 0 {
		s.printf("\nPresets\n")
		head := []string{"preset", "loops"}
		for _, lines := range p.TrimHeads() {
			head = append(head, " "+strings.Join(lines, "\n"))
		}
		t = table{header: append(head, "changes")}
		for n, r := range p.Presets {
			var in []string
			for k, on := range r.In {
				if on {
					in = append(in, fmt.Sprint(p.Loops[k].Number))
				}
			}
			cells := append([]string{clip(r.Name, 24), strings.Join(in, " ")}, p.TrimsOf(n)...)
			t.row(append(cells, strings.Join(r.Changes, "; "))...)
		}
		t.wrap(s.out, width)
		if note := p.TrimNote(); note != "" {
			paragraph(s.out, "", note, width)
		}
	}
	s.printf("\nKnobs at the base\n")
	for _, b := range p.Blocks {
		var knobs []string
		for _, k := range b.Knobs {
			knobs = append(knobs, k.Name+" "+k.Value)
		}
		paragraph(s.out, "  "+b.Name+": ", strings.Join(knobs, ", "), width)
	}
	if len(p.Outputs) > 0 {
		s.printf("\nPower\n")
		t = table{header: []string{"output", " V", "plug", " mA", " of", "feeds"}}
		for _, o := range p.Outputs {
			t.row(o.Output, fmt.Sprintf("%.4g", float64(o.Voltage)), o.Plug, fmt.Sprintf("%.4g", 1e3*float64(o.Draw)), fmt.Sprintf("%.4g", 1e3*float64(o.Current)), strings.Join(o.Blocks, ", "))
		}
		t.wrap(s.out, width)
	}
	for _, list := range []struct {
		name  string
		lines []string
	}{{"Before a gig", p.Checks}, {"Caution", p.Cautions}} {
		s.printf("\n%s\n", list.name)
		for _, line := range list.lines {
			paragraph(s.out, "  - ", line, width)
		}
	}
	s.printf("\nTo buy\n")
	for _, i := range p.Shopping {
		s.printf("  %d x %s\n", i.Count, i.What)
	}
}
