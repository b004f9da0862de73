package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/sweep"
)

type sweepOptions struct {
	file, knob, recording, quality, svg string
	takes                               []string
	json                                bool
}

func sweepCommand(s streams) *cobra.Command {
	var o sweepOptions
	cmd := &cobra.Command{
		Use:   "sweep FILE --knob BLOCK.KNOB",
		Short: "Turn a knob over its travel, and see what limits its useful range",
		Long: `Sweep turns one knob from 7 to 5 o'clock, an hour at a time, in the first two takes that have its
block, or in those that --take names. Every position is simulated on the loudest two seconds of the
recording. Knobs without a dial go in even steps through their range, frequencies in octaves.

Going up from the bottom, its useful travel ends where
  the peaks pass the ceiling of a block behind it, where that breaks up (see drywire ladder), or
  of the block itself where that is clean turned down,
  the playing, past its best, is less than 60 dB over the hiss, and 3 dB less than it was there,
  it is louder than the loudest other preset by a jump (2 LU),
  or where a further hour is inaudible, at equal loudness, and changes the level by under 0.5 LU.
A ceiling that is passed on purpose, as into a valve amplifier, ends only the clean travel.

--json prints one object: block, knob, unit, takes: take, now, next, points: clock, value,
loudness_at_end_lufs, distortion_at_end_percent, playing_over_hiss_db, into_next_average_dbu,
into_next_peak_dbu, into_next_noise_dbu, next_colour_dbu, next_ceiling_dbu,
next_clean_headroom_db, next_headroom_db, next_over_share;
ends: what, block, at (share of the travel), clock, text. What cannot be measured is
{"not_measurable": "why"}.`,
		Example: `  drywire sweep my-chain.yaml --knob fuzz.level
  drywire sweep my-chain.yaml --knob fuzz.level --take plain --take buffered --svg level.svg`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runSweep(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.knob, "knob", "", "the `BLOCK.KNOB` that is turned")
	cmd.Flags().StringArrayVar(&o.takes, "take", nil, "the `NAME` of a take, as often as there are takes to see; the first two when none is given")
	cmd.Flags().StringVar(&o.svg, "svg", "", "write the picture into this SVG `FILE`")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "take", completeTake)
	complete(cmd, "knob", cobra.NoFileCompletions)
	return cmd
}

func runSweep(ctx context.Context, s streams, o sweepOptions) error {
	block, knob, ok := strings.Cut(o.knob, ".")
	if !ok {
		return misusef("say which knob with --knob BLOCK.KNOB, like --knob fuzz.level")
	}
	if o.svg != "" && !strings.EqualFold(filepath.Ext(o.svg), ".svg") {
		return misusef("--svg writes a file whose name ends in .svg, not %q", o.svg)
	}
	f, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	if _, err := sweep.Knob(f.File, block, knob); err != nil {
		return misuse{err}
	}
	for k, name := range o.takes {
		c, _, err := f.take(name)
		if err != nil {
			return err
		}
		o.takes[k] = c.Take
	}
	if len(o.takes) == 0 {
		if o.takes, err = sweep.Usual(f.File, block); err != nil {
			return err
		}
	}
	x, err := f.Beginning(ctx, whySeconds)
	if err != nil {
		return err
	}
	bar := newProgress(s.err, int64(sweep.Positions*len(o.takes)))
	defer bar.stop()
	a, err := sweep.Ask(ctx, sweep.Question{
		File: f.File, Takes: o.takes, Block: block, Knob: knob, Recording: x, Rate: f.Dry.Rate, Quality: q,
		Progress: func(int, int) { bar.add(1) },
	})
	if err != nil {
		return err
	}
	bar.stop()
	if o.svg != "" {
		if err := writeFiles(s.disk, map[string][]byte{o.svg: a.SVG()}, s.read, f.inputs()...); err != nil {
			return err
		}
	}
	if o.json {
		return s.object(a)
	}
	s.printf("%s\n", titleOf(f))
	for _, t := range a.Takes {
		s.printf("\n")
		paragraph(s.out, "", t.Sentence(o.knob), 98)
		printTravel(s, a, t)
		for k, e := range t.Ends {
			if k > 0 {
				paragraph(s.out, "Then:  ", fmt.Sprintf("%s o'clock: %s.", e.Clock, e.Text), 98)
			}
		}
	}
	return nil
}

func printTravel(s streams, a *sweep.Answer, t sweep.Travel) {
	next := t.Next
	if next == "" {
		next = "the end"
	}
	tab := table{header: []string{"o'clock", " " + clip(a.Knob, 12), " loudness\nLUFS", " distortion\nat the end", " over\nhiss", " into " + clip(next, 10) + "\naverage", " peak\ndBu", " clean\ndB", " headroom\ndB", " over its\nceiling"}}
	for _, p := range t.Points {
		share := p.Over
		share.Value *= 100
		mark := p.Clock
		if p.Value == t.Now {
			mark += " now"
		}
		over, distortion := share.Text(0), p.Distortion.Text(1)
		if p.Over.OK() {
			over += " %"
		}
		if p.Distortion.OK() {
			distortion += " %"
		}
		tab.row(mark, p.Text(), p.Loudness.Text(1), distortion, p.OverHiss.Text(0)+" dB", p.Average.Text(1), p.Peak.Text(1), p.Clean.Text(1), p.Headroom.Text(1), over)
	}
	tab.print(s.out)
}
