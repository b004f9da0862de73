package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"drywire/chains"
	"drywire/cmd/internal/produce"
	"drywire/dsp/section"
)

type demoOptions struct {
	noiseless bool
	out       string
	quality   string
}

// demoChain is the shipped chain file that the demonstration renders.
const demoChain = "fuzz-or-buffer-first"

func demoCommand(s streams) *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Hear a fuzz plugged into the guitar, and behind a buffer",
		Long: fmt.Sprintf(`Demo renders the shipped chain file %s with a shipped recording: one
riff, through a fuzz that the guitar is plugged into directly and through the same fuzz behind a
buffer, each with the guitar's volume full and rolled back. It writes the takes, matched in
loudness, with the chain file and a report into a folder, and says what to listen for.`, demoChain),
		Example: `  drywire demo
  drywire demo -o first`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return runDemo(cmd.Context(), s, o) },
	}
	noiselessFlag(cmd, &o.noiseless)
	cmd.Flags().StringVarP(&o.out, "output", "o", "drywire-demo", "the `DIR` to write into; made where there is none")
	qualityFlag(cmd, &o.quality)
	complete(cmd, "output", completeFolder)
	return cmd
}

// listenFor is what the takes of the demonstration let one hear. Each is held by a test of the
// whole chain or by the table beside it.
var listenFor = []string{
	"Takes 1 and 2, volume full: the same blocks, only the buffer has moved. Plugged straight into the fuzz, the guitar is a part of its circuit: " +
		"the fuzz loads the pickups, which takes treble. Behind the buffer it is brighter and harsher.",
	"Takes 1 and 3, fuzz first: rolling the guitar's volume back adds resistance in front of the fuzz and cleans the sound up.",
	"Takes 2 and 4, buffered: the same turn of the same knob does much less, for the buffer hides the knob from the fuzz.",
	"Takes 3 and 4: the answer to the question. Both have the guitar's volume at 3.",
}

const hearing = produce.Hearing

func runDemo(ctx context.Context, s streams, o demoOptions) error {
	q, err := quality(o.quality)
	if err != nil {
		return err
	}
	text, err := chains.ReadShipped(demoChain)
	if err != nil {
		return err
	}
	name := demoChain + ".yaml"
	parsed, err := parseChainFile(name, text, nil)
	if err != nil {
		return err
	}
	f, err := projectOf(parsed, disk{".", s.read})
	if err != nil {
		return err
	}
	f, err = f.withRecording(ctx, "")
	if err != nil {
		return err
	}
	out, err := openFolder(s.disk, o.out)
	if err != nil {
		return err
	}
	defer out.abort()
	c, err := compareTakes(ctx, s, f, q, out, true, o.noiseless)
	if err != nil {
		return err
	}
	e := c.Comparison

	var words strings.Builder
	said := streams{out: &words}
	said.printf("%s\n\n", f.Title)
	f.describe(said, f.Chains()...)
	said.printf("\n")
	printComparison(said, e, true, true)
	tables := words.String()

	words.Reset()
	said.printf("%s\n\n", f.Title)
	f.describe(said, f.Chains()...)
	said.printf("\n")
	printLevels(said, e)
	printSentences(said, e, true)
	short := words.String()

	words.Reset()
	paragraph(&words, "", "Listen for", width)
	for k, text := range listenFor {
		paragraph(&words, fmt.Sprintf("%d. ", k+1), text, width)
	}
	said.printf("\n")
	paragraph(&words, "Your ears: ", hearing, width)
	listen := words.String()

	if err := out.text(name, text); err != nil {
		return err
	}
	if _, err := writeReport(ctx, out, reportName, f, c, produce.Words{ListenFor: listenFor}); err != nil {
		return err
	}
	if err := out.text("report.md", []byte(demoReport(f, q, tables, listen))); err != nil {
		return err
	}
	if err := out.publish(); err != nil {
		return err
	}
	s.printf("%s\n%s\nWritten into %s:\n", short, listen, dirOf(o.out))
	for _, t := range e.Takes {
		s.printf("  %s\n", t.File)
	}
	s.printf("  report.html, to hear and see them side by side: open it in a browser\n  report.md, with all tables\n  %s, the chain file\n", name)
	s.printf("Next: change a copy of the chain file, then\n  drywire compare %s -o takes\n", filepath.Join(o.out, name))
	warnings(ctx, s, c)
	return nil
}

// demoReport is the report of the demonstration: plain text that reads well as it is and as
// Markdown.
func demoReport(f *chainFile, q section.Quality, tables, listen string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n\n", f.Title)
	paragraph(&b, "", "One dry recording, rendered through the takes of the chain file beside this page. Every take was computed in volts from the "+
		"guitar's pickup to the last jack, then brought to one loudness, so that you hear the sound and not the level.", width)
	fmt.Fprintf(&b, "\n## Takes\n\n")
	for k, c := range f.Chains() {
		fmt.Fprintf(&b, "%d. %s: %s\n", k+1, c.Take, orderText(c))
		for _, set := range f.Takes[k].Set {
			fmt.Fprintf(&b, "   with %s %s\n", set.Target, set.Text)
		}
	}
	fmt.Fprintf(&b, "\n## Before you listen\n\n")
	paragraph(&b, "", hearing, width)
	fmt.Fprintf(&b, "\n## What to listen for\n\n")
	for k, text := range listenFor {
		paragraph(&b, fmt.Sprintf("%d. ", k+1), text, width)
	}
	fmt.Fprintf(&b, "\n## What was measured\n\nQuality: %s.\n\n```\n%s```\n", q.Name, tables)
	fmt.Fprintf(&b, "\n## Make it again\n\n```\ndrywire compare %s.yaml -o takes\n```\n", demoChain)
	return b.String()
}
