package cli

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/sheet"
)

type sheetOptions struct {
	file, take, out string
	tape            int
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
say, are the usual ones. Trims for another guitar are left blank, to be written in by ear.

Print the page from a browser, or print it into a picture there. Without -o the sheet is printed
as text, without labels.`,
		Example: `  drywire sheet my-board.yaml
  drywire sheet my-board.yaml -o my-board.html --tape 9`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runSheet(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the HTML `FILE` to write")
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of the take whose cables these are; the first when there is none given")
	cmd.Flags().IntVar(&o.tape, "tape", 12, "the height of the labels' tape in `MM`: 9, 12 or 19")
	complete(cmd, "take", completeTake)
	complete(cmd, "tape", cobra.NoFileCompletions)
	return cmd
}

func runSheet(_ context.Context, s streams, o sheetOptions) error {
	if ext := strings.ToLower(filepath.Ext(o.out)); o.out != "" && ext != ".html" && ext != ".htm" {
		return misusef("sheet writes a page, whose name ends in .html, not %q", o.out)
	}
	if !slices.Contains(sheet.Tapes, o.tape) {
		return misusef("--tape %d: want 9, 12 or 19", o.tape)
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	page, err := sheet.New(f.File, c.Take)
	if err != nil {
		return err
	}
	if o.out == "" {
		printSheet(s, page)
		return nil
	}
	var text bytes.Buffer
	if err := page.HTML(&text, o.tape); err != nil {
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
	s.printf("Wrote %s: %s, for A4 paper. Open it in a browser and print it.\n", o.out, plural(len(page.Cables), "cable", "cables"))
	return nil
}

func printSheet(s streams, p *sheet.Sheet) {
	s.printf("%s\n\nPath\n", p.Title)
	for _, path := range p.Paths {
		paragraph(s.out, strings.TrimSuffix("  "+path.Name+": ", "  : "), strings.Join(path.Steps, " > "), width)
	}
	s.printf("\nCables, wired as in: %s\n", p.Take)
	t := table{header: []string{" no.", "from", "to", " length", "what"}}
	for _, c := range p.Cables {
		t.row(fmt.Sprint(c.Number), clip(c.From, 32), clip(c.To, 32), c.Length, c.Use)
	}
	t.print(s.out)
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
		t = table{header: []string{"preset", "loops", " trim", "changes"}}
		for _, r := range p.Presets {
			var in []string
			for k, on := range r.In {
				if on {
					in = append(in, fmt.Sprint(p.Loops[k].Number))
				}
			}
			t.row(clip(r.Name, 24), strings.Join(in, " "), r.Trim, strings.Join(r.Changes, "; "))
		}
		t.wrap(s.out, width)
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
