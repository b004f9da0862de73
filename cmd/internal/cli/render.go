package cli

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains"
	"drywire/chains/experiment"
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
32-bit float in volts: no gain, no fade.`, experiment.Target, experiment.Ceiling, quantity(float64(fadeTime), dsp.Seconds)),
		Example: `  drywire render my-chain.yaml --take buffered -o buffered.wav
  drywire render my-chain.yaml --at fuzz.in --volts --quality fine -o fuzz-in.wav`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runRender(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the WAV `FILE` to write")
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
	if ext := filepath.Ext(o.out); !strings.EqualFold(ext, ".wav") {
		return misusef("-o %s: a WAV file is written; give a name that ends in .wav", o.out)
	}
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	f, err := readChainFile(s, o.file)
	if err != nil {
		return err
	}
	if _, _, err := f.take(o.take); err != nil { // before a long read of the recording
		return err
	}
	r, err := findRecording(ctx, f, o.recording)
	if err != nil {
		return err
	}
	c, assumed, err := f.take(o.take)
	if err != nil {
		return err
	}
	jacks := []string{o.jack}
	if o.jack == "out" {
		jacks = c.Ends()
	}
	for _, j := range jacks {
		if err := c.Jack(j); err != nil {
			return misuse{err}
		}
	}
	render, err := renderer(c, r, q, jacks...)
	if err != nil {
		return err
	}
	after := render.Tail()

	out, name, err := openFor(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	format := samples.Format{Rate: int(r.rate), Channels: len(jacks), Bits: 24}
	if o.volts {
		format.Bits, format.Float = 32, true
	}
	wav, err := out.wav(name, format, takeFrames(r, after), f.inputs(r)...)
	if err != nil {
		return err
	}

	which := ""
	if assumed {
		which = fmt.Sprintf(" (the first of %d; --take chooses)", len(f.Takes))
	}
	s.printf("Take       %s%s\n", c.Take, which)
	paragraph(s.out, "           ", orderText(c), width)
	r.describe(s)

	bar := newProgress(s.err, r.frames)
	defer bar.stop()
	var levels measure.Levels
	done := ""
	if o.volts {
		var m measure.LevelMeter
		if err := runAll(ctx, render, r, after, bar, func(taps [][]float64) error {
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
		d, err := keep(ctx, render, r, after, out, bar, nil)
		if err != nil {
			return err
		}
		defer d.close()
		if done, err = writeListening(ctx, d, wav); err != nil {
			return err
		}
		levels = d.levels
	}
	bar.stop()
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	at := fmt.Sprintf("At %-8s ", strings.Join(jacks, ", "))
	if levels.Peak == 0 {
		s.printf("%snothing: every sample is 0 V\n", at)
	} else {
		s.printf("%speak %s, RMS %s (%s dBu)\n", at, volts(levels.Peak), volts(levels.RMS), decibels(dsp.VoltsToDBu(levels.RMS)))
	}
	s.printf("Solver     %s\n", solverText(render.Reports()))
	s.printf("Wrote      %s\n           %.2f s, %s\n", o.out, float64(wav.Frames())/float64(r.rate), done)
	warn(s, render.Wiring, render.Reports())
	return nil
}

// takeFrames is how many samples a take has: those of the recording and of what sounds on after it.
func takeFrames(r *recording, after dsp.Second) int64 {
	return r.frames + int64(math.Round(float64(after)*float64(r.rate)))
}

// writeListening brings a take to the usual loudness, writes it and says what was done.
func writeListening(ctx context.Context, d *rendered, wav *samples.Writer) (string, error) {
	if err := d.settle(ctx, experiment.Target); err != nil {
		return "", err
	}
	target, limited := experiment.Common([]experiment.Settled{d.settled})
	if limited >= 0 {
		if err := d.settle(ctx, target); err != nil {
			return "", err
		}
	}
	blocks := d.blocks()
	for p, shape := d.play(), d.shape(d.settled.Gain); ; {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		x, err := p.nextOf(blocks, shape)
		if err != nil {
			return "", err
		}
		if x == nil {
			break
		}
		if err := wav.Write(x...); err != nil {
			return "", err
		}
	}
	if d.peak < experiment.Silence {
		return "24-bit, no gain: silent (under 1 µV)", nil
	}
	why := ""
	if limited >= 0 {
		why = fmt.Sprintf(", held under %.0f by its true peak", experiment.Target)
	}
	if !d.settled.Matched {
		return fmt.Sprintf("24-bit, gain %s dB, true peak %s dBTP (too little sound for a loudness)",
			decibels(dsp.ToDB(d.settled.Gain)), decibels(dsp.ToDB(d.settled.TruePeak))), nil
	}
	return fmt.Sprintf("24-bit, gain %s dB (1 V as full scale),\n           %s %s%s, true peak %s dBTP", decibels(dsp.ToDB(d.settled.Gain)),
		decibels(d.settled.Level), levelUnit(d.matchedBy()), why, decibels(dsp.ToDB(d.settled.TruePeak))), nil
}

func levelUnit(matchedBy string) string {
	if matchedBy == "rms" {
		return "dB RMS re full scale (too short for a loudness)"
	}
	return "LUFS"
}

// solverText sums up how the solver fared.
func solverText(reports []chains.SectionReport) string {
	if len(reports) == 0 {
		return "nothing in this circuit bends: computed without one"
	}
	steps := int64(0)
	for _, r := range reports {
		steps += r.Steps
	}
	if bad := unconverged(reports); bad > 0 {
		return fmt.Sprintf("%s steps, %s of them UNCONVERGED", grouped(steps), grouped(bad))
	}
	return fmt.Sprintf("%s steps, all converged", grouped(steps))
}
