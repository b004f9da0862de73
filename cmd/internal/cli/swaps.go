package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/dsp"
)

type swapsOptions struct {
	file, take, recording, quality string
	seconds                        float64
	all, json                      bool
}

// swapSeconds is how much of a recording is rendered where nothing else is asked for.
const swapSeconds = 5

func swapsCommand(s streams) *cobra.Command {
	var o swapsOptions
	cmd := &cobra.Command{
		Use:   "swaps FILE",
		Short: "Swap every two blocks of a take: which swaps can be heard, and in what",
		Long: fmt.Sprintf(`Swaps lets every two blocks of a take change places, renders the beginning of the recording (%d s)
through each of these orders, brings it to the loudness of the take as it is, and says whether a
listener could tell, and by what. It prints a map and a list, strongest first: by how likely the
difference is heard; where that is the same, and it soon is certain, by how little had to be moved.

Whether it is heard is the detection of ITU-R BS.1387, with full scale at %.0f dB SPL: mostly (in
half of the moments and more), in places, or not. Only what is heard is looked into:
  L  level       by 0.5 LU and more, before the loudness is matched
  T  tone        bass (to 250 Hz), middle or treble (from 2 kHz) by 1 dB and more
  N  noise       at rest, at equal loudness, by 1 dB (A) and more, if it can be heard at all
  D  distortion  THD of a 997 Hz tone by 3 dB and more, if it is over 1 %%
  S  sustain     the time for 20 dB of a falling note by 10 %% and more
  R  repeats     6 dB and more clearer or less so, if the less clear are under 30 dB
L and N are listed even where the playing sounds the same.

On a board with loops, what is in them changes places too, with each other and with what is not in
any; all of one loop with all of another; the switcher as a whole; and every block leaves its
loop, to stand in front of the switcher or behind it. Where a take splits into two paths, blocks
of both and of each change places. Orders in which the signal meets the same are tried once. What
a listener hears of two ends is judged by their mean.

What nobody could wire is left out: a pedal behind the power of an amplifier or its loudspeaker,
or those in front of one; a preamplifier off the path of its amplifier. On its path, a
preamplifier does change places: what was in front of it is then in the amplifier's loop.

--json prints one object in place of the tables:
  title, take, order (with its loops), names (of its blocks), quality, rate_hz, seconds,
    playback_db_spl
  swaps: first, second (blocks, loops, or where it goes), apart (places), take (its keys),
    a (always 0: the take as it is), b, lag_s, drift_cents, inverted, third_octaves: hz, db;
    hearing: playback_db_spl, probability, share, highest, bands, bands_of, events, clearest_s,
      noise_to_mask_db;
    heard, respects, sentence,
%s  left_out: first, second, why
What cannot be measured is {"not_measurable": "why"}.`, swapSeconds, experiment.Playback, keyList(measures.Changes())),
		Example: `  drywire swaps my-chain.yaml
  drywire swaps my-chain.yaml --take buffered --json > swaps.json`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runSwaps(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().Float64Var(&o.seconds, "seconds", swapSeconds, "how much of the recording is rendered, from its beginning, in seconds")
	cmd.Flags().BoolVar(&o.all, "all", false, "print every swap, and all numbers")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object in place of the tables")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "take", completeTake)
	complete(cmd, "seconds", cobra.NoFileCompletions)
	return cmd
}

func runSwaps(ctx context.Context, s streams, o swapsOptions) error {
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	if !(o.seconds >= 0.1 && o.seconds <= 600) {
		return misusef("--seconds %v: want 0.1 to 600", o.seconds)
	}
	f, c, err := readTake(s, o.file, o.take)
	if err != nil {
		return err
	}
	if err := experiment.Swappable(c); err != nil { // before a long read of the recording
		return err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	if c, _, err = f.take(c.Take); err != nil { // with the recording in it
		return err
	}
	x, err := f.DryOf(c).Beginning(ctx, o.seconds)
	if err != nil {
		return err
	}
	bar := newProgress(s.err, int64(1+experiment.SwapsOf(c)))
	defer bar.stop()
	m, err := experiment.Swaps(ctx, c, x, f.Dry.Rate, q, func() { bar.add(1) })
	if err != nil {
		return err
	}
	bar.stop()
	if o.json {
		return s.object(m)
	}
	if m.Title != "" {
		s.printf("%s\n", m.Title)
	}
	s.printf("Take: %s\n", m.Take)
	paragraph(s.out, "  ", orderText(c), 98)
	f.describe(s, c)
	printSwaps(s, m, len(x), o.all)
	return nil
}

// letter is a respect in the map.
var letter = map[string]string{"level": "L", "tone": "T", "noise": "N", "distortion": "D", "decay": "S", "repeats": "R"}

// mapped is a swap in the map.
func mapped(k *experiment.Swap) string {
	letters := ""
	for _, r := range k.Respects {
		letters += letter[r]
	}
	switch k.Heard {
	case experiment.HeardMostly:
		return "!" + letters
	case experiment.HeardInParts:
		return "~" + letters
	case experiment.HeardUnknown:
		return "?"
	}
	return "." + letters
}

// widest is how many blocks fit into the map: a row has their numbers, a name, and up to six
// letters for each.
const widest = 9

// mostSwaps is how many swaps are put into words.
const mostSwaps = 8

func printSwaps(s streams, m *experiment.SwapMap, frames int, all bool) {
	s.printf("\nFull scale at %.0f dB SPL; the first %s, quality %s.\n", m.Playback, quantity(float64(frames)/float64(m.RateHz), dsp.Seconds), m.Quality)
	// Of a whole take, only what changes places with something is in the map.
	if names := m.Blocks(); len(names) <= widest {
		s.printf("\n")
		n := len(names)
		t := table{header: []string{" #", "block"}}
		for k := range n - 1 {
			t.header = append(t.header, fmt.Sprint(k+1))
		}
		omitted := false
		for j := 1; j < n; j++ {
			cells := make([]string, n+1)
			cells[0], cells[1] = fmt.Sprint(j+1), clip(names[j], 20)
			for i := range j {
				at := slices.IndexFunc(m.Swaps, func(k experiment.Swap) bool { return k.First == names[i] && k.Second == names[j] })
				if at < 0 {
					cells[2+i], omitted = "-", true
					continue
				}
				cells[2+i] = mapped(&m.Swaps[at])
			}
			t.row(cells...)
		}
		t.print(s.out)
		var columns []string
		for k, name := range names[:n-1] {
			columns = append(columns, fmt.Sprintf("%d %s", k+1, name))
		}
		paragraph(s.out, "Columns:  ", strings.Join(columns, ", "), 98)
		s.printf("! heard mostly  ~ in places  . not heard  ? not measurable")
		if omitted {
			s.printf("  - left out")
		}
		s.printf("\nL level  T tone  N noise at rest  D distortion  S sustain  R clear repeats; the clearest first\n")
	} else {
		s.printf("%d blocks are too many for the map.\n", len(names))
	}
	s.printf("\n")
	if all {
		list := measures.Printed(measures.Changes(), nil)
		t := table{header: append([]string{" #", "swapped", "heard"}, headings(list)...)}
		for k, w := range m.Swaps {
			heard := w.Heard
			if heard == experiment.HeardUnknown {
				heard = "?"
			}
			t.row(append([]string{fmt.Sprint(k + 1), clip(w.First, 11) + " / " + clip(w.Second, 16), heard}, texts(list, w.Values)...)...)
		}
		t.within(s.out, width)
		s.printf("\n")
	}
	quiet, more := 0, 0
	for k, w := range m.Swaps {
		switch heard := w.Heard == experiment.HeardMostly || w.Heard == experiment.HeardInParts || w.Heard == experiment.HeardUnknown || len(w.Respects) > 0; {
		case !heard:
			quiet++
		case k < mostSwaps || all:
			paragraph(s.out, fmt.Sprintf("%2d  ", k+1), w.Sentence, 98)
		default:
			more++
		}
	}
	if more > 0 {
		s.printf("%s more that are heard; --all has them, with their numbers.\n", plural(more, "swap", "swaps"))
	}
	if quiet > 0 {
		s.printf("%s nobody is likely to hear.\n", plural(quiet, "swap", "swaps"))
	}
	for _, text := range m.Omitted() {
		paragraph(s.out, "", text, 98)
	}
}
