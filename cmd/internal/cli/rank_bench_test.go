package cli

import (
	"context"
	"io"
	"runtime"
	"testing"
	"time"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/dsp/section"
)

// rankSix is six blocks that may stand in any order: 720 orders.
const rankSix = `drywire: 1
title: six
recording: {sample: riff}
blocks:
  fuzz:   {kind: fuzz, device: silicon, fuzz: 9, level: 6}
  comp:   {kind: compressor}
  eq:     {kind: eq, high: 3 dB}
  buffer: {kind: buffer}
  echo:   {kind: delay, time: 380 ms}
  plate:  {kind: reverb}
order: [fuzz, comp, eq, buffer, echo, plate]
`

// BenchmarkRank ranks all 720 orders of six blocks, with 5 s of a shipped recording, on one core, and holds the time for an order against that of a plain render of
// the same stretch through the same orders (the mean of every 37th), at the same quality. The promise is 0.3.
func BenchmarkRank(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	f, err := parseChainFile("six.yaml", []byte(rankSix), ".")
	if err != nil {
		b.Fatal(err)
	}
	ctx := context.Background()
	r, err := findRecording(ctx, f, "")
	if err != nil {
		b.Fatal(err)
	}
	x, err := r.voltages(ctx, 5)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		rank, err := experiment.NewRank(f.Chains()[0], f.Keep, nil, x, r.rate, section.Draft, 720, 1, 1)
		if err != nil {
			b.Fatal(err)
		}
		begun := time.Now()
		var some [][]string
		n := 0
		if err := rank.Run(ctx, func(names []string, _ []experiment.Figure) error {
			if n%37 == 0 {
				some = append(some, names)
			}
			n++
			return nil
		}); err != nil {
			b.Fatal(err)
		}
		each := time.Since(begun) / time.Duration(n)
		begun = time.Now()
		for _, names := range some {
			c := *f.Chains()[0]
			var placed []chains.Placed
			for _, name := range names {
				for _, p := range c.Blocks {
					if p.Name == name {
						placed = append(placed, p)
					}
				}
			}
			c.Blocks = placed
			render, err := c.Wire(r.rate, section.Draft).Renderer("out")
			if err != nil {
				b.Fatal(err)
			}
			if err := render.Run(ctx, chains.Volts(x), 0, func([][]float64) error { return nil }); err != nil && err != io.EOF {
				b.Fatal(err)
			}
		}
		full := time.Since(begun) / time.Duration(len(some))
		b.ReportMetric(float64(n), "orders")
		b.ReportMetric(each.Seconds()*1e3, "ms/order")
		b.ReportMetric(full.Seconds()*1e3, "ms/render")
		b.ReportMetric(each.Seconds()/full.Seconds(), "renders/order")
	}
}
