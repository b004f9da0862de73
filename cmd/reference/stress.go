package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"sync"
	"text/tabwriter"

	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/circuit/transient"
	"drywire/dsp/section"
)

// hostile is signals that a solver may meet at its worst, at the pickup, in volts: 0.5 V and 40 dB
// more.
var hostile = []struct {
	name string
	at   func(k int, r *rand.Rand) float64
}{
	{"noise", func(k int, r *rand.Rand) float64 { return loud * (2*r.Float64() - 1) }},
	{"bursts", func(k int, r *rand.Rand) float64 {
		if k/3000%2 == 1 {
			return 0
		}
		return loud * (2*r.Float64() - 1)
	}},
	{"steps", func(k int, r *rand.Rand) float64 { return loud * float64(k/97%5-2) / 2 }},
	{"DC", func(k int, r *rand.Rand) float64 { return 9 }},
	{"square", func(k int, r *rand.Rand) float64 { return loud * float64(1-2*(k/31%2)) }},
	{"silence", func(k int, r *rand.Rand) float64 { return 0 }},
}

const loud = 50.0 // V

// generated is a source of a given number of samples.
type generated struct {
	at    func(k int, r *rand.Rand) float64
	k, of int
	r     *rand.Rand
}

func (g *generated) Read(dst []float64) (int, error) {
	n := min(len(dst), g.of-g.k)
	for j := range n {
		dst[j] = g.at(g.k, g.r)
		g.k++
	}
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// stress renders so many samples of hostile signals, dealt out to fuzzes of both devices, direct
// and buffered, at normal quality, and says whether none failed to converge and all were finite.
func stress(ctx context.Context, samples int64, jobs int, out io.Writer) bool {
	type run struct {
		name   string
		text   string
		signal int
		rate   float64
		report transient.Report
		err    error
	}
	var runs []*run
	for _, device := range []string{"silicon", "germanium"} {
		for _, buffered := range []bool{false, true} {
			for k := range hostile {
				how := "direct"
				if buffered {
					how = "buffered"
				}
				runs = append(runs, &run{
					name: device + " " + how, text: chainText(device, 10, 10, buffered), signal: k, rate: []float64{44100, 48000}[k%2],
				})
			}
		}
	}
	each := int(samples/int64(len(runs))) + 1
	slots := make(chan struct{}, max(1, jobs))
	var wait sync.WaitGroup
	for k, r := range runs {
		wait.Add(1)
		slots <- struct{}{}
		go func() {
			defer wait.Done()
			defer func() { <-slots }()
			c := Case{Name: r.name, Text: r.text, Jack: "out", Rate: r.rate}
			w, err := c.Wire(section.Normal)
			if err != nil {
				r.err = err
				return
			}
			renderer, err := w.Renderer("out")
			if err != nil {
				r.err = err
				return
			}
			src := &generated{at: hostile[r.signal].at, of: each, r: rand.New(rand.NewPCG(uint64(k), 1))}
			r.err = renderer.Run(ctx, render.Source(src), dsp.Second(0), func([][]float64) error { return nil })
			for _, s := range renderer.Reports() {
				r.report.Add(s.Report)
			}
		}()
	}
	wait.Wait()
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "circuit\tsignal\tsamples\tsteps\titerations a step\tat most\tby continuation\tdivided\tunconverged\t")
	var failures, steps int64
	ok := true
	for _, r := range runs {
		p := r.report
		failures, steps = failures+p.Failures, steps+p.Steps
		if r.err != nil {
			ok = false
			fmt.Fprintf(t, "%s\t%s\tFAILED: %v\n", r.name, hostile[r.signal].name, r.err)
			continue
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%.2f\t%d\t%d\t%d\t%d\t\n", r.name, hostile[r.signal].name, each, p.Steps,
			float64(p.Evaluations)/float64(max(1, p.Steps)), p.MaxIterations, p.Continued, p.Divided, p.Failures)
	}
	t.Flush()
	fmt.Fprintf(out, "\n%d samples, %d steps, %d unconverged\n", each*len(runs), steps, failures)
	return ok && failures == 0
}
