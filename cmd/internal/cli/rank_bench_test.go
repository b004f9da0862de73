//go:build unix

package cli

import (
	"context"
	"runtime"
	"syscall"
	"testing"
	"time"

	"drywire/chains/board"
	"drywire/chains/experiment"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/cmd/internal/files"
	"drywire/cmd/internal/inputs"
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

// BenchmarkRank ranks all 720 orders of six blocks, with 5 s of a shipped recording, at draft
// quality on one core, and holds the processor's time for an order, with all that is measured of
// it, against that of a full render of the same 5 s, likewise on one core: the mean over every 30th
// order, each wired and rendered by itself. Three renders, one line each:
//
//   - cut: at the same quality, cut off at the end of the recording, as the ranking renders it;
//     nothing measured. The strict one.
//   - tail: at the same quality to the end of the tail, as the commands render it.
//   - normal: at normal quality to the end of the tail.
//
// What is shared: of 6·720 blocks, 1956 are different by what is before them; and a stage that is
// linear on the signal that it gets commutes, which leaves 233 of 720 runs of the fuzz. It alone is
// most of a render, so 0.32 of a render that is cut off is the least that sharing can come to with
// these six blocks.
//
// Measured on a busy machine: 138 ms for an order, of which some 110 ms are the fuzz and 20 ms
// measuring. A render takes 327 ms cut off, 585 ms with its tail, 968 ms at normal quality: 0.42,
// 0.24 and 0.14.
func BenchmarkRank(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	text, err := parseChainFile("six.yaml", []byte(rankSix), nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx := context.Background()
	f, err := projectOf(text, disk{".", inputs.New(ctx, files.Disk{})})
	if err != nil {
		b.Fatal(err)
	}
	f, err = f.withRecording(ctx, "")
	if err != nil {
		b.Fatal(err)
	}
	x, err := f.Dry.Beginning(ctx, 5)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		rank, err := experiment.NewRank(f.Chains()[0], f.Keep, nil, x, f.Dry.Rate, section.Draft, 720, 1, 1)
		if err != nil {
			b.Fatal(err)
		}
		begun := worked(b)
		var some []*board.Chain
		n := 0
		if err := rank.Run(ctx, func(names []string, _ []measures.Figure) error {
			if n%30 == 0 {
				some = append(some, inOrder(f.Chains()[0], names))
			}
			n++
			return nil
		}); err != nil {
			b.Fatal(err)
		}
		each := (worked(b) - begun) / time.Duration(n)
		full := func(q section.Quality, tail bool) time.Duration {
			begun := worked(b)
			for _, c := range some {
				w := render.PlanOf(c, f.Dry.Rate, q)
				renderer, err := w.Renderer("out")
				if err != nil {
					b.Fatal(err)
				}
				after := w.Tail()
				if !tail {
					after = 0
				}
				if err := renderer.Run(ctx, render.Volts(x), after, func([][]float64) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			return (worked(b) - begun) / time.Duration(len(some))
		}
		b.ReportMetric(each.Seconds()*1e3, "ms/order")
		for _, c := range []struct {
			unit string
			time time.Duration
		}{
			{"of-cut", full(section.Draft, false)},
			{"of-tail", full(section.Draft, true)},
			{"of-normal", full(section.Normal, true)},
		} {
			b.ReportMetric(each.Seconds()/c.time.Seconds(), c.unit)
			b.ReportMetric(c.time.Seconds()*1e3, "ms/"+c.unit[3:])
		}
	}
}

// inOrder is a chain with its blocks in another order.
func inOrder(c *board.Chain, names []string) *board.Chain {
	other := *c
	other.Blocks = nil
	for _, name := range names {
		for _, p := range c.Blocks {
			if p.Name == name {
				other.Blocks = append(other.Blocks, p)
			}
		}
	}
	return &other
}

// worked is the processor's time that the process has had, so that whatever else runs on the
// machine does not count.
func worked(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
