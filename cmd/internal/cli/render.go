package cli

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/measure"
	"drywire/samples"
)

type renderOptions struct {
	file, take, recording, jack, quality, out string
	volts                                     bool
}

func renderCommand(s streams) *cobra.Command {
	var o renderOptions
	cmd := &cobra.Command{
		Use:   "render FILE -o OUT.wav",
		Short: "Render one take to a WAV file",
		Long: fmt.Sprintf(`Render plays the recording through one take of a chain file and writes what comes out of the last
jack, or of the one that --at names: guitar, BLOCK.in, BLOCK.out, out. A take that ends in two paths
is written in stereo, left and right, or one of them with --at out.left. The file is as long as the
recording and what sounds on after it, and is aligned to the recording, sample by sample.

For listening it is 24-bit at %.0f LUFS (ITU-R BS.1770), or lower where its true peak would pass
%.0f dBTP, with a fade of %v at either end; the gain that was applied is printed. With --volts it is
32-bit float in volts: no gain, no fade.

What does not fit into the 4 GiB of a WAV file is written as RF64; -o OUT.w64 and OUT.bw64 write
those kinds. -o - writes to standard output, for a pipe: a WAV file whose header states its true
length.`, experiment.Target, experiment.Ceiling, quantity(float64(produce.FadeTime), dsp.Seconds)),
		Example: `  drywire render my-chain.yaml --take buffered -o buffered.wav
  drywire render my-chain.yaml --at fuzz.in --volts --quality fine -o fuzz-in.wav
  drywire render my-chain.yaml -o - | flac - -o take.flac`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runRender(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the WAV `FILE` to write, or - for standard output")
	cmd.Flags().StringVar(&o.take, "take", "", "the `NAME` of a take; the first when there is none given")
	cmd.Flags().StringVar(&o.jack, "at", "out", "the `JACK` whose voltage is written")
	cmd.Flags().BoolVar(&o.volts, "volts", false, "write volts, as 32-bit floats, in place of a file for listening")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	complete(cmd, "take", completeTake)
	complete(cmd, "at", completeJack)
	complete(cmd, "output", completeWAV)
	return cmd
}

func runRender(ctx context.Context, s streams, o renderOptions) error {
	if o.out == "" {
		return misusef("render needs a file to write: -o OUT.wav")
	}
	piped := o.out == "-"
	if piped {
		if f, ok := raw(s.out).(*os.File); ok && term.IsTerminal(int(f.Fd())) {
			return misusef("-o -: standard output is a terminal, which plays nothing; pipe it into a program or a file")
		}
	} else if !slices.Contains(writtenNames, strings.ToLower(filepath.Ext(o.out))) {
		return misusef("-o %s: a WAV file is written; give a name that ends in .wav, or in .w64 or .bw64 for those", o.out)
	}
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	first, _, err := f.take(o.take) // before a long read of the recording
	if err == nil {
		err = s.afford(f, first)
	}
	if err != nil {
		return err
	}
	if f, err = f.withRecording(ctx, o.recording); err != nil {
		return err
	}
	c, assumed, err := f.take(o.take)
	if err != nil {
		return err
	}
	r := f.DryOf(c)
	jacks := []string{o.jack}
	if o.jack == "out" {
		jacks = c.Ends()
	}
	for _, j := range jacks {
		if err := c.Jack(j); err != nil {
			return misuse{err}
		}
	}
	renderer, err := render.PlanOf(c, r.Rate, q).Renderer(jacks...)
	if err != nil {
		return err
	}
	after := renderer.Tail()

	format := samples.Format{Rate: int(r.Rate), Channels: len(jacks), Bits: 24}
	if o.volts {
		format.Bits, format.Float = 32, true
	}
	// Into a pipe go the samples, so words go beside it; and its frames wait in the system's
	// folder.
	frames := r.FramesWith(after)
	var out *outputs
	var wav *samples.Writer
	if piped {
		if out, err = openFolder(s.disk, os.TempDir()); err != nil {
			return err
		}
		defer out.abort()
		if wav, err = samples.NewPipe(raw(s.out), "standard output", format, frames); err != nil {
			return err
		}
		s.out = s.err
	} else {
		var name string
		if out, name, err = openFor(s.disk, o.out); err != nil {
			return err
		}
		defer out.abort()
		if wav, err = out.wav(name, format, frames, f.inputs()...); err != nil {
			return err
		}
	}

	which := ""
	if assumed {
		which = fmt.Sprintf(" (the first of %d; --take chooses)", len(f.Takes))
	}
	s.printf("Take       %s%s\n", c.Take, which)
	paragraph(s.out, "           ", orderText(c), width)
	f.describe(s, c)

	bar := newProgress(s.err, r.Frames)
	defer bar.stop()
	var levels measure.Levels
	done := ""
	if o.volts {
		var m measure.LevelMeter
		if err := produce.Run(ctx, renderer, r, after, bar.add, func(taps [][]float64) error {
			for _, x := range taps {
				m.Push(x)
			}
			return wav.Write(taps...)
		}); err != nil {
			return err
		}
		if levels, err = m.Levels(); err != nil {
			return err
		}
		done = "32-bit float in volts, no gain, no fade"
	} else {
		d, err := produce.Keep(ctx, renderer, r, after, out.Outputs, bar.add, nil)
		if err != nil {
			return err
		}
		defer d.Close()
		if err := f.unchanged(); err != nil { // before any of it is in a pipe
			return err
		}
		if done, err = writeListening(ctx, d, wav); err != nil {
			return err
		}
		levels = d.Levels
	}
	bar.stop()
	if err := f.unchanged(); err != nil {
		return err
	}
	if piped {
		err = wav.Close()
	} else {
		err = out.publish()
	}
	if err != nil {
		return err
	}
	at := fmt.Sprintf("At %-8s ", strings.Join(jacks, ", "))
	if levels.Peak == 0 {
		s.printf("%snothing: every sample is 0 V\n", at)
	} else {
		s.printf("%speak %s, RMS %s (%s dBu)\n", at, volts(levels.Peak), volts(levels.RMS), decibels(dsp.VoltsToDBu(levels.RMS)))
	}
	s.printf("Solver     %s\n", solverText(renderer.Reports()))
	where := o.out
	if piped {
		where = "standard output"
	}
	s.printf("Wrote      %s\n           %.2f s, %s\n", where, float64(wav.Frames())/float64(r.Rate), done)
	warn(s, renderer.Plan, renderer.Reports())
	return nil
}

// writtenNames is how the names of files of sound end that are written.
var writtenNames = []string{".wav", ".w64", ".bw64"}

// writeListening brings a take to the usual loudness, writes it and says what was done.
func writeListening(ctx context.Context, d *produce.Rendered, wav *samples.Writer) (string, error) {
	limited, err := d.Write(ctx, wav)
	if err != nil {
		return "", err
	}
	if d.Peak < measures.Silence {
		return "24-bit, no gain: silent (under 1 µV)", nil
	}
	why := ""
	if limited {
		why = fmt.Sprintf(", held under %.0f by its true peak", experiment.Target)
	}
	if !d.Settled.Matched {
		return fmt.Sprintf("24-bit, gain %s dB, true peak %s dBTP (too little sound for a loudness)",
			decibels(dsp.ToDB(d.Settled.Gain)), decibels(dsp.ToDB(d.Settled.TruePeak))), nil
	}
	return fmt.Sprintf("24-bit, gain %s dB (1 V as full scale),\n           %s %s%s, true peak %s dBTP", decibels(dsp.ToDB(d.Settled.Gain)),
		decibels(d.Settled.Level), levelUnit(d.MatchedBy()), why, decibels(dsp.ToDB(d.Settled.TruePeak))), nil
}

func levelUnit(matchedBy string) string {
	if matchedBy == "rms" {
		return "dB RMS re full scale (too short for a loudness)"
	}
	return "LUFS"
}

// solverText sums up the solver's convergence.
func solverText(reports []render.SectionReport) string {
	if len(reports) == 0 {
		return "the circuit is linear: no iteration needed"
	}
	steps := int64(0)
	for _, r := range reports {
		steps += r.Steps
	}
	if bad := produce.Unconverged(reports); bad > 0 {
		return fmt.Sprintf("%s steps, %s of them UNCONVERGED", grouped(steps), grouped(bad))
	}
	return fmt.Sprintf("%s steps, all converged", grouped(steps))
}
