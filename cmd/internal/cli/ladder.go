package cli

import (
	"context"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
)

type ladderOptions struct {
	file, recording, quality, svg, png string
	takes                              []string
	json, dark                         bool
}

func ladderCommand(s streams) *cobra.Command {
	var o ladderOptions
	cmd := &cobra.Command{
		Use:   "ladder FILE",
		Short: "Draw the level diagram: signal, noise and ceilings, jack by jack",
		Long: `Ladder draws the level diagram of two takes, or of those that --take names: at every place where one
thing is plugged into the next, how loud the signal is (from its average to its peak), how loud the
noise is when nobody plays, and the two ceilings of what it goes into: where that begins to colour
(thin) and where it breaks up (heavy). All of it is voltage, in dBu: 0 dBu is 0.775 V.

Above it stands what breaks up at the loudest of the recording.
Read it from left to right, or from top to bottom: a block that lets the noise rise more than the
signal costs you quiet; a signal that goes over a ceiling breaks up there, as a fuzz should and an
echo should not. drywire measure --help defines the figures.

--json prints one object: takes: take, held (where knobs move: which are taken where they are at 0 s
for noise and ceilings), rungs: jack, into, peak_dbu, average_dbu, noise_dbu, colour_dbu,
ceiling_dbu, clean_headroom_db, headroom_db, room_db (average over noise), over_share (0 to 1).
What cannot be measured is {"not_measurable": "why"}.`,
		Example: `  drywire ladder my-chain.yaml
  drywire ladder my-chain.yaml --take "fuzz first" --take buffered --svg ladder.svg --png ladder.png`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runLadder(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringArrayVar(&o.takes, "take", nil, "the `NAME` of a take, as often as there are takes to draw; the first two when none is given")
	cmd.Flags().StringVar(&o.svg, "svg", "", "write the drawing into this SVG `FILE`")
	cmd.Flags().StringVar(&o.png, "png", "", "write the drawing into this PNG `FILE`")
	cmd.Flags().BoolVar(&o.dark, "dark", false, "the PNG file light on dark; an SVG file follows the page that it is in")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the diagram")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "take", completeTake)
	return cmd
}

func runLadder(ctx context.Context, s streams, o ladderOptions) error {
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	for _, file := range []struct{ path, ext, flag string }{{o.svg, ".svg", "--svg"}, {o.png, ".png", "--png"}} {
		if file.path != "" && !strings.EqualFold(filepath.Ext(file.path), file.ext) {
			return misusef("%s writes a file whose name ends in %s, not %q", file.flag, file.ext, file.path)
		}
	}
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	list := f.Chains()
	list = list[:min(2, len(list))]
	if len(o.takes) > 0 {
		list = nil
		for _, name := range o.takes {
			c, _, err := f.take(name)
			if err != nil {
				return err
			}
			list = append(list, c)
		}
	}
	if err := s.afford(f, list...); err != nil {
		return err
	}
	s.held(list...)
	l, err := ladder(ctx, s, f, list, q)
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	if o.svg != "" {
		files[o.svg] = l.SVG()
	}
	if o.png != "" {
		if files[o.png], err = l.PNG(o.dark); err != nil {
			return err
		}
	}
	if err := writeFiles(s.disk, files, s.read, f.inputs()...); err != nil {
		return err
	}
	if o.json {
		return s.object(l)
	}
	s.printf("%s\n", titleOf(f))
	f.describe(s, list...)
	s.printf("\n")
	for _, t := range l.Takes {
		var blocks []string
		var headroom []measures.Figure
		for _, r := range t.Rungs {
			blocks, headroom = append(blocks, r.Into), append(headroom, r.HeadroomDB)
		}
		if said := breaksUp(blocks, headroom); said != "" {
			paragraph(s.out, "", t.Take+": "+strings.ToLower(said[:1])+said[1:], width)
		}
	}
	s.printf("\n%s", l.Text())
	return nil
}

func ladder(ctx context.Context, s streams, f *chainFile, list []*board.Chain, q section.Quality) (*experiment.Ladder, error) {
	x, err := f.Beginning(ctx, produce.MostMeasured)
	if err != nil {
		return nil, err
	}
	for _, r := range f.Dries(list...) {
		if r.Seconds() > produce.MostMeasured {
			s.say("drywire: measured the first %.0f s of %.0f s", produce.MostMeasured, r.Seconds())
		}
	}
	var all []*experiment.Measures
	for _, c := range list {
		m, err := measureTake(ctx, c, f.Dry, q, x.Of(c), dsp.Tone{})
		if err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return experiment.NewLadder(all...), nil
}
