//go:build unix

package experiment

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"drywire/chains/board"
	"drywire/chains/file"
	"drywire/chains/internal/chaintest"
	"drywire/chains/noise"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp/section"
)

// growthSizes is how many blocks the boards have. A chain file may have 200; the longest is the
// chain of such a file with more of its blocks behind.
var growthSizes = []int{16, 32, 64, 128, 256}

// row is so many blocks of these kinds in turn, as a chain file and, from 200 on, as its chain.
func row(b *testing.B, count int, kinds []string) (text string, chain func() *board.Chain) {
	written := min(count, 200)
	var lines, order strings.Builder
	for k := range written {
		fmt.Fprintf(&lines, "  b%d: {kind: %s}\n", k, kinds[k%len(kinds)])
		fmt.Fprintf(&order, "b%d, ", k)
	}
	text = fmt.Sprintf("drywire: 1\nrecording: {sample: riff}\nguitar: {pickup: humbucker}\nblocks:\n%sorder: [%s]\n", lines.String(), strings.TrimSuffix(order.String(), ", "))
	return text, func() *board.Chain {
		c := chaintest.MustParse(b, text).Chains()[0]
		for k := written; k < count; k++ {
			more := c.Blocks[k%len(kinds)]
			more.Name = fmt.Sprintf("b%d", k)
			c.Blocks = append(c.Blocks, more)
		}
		return c
	}
}

// BenchmarkGrowth is how what the commands are made of grows with the number of blocks, by the
// processor's time: of a board of the usual kinds, between whose stages circuits stay small, and of
// one of volume pots, which are one circuit however many they are. growth is the exponent since the
// board of half as many: 2 where twice as many blocks take four times as long.
func BenchmarkGrowth(b *testing.B) {
	for _, part := range []struct {
		name string
		run  func(text string, c *board.Chain) error
	}{
		{"load", func(text string, _ *board.Chain) error { _, err := file.Parse("growth.yaml", []byte(text)); return err }},
		{"wire", func(_ string, c *board.Chain) error { render.PlanOf(c, 48000, section.Normal); return nil }},
		{"prepare", func(_ string, c *board.Chain) error {
			_, err := render.PlanOf(c, 48000, section.Normal).Renderer(c.Ends()...)
			return err
		}},
		{"handovers", func(_ string, c *board.Chain) error { _, err := wiring.Handovers(c, CeilingTone); return err }},
		{"noise", func(_ string, c *board.Chain) error { _, err := noise.At(c, 48000, "out"); return err }},
		{"ceilings", func(_ string, c *board.Chain) error { _, err := Ceilings(c, context.Background(), 48000); return err }},
	} {
		for name, kinds := range map[string][]string{
			"usual": {"overdrive", "eq", "buffer", "boost", "compressor", "delay", "distortion", "volume"},
			"quiet": {"eq", "buffer", "graphic-eq", "volume"},
			"pots":  {"volume"},
		} {
			former := 0.0
			for _, count := range growthSizes {
				b.Run(fmt.Sprintf("%s/%s/%d", part.name, name, count), func(b *testing.B) {
					text, chain := row(b, count, kinds)
					c := chain()
					before := chaintest.Worked(b)
					for b.Loop() {
						knownCeilings.Clear()
						if err := part.run(text, c); err != nil {
							b.Fatal(err)
						}
					}
					each := (chaintest.Worked(b) - before) / float64(b.N)
					b.ReportMetric(1e3*each, "ms-cpu")
					if former > 0 {
						b.ReportMetric(math.Log2(each/former), "growth")
					}
					former = each
				})
			}
		}
	}
}
