package cli

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/chains/report"
	"drywire/dsp"
	"drywire/dsp/section"
)

type reportOptions struct {
	file, recording, quality, out string
	swaps                         bool
}

func reportCommand(s streams) *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report FILE -o OUT.html",
		Short: "Write one page that plays and shows what an order does",
		Long: fmt.Sprintf(`Report renders every take of a chain file and writes one HTML page: the takes with a player that
switches between them at the same musical instant, matched in loudness (or at their true levels),
tables, the level diagram, spectra and responses, the noise ledger, the chain file, and how it was
made. The page is one file that loads nothing from anywhere, so it can be sent and kept; any browser
opens it. It is the page that compare and demo write beside the takes.

The page stays under 25 MB: of long recordings it holds the beginning (two minutes and a half of
one take in mono at 48 kHz, half of that of two, …). Levels at the jacks are of the first %v.`, quantity(mostMeasured, dsp.Seconds)),
		Example: `  drywire report my-chain.yaml -o my-chain.html
  drywire report my-chain.yaml -o my-chain.html --recording arpeggio --swaps`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runReport(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the HTML `FILE` to write")
	cmd.Flags().BoolVar(&o.swaps, "swaps", false, "also swap every two blocks of the first take, as drywire swaps does, and show which is heard")
	recordingFlag(cmd, &o.recording)
	qualityFlag(cmd, &o.quality)
	return cmd
}

