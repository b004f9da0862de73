package cli

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains/experiment"
	"drywire/cmd/internal/produce"
	"drywire/dsp"
	"drywire/dsp/section"
)

type reportOptions struct {
	noiseless                     bool
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
one take in mono at 48 kHz, half of that of two, …). Levels at the jacks are of the first %v.`, quantity(produce.MostMeasured, dsp.Seconds)),
		Example: `  drywire report my-chain.yaml -o my-chain.html
  drywire report my-chain.yaml -o my-chain.html --recording arpeggio --swaps`,
		Args: oneArgument("chain file"), ValidArgsFunction: completeChainFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runReport(cmd.Context(), s, o)
		},
	}
	cmd.Flags().StringVarP(&o.out, "output", "o", "", "the HTML `FILE` to write")
	noiselessFlag(cmd, &o.noiseless)
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
	f, q, err := material(ctx, s, o.file, o.recording, o.quality)
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
	c, err := compareTakes(ctx, s, f, q, out, false, o.noiseless)
	if err != nil {
		return err
	}
	var words produce.Words
	if o.swaps {
		if words.Swaps, err = swapMap(ctx, s, f, q); err != nil {
			return err
		}
	}
	bytes, err := writeReport(ctx, out, name, f, c, words)
	if err != nil {
		return err
	}
	if err := f.unchanged(); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	s.printf("Wrote %s: %s, %.1f MB. Open it in a browser.\n", o.out, plural(len(c.Takes), "take", "takes"), float64(bytes)/1e6)
	warnings(ctx, s, c)
	return nil
}

// swapMap is the map of the first take's swaps.
func swapMap(ctx context.Context, s streams, f *chainFile, q section.Quality) (*experiment.SwapMap, error) {
	c := f.Chains()[0]
	x, err := f.DryOf(c).Beginning(ctx, swapSeconds)
	if err != nil {
		return nil, err
	}
	bar := newProgress(s.err, int64(1+experiment.SwapsOf(c)))
	defer bar.stop()
	return experiment.Swaps(ctx, c, x, f.Dry.Rate, q, func() { bar.add(1) })
}

// reportName is the page that compare and demo write beside the takes.
const reportName = "report.html"

// writeReport puts the page among the outputs, and says how many bytes it has.
func writeReport(ctx context.Context, out *outputs, name string, f *chainFile, c *produce.Compared, words produce.Words) (int, error) {
	words.Version = Version
	var page bytes.Buffer
	if err := c.WriteReport(ctx, &page, f.Project, words); err != nil {
		return 0, err
	}
	return page.Len(), out.text(name, page.Bytes(), f.inputs()...)
}
