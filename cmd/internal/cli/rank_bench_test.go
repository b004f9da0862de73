//go:build unix

package cli

import (
	"context"
	"runtime"
	"syscall"
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

// BenchmarkRank ranks all 720 orders of six blocks, with 5 s of a shipped recording, at draft quality on one core, and holds the processor's time for an order against that of a
// full render of the same 5 s (the mean over every 90th order, on one core): at the same quality to the end of the tail, as the commands render it; at
// normal quality, likewise; and cut off at the end of the recording. Blocks before a place are shared, but no more: of 6·720 blocks, 1956 are
// rendered, so 0.45 of a render that is cut off is what sharing alone can come to.
//
// Measured on a busy machine: 290 ms for an order; 0.29 of a full render at draft, 0.20 at normal, 0.53 of one that is cut off, with all that is measured.
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
		begun := worked(b)
		var some []*chains.Chain
		n := 0
		if err := rank.Run(ctx, func(names []string, _ []experiment.Figure) error {
			if n%90 == 0 {
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
				w := c.Wire(r.rate, q)
				render, err := w.Renderer("out")
				if err != nil {
					b.Fatal(err)
				}
				after := w.Tail()
				if !tail {
					after = 0
				}
				if err := render.Run(ctx, chains.Volts(x), after, func([][]float64) error { return nil }); err != nil {
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
			{"draft-renders/order", full(section.Draft, true)},
			{"normal-renders/order", full(section.Normal, true)},
			{"draft-renders-without-tail/order", full(section.Draft, false)},
		} {
			b.ReportMetric(each.Seconds()/c.time.Seconds(), c.unit)
		}
	}
}

// inOrder is a chain with its blocks in another order.
func inOrder(c *chains.Chain, names []string) *chains.Chain {
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

// worked is the processor's time that the process has had, so that whatever else runs on the machine does not count.
func worked(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