func runReport(ctx context.Context, s streams, o reportOptions) error {
	if o.out == "" {
		return misusef("report needs a file to write: -o OUT.html")
	}
	if ext := strings.ToLower(filepath.Ext(o.out)); ext != ".html" && ext != ".htm" {
		return misusef("report writes a page, whose name ends in .html, not %q", o.out)
	}
	f, r, q, err := material(ctx, s, o.file, o.recording, o.quality)
	if err != nil {
		return err
	}
	if o.swaps {
		if err := experiment.Swappable(f.Chains()[0]); err != nil { // before all takes are rendered
			return misusef("--swaps: %w", err)
		}
	}
	out, name, err := openFor(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	found := &findings{}
	e, warnings, err := compareTakes(ctx, s, f, r, q, out, found, false)
	if err != nil {
		return err
	}
	if o.swaps {
		if found.page.Swaps, err = swapMap(ctx, s, f, r, q); err != nil {
			return err
		}
	}
	if err := writeReport(out, name, f, r, e, found, nil); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	s.printf("Wrote %s: %s, %.1f MB. Open it in a browser.\n", o.out, plural(len(e.Takes), "take", "takes"), float64(found.bytes)/1e6)
	warnings()
	return nil
}

// swapMap is the map of the first take's swaps.
func swapMap(ctx context.Context, s streams, f *chainFile, r *recording, q section.Quality) (*experiment.SwapMap, error) {
	c := f.Chains()[0]
	x, err := r.voltages(ctx, swapSeconds)
	if err != nil {
		return nil, err
	}
	bar := newProgress(s.err, int64(1+experiment.SwapsOf(c)))
	defer bar.stop()
	return experiment.Swaps(ctx, c, x, r.rate, q, func() { bar.add(1) })
}

// reportName is the page that compare and demo write beside the takes.
const reportName = "report.html"

// findings is what the page shows beyond a comparison.
type findings struct {
	page  report.Page
	bytes int // of the page, once it is written
}

// begin makes room for so many takes.
func (f *findings) begin(n int) {
	f.page.Measures = make([]*experiment.Measures, n)
	f.page.Guitar = make([]*experiment.ResponseReport, n)
	f.page.Responses = make([]*experiment.ResponseReport, n)
	f.page.Noise = make([]*experiment.NoiseReport, n)
}

// jackKeeper keeps the beginning of what a render has at every jack.
type jackKeeper struct {
	jacks []string
	most  int
	kept  [][]float32
}

func newJackKeeper(c *chains.Chain, r *recording) *jackKeeper {
	k := &jackKeeper{jacks: c.Jacks(), most: int(min(float64(r.frames), math.Round(mostMeasured*float64(r.rate))))}
	k.kept = make([][]float32, len(k.jacks))
	return k
}

func (k *jackKeeper) push(taps [][]float64) {
	for n, x := range taps {
		for _, v := range x[:min(len(x), k.most-len(k.kept[n]))] {
			k.kept[n] = append(k.kept[n], float32(v))
		}
	}
}

// Signal is an experiment.Signals.
func (k *jackKeeper) signal(_ context.Context, w *chains.Wiring, jack string) ([]float64, error) {
	for n, j := range k.jacks {
		if j == jack {
			x := make([]float64, len(k.kept[n]))
			for i, v := range k.kept[n] {
				x[i] = float64(v)
			}
			return x, nil
		}
	}
	return nil, fmt.Errorf("take %q, jack %s: not rendered", w.Chain.Take, jack)
}

// measure takes all measures of one take. What cannot be measured is left out of the page, which says why.
func (f *findings) measure(ctx context.Context, n int, w *chains.Wiring, k *jackKeeper) (remarks []string, err error) {
	c := w.Chain
	note := func(what string, e error) {
		if e != nil && ctx.Err() == nil {
			remarks = append(remarks, fmt.Sprintf("Take %d, %s: not measurable: %v.", n+1, what, e))
		}
	}
	var e error
	f.page.Measures[n], e = experiment.Measure(ctx, w, k.signal, experiment.Tone{})
	note("levels at the jacks", e)
	f.page.Guitar[n], e = experiment.Response(c, w.Rate, "guitar")
	note("response at the guitar", e)
	f.page.Responses[n], e = experiment.Response(c, w.Rate, "out")
	note("response", e)
	f.page.Noise[n], e = experiment.Noise(c, w.Rate, "out")
	note("noise", e)
	return remarks, ctx.Err()
}

// listen reads the matched takes for the player, as much of them as the page can hold.
func (f *findings) listen(takes []*rendered) error {
	rate, frames := float64(takes[0].wiring.Rate), takes[0].frames
	if most := report.Longest(len(takes), takes[0].channels); frames > most {
		f.page.Part = fmt.Sprintf("The player holds the first %.0f of %.0f seconds.", float64(most)/rate, float64(frames)/rate)
		frames = most
	}
	for _, d := range takes {
		sound := report.Sound{Rate: int(rate), Channels: make([][]float32, d.channels)}
		shape := d.shape(d.settled.Gain)
		shape.Frames = frames
		room := d.blocks()
		for p := d.play(); int64(len(sound.Channels[0])) < frames; {
			x, err := p.nextOf(room, shape)
			if err != nil {
				return err
			}
			for c := range x {
				for _, v := range x[c][:min(int64(len(x[c])), frames-int64(len(sound.Channels[c])))] {
					sound.Channels[c] = append(sound.Channels[c], float32(v))
				}
			}
		}
		f.page.Sounds = append(f.page.Sounds, sound)
	}
	return nil
}

// writeReport puts the page among the outputs.
func writeReport(out *outputs, name string, f *chainFile, r *recording, e *experiment.Comparison, found *findings, listenFor []string) error {
	p := found.page
	p.Version, p.Comparison = Version, e
	p.Command = fmt.Sprintf("drywire compare %s -o takes", filepath.Base(f.name))
	p.ListenFor, p.Hearing = listenFor, hearing
	p.ChainName, p.ChainFile = filepath.Base(f.name), string(f.source)
	if r.seconds() > mostMeasured {
		p.Remarks = append(p.Remarks, fmt.Sprintf("Levels at the jacks and spectra are of the first %.0f of %.0f seconds.", mostMeasured, r.seconds()))
	}
	var page bytes.Buffer
	if err := report.Write(&page, p); err != nil {
		return err
	}
	found.bytes = page.Len()
	return out.text(name, page.Bytes(), f.inputs(r)...)
}
