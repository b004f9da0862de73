package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/venue"
)

type venueOptions struct {
	file, recording, quality string
	seconds                  float64
	json                     bool
}

// venueSeconds is how much of a recording is rendered where nobody says.
const venueSeconds = 4

func venueCommand(s streams) *cobra.Command {
	var o venueOptions
	cmd := &cobra.Command{
		Use:   "venue FILE",
		Short: "Say how the presets stand at home and on stage, and which trims suit both",
		Long: `Venue plays the presets at every place that the chain file names, and says how loud each is at the
listener, which trims make them equal there, one set of trims for all places, and what differs then:

  venue:
    home:  {amps: -20 dB, by: master, level: 70 dB}
    stage: {level: 100 dB}

amps is how far the amplifiers are turned down against the file, by says with what: master (the
power amplifier's own level, which also takes it out of its clipping) or attenuator (behind it, so
that it clips as it did); watts puts other power amplifiers in their place. level is how loud the
preset in the middle is at the listener, in dB SPL.

Loudness: ISO 532-1 (Zwicker's method for stationary sounds, in a free field), of the mean spectrum;
two amplifiers add up as powers. The ear hears less bass at home, so presets that are equal on stage
are not equal there. 10 phon more are twice as loud. The room, the distance and your loudspeaker's
own compression are not in it. Loud playing harms: at 100 dB, ears are safe for minutes, not hours;
rules for noise at work say how long.

--json prints one object in place of the table:
  sentence, not_measurable (why there are no trims)
  presets: name, was_db, trim_db                      one set for all venues
  venues: name, turned_down, level_db_spl, spread_phon, spread_phon_own_trims,
    spread_phon_trims_for_all (softest to loudest)
    presets: name, sone, phon, db_spl, trim_db, left_phon, phon_trims_for_all, apart_trims_for_all
    power_amplifiers: block, ceiling_volts, under_db (highest peak under it), preset (the loudest)`,
		Example: `  drywire venue my-board.yaml
  drywire venue my-board.yaml --quality draft --seconds 8`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runVenue(cmd.Context(), s, o)
		},
	}
	cmd.Flags().Float64Var(&o.seconds, "seconds", venueSeconds, "how much of the recording is rendered, from its beginning, in seconds")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the table")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "seconds", cobra.NoFileCompletions)
	return cmd
}

func runVenue(ctx context.Context, s streams, o venueOptions) error {
	if !(o.seconds >= 0.5 && o.seconds <= 60) {
		return misusef("--seconds %v: want 0.5 to 60", o.seconds)
	}
	f, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	x, err := f.Beginning(ctx, o.seconds)
	if err != nil {
		return err
	}
	bar := newProgress(s.err, int64(max(1, venue.Renders(f.File))))
	defer bar.stop()
	a, err := venue.Ask(ctx, venue.Question{File: f.File, Recording: x, Rate: f.Dry.Rate, Quality: q, Progress: func() { bar.add(1) }})
	if err != nil {
		return fmt.Errorf("%s: %w", f.Text.Name, err)
	}
	bar.stop()
	if o.json {
		return s.object(a)
	}
	printVenues(s, a)
	return nil
}

func printVenues(s streams, a *venue.Answer) {
	paragraph(s.out, "", a.Sentence, width)
	for _, p := range a.Venues {
		s.printf("\n")
		paragraph(s.out, "", fmt.Sprintf("%s: amplifiers %s; %g dB SPL at the listener", p.Name, p.Down, p.Level), width)
		for _, amp := range p.Amps {
			where := fmt.Sprintf("%.1f dB under", amp.Under)
			if amp.Under < 0 {
				where = fmt.Sprintf("%.1f dB over", -amp.Under)
			}
			s.printf("  %s: ceiling %s peak at 8 Ω; the loudest, %s, comes to %s it\n", amp.Block, volts(amp.Ceiling), amp.Preset, where)
		}
		t := table{header: []string{"", "sone", "phon"}}
		if a.Why == "" {
			t.header = append(t.header, "trim\nhere", "left\nthen", "with the trim\nfor all")
		}
		for _, one := range p.Presets {
			row := []string{clip(one.Name, 30), fmt.Sprintf("%.1f", one.Sone), fmt.Sprintf("%.1f", one.Phon)}
			if a.Why == "" {
				row = append(row, signed(one.Trim)+" dB", signed(one.Left)+" phon", signed(one.Apart)+" phon")
			}
			t.row(row...)
		}
		t.print(s.out)
	}
	if a.Why == "" {
		s.printf("\nOne set of trims for all, to paste into the presets:\n")
		var list []string
		for _, p := range a.Presets {
			list = append(list, fmt.Sprintf("%s: {trim: %g dB}", p.Name, p.DB))
		}
		paragraph(s.out, "  ", strings.Join(list, ", "), width)
	}
	s.printf("\n")
	paragraph(s.out, "Your ears: ", hearing, width)
}

// signed is a number to a tenth with its sign; what rounds to nothing has none.
func signed(v float64) string {
	text := fmt.Sprintf("%+.1f", v)
	if text == "-0.0" || text == "+0.0" {
		return "0.0"
	}
	return text
}
