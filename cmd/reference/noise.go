package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"drywire/chains/file"
	"drywire/chains/noise/noisetest"
	"drywire/dsp"
)

// checkNoise holds ledgers of random chains against noise that is played through their circuits,
// and reports whether all are right.
func checkNoise(ctx context.Context, seed uint64, count int, rate float64, out io.Writer) (bool, error) {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "chain\tledger\tinjected\toff\tat a threshold\tfirst causes\t")
	ok, worst, rendered := true, 0.0, 0
	for k, text := range noisetest.Chains(seed, count) {
		f, err := file.Parse("noise", []byte(text))
		if err != nil {
			return false, err
		}
		c := f.Chains()[0]
		r, err := noisetest.Compare(ctx, c, dsp.Hertz(rate), seed)
		if err != nil {
			return false, fmt.Errorf("%s: %w", text, err)
		}
		name := c.Guitar.Pickup.Name
		for _, b := range c.Blocks {
			name += " " + b.Kind.Name
		}
		if len(r.Ledger.Near) > 0 {
			rendered++
		}
		mark := ""
		if !(math.Abs(r.Off) <= noisetest.Total) || r.Wrong != "" {
			ok, mark = false, " !"
		}
		worst = max(worst, math.Abs(r.Off))
		fmt.Fprintf(t, "%d: %s\t%.2f dBV(A)\t%.2f\t%+.2f dB%s\t%v\t%s\t\n", k, name, dsp.ToDB(r.Injected)+r.Off, dsp.ToDB(r.Injected), r.Off, mark, r.Ledger.Near, r.Wrong)
		t.Flush()
	}
	fmt.Fprintf(out, "\n%d chains, %d of them rendered: worst %.2f dB, wanted %.0f dB\n", count, rendered, worst, noisetest.Total)
	return ok, nil
}
