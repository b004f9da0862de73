//go:build unix

package experiment

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp/section"
)

// BenchmarkForty is what drawing and checking a board of forty blocks takes, by the processor's
// time: parsing it, laying its circuit, preparing every section to be rendered as the check does,
// the hand-overs, and the ceilings that the page asks for beside them. Of the eight kinds there are
// five of each, so most of what is remembered from one block to the next is found by the first.
func BenchmarkForty(b *testing.B) {
	kinds := []string{"overdrive", "eq", "buffer", "boost", "compressor", "delay", "distortion", "volume"}
	var text, order strings.Builder
	text.WriteString("drywire: 1\nrecording: {sample: riff}\nguitar: {pickup: humbucker}\nblocks:\n")
	for k := range 40 {
		fmt.Fprintf(&text, "  b%d: {kind: %s}\n", k, kinds[k%len(kinds)])
		if k > 0 {
			order.WriteString(", ")
		}
		fmt.Fprintf(&order, "b%d", k)
	}
	fmt.Fprintf(&text, "order: [%s]\ntakes: [{name: a}]\n", order.String())
	parts := []string{"load", "wire", "prepare", "handovers", "ceilings"}
	spent := make([]float64, len(parts))
	clock := make([]float64, len(parts))
	for b.Loop() {
		knownCeilings.Clear()
		var c *board.Chain
		var w *render.Plan
		for k, run := range []func() error{
			func() error { c = chaintest.MustParse(b, text.String()).Chains()[0]; return nil },
			func() error { w = render.PlanOf(c, 48000, section.Normal); return nil },
			func() error { _, err := w.Renderer(c.Ends()...); return err },
			func() error { _, err := wiring.Handovers(c, CeilingTone); return err },
			func() error { _, err := Ceilings(c, context.Background(), 48000); return err },
		} {
			before, at := chaintest.Worked(b), b.Elapsed().Seconds()
			if err := run(); err != nil {
				b.Fatal(err)
			}
			spent[k] += chaintest.Worked(b) - before
			clock[k] += b.Elapsed().Seconds() - at
		}
	}
	for k, name := range parts {
		b.ReportMetric(1e3*spent[k]/float64(b.N), "ms-cpu-"+name)
		b.ReportMetric(1e3*clock[k]/float64(b.N), "ms-"+name)
	}
}
