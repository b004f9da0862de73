//go:build unix

package chains_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"drywire/chains"
	"drywire/chains/board"
	"drywire/chains/internal/chaintest"
	"drywire/chains/render"
	"drywire/dsp"
	"drywire/dsp/section"
)

// How fast every take of the reference board renders at quality normal: by the processor's time, so
// that other work on the machine does not count, and by the clock.
func BenchmarkReferenceBoard(b *testing.B) {
	const rate = 48000
	x := chaintest.Chord(rate, rate)
	for _, c := range referenceBoard(b) {
		b.Run(c.Take, func(b *testing.B) {
			used := 0.0
			for b.Loop() {
				b.StopTimer()
				r := rendererOf(b, c, rate)
				b.StartTimer()
				before := chaintest.Worked(b)
				drain(b, r, x)
				used += chaintest.Worked(b) - before
			}
			used /= float64(b.N)
			b.ReportMetric(1e9*used/rate, "ns-cpu/sample")
			b.ReportMetric(1/used, "x-real-time-cpu")
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "x-real-time")
		})
	}
}

// BenchmarkPresets renders the six presets of the reference board at a time, on as many cores as
// there are: seconds of sound, of all presets together, per second.
func BenchmarkPresets(b *testing.B) {
	const rate = 48000
	x := chaintest.Chord(rate, rate)
	takes := referenceBoard(b)[:6]
	for b.Loop() {
		b.StopTimer()
		var ready []*render.Renderer
		for _, c := range takes {
			ready = append(ready, rendererOf(b, c, rate))
		}
		b.StartTimer()
		var all sync.WaitGroup
		for _, r := range ready {
			all.Go(func() { drain(b, r, x) })
		}
		all.Wait()
	}
	b.ReportMetric(float64(len(takes))*float64(b.N)/b.Elapsed().Seconds(), "x-real-time")
}

func referenceBoard(b *testing.B) []*board.Chain {
	b.Helper()
	src, err := chains.ReadShipped("reference-board")
	if err != nil {
		b.Fatal(err)
	}
	return chaintest.MustParse(b, string(src)).Chains()
}

func rendererOf(b *testing.B, c *board.Chain, rate dsp.Hertz) *render.Renderer {
	b.Helper()
	r, err := render.PlanOf(c, rate, section.Normal).Renderer(c.Ends()...)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func drain(b *testing.B, r *render.Renderer, x []float64) {
	if err := r.Run(context.Background(), render.Volts(x), 0, func([][]float64) error { return nil }); err != nil {
		b.Error(err)
	}
}

// BenchmarkLinearBlocks is what a linear block costs beside an effect of SoX like it, over sixty
// seconds of the same recording: the processor's time of a chain with the block less that of the
// chain without it, guitar, cable and load alone, and that of SoX with the effect less that of SoX
// copying raw 64-bit samples. Where that difference would be lost in what either takes at all, it
// is of eight in a row on both sides, divided by eight. Each is the least of all rounds, since
// other work on the machine only ever adds; own/sox is their ratio, and plain/copy that of what is
// taken off.
func BenchmarkLinearBlocks(b *testing.B) {
	if _, err := exec.LookPath("sox"); err != nil {
		b.Skip("no sox to compare with")
	}
	const rate, seconds = 48000, 60
	x := chaintest.Chord(seconds*rate, rate)
	raw := make([]byte, 8*len(x))
	for k, v := range x {
		binary.LittleEndian.PutUint64(raw[8*k:], math.Float64bits(v))
	}
	file := filepath.Join(b.TempDir(), "recording.f64")
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		b.Fatal(err)
	}
	own := func(block string, times int) float64 {
		var names, each []string
		for k := range times {
			names = append(names, fmt.Sprint("b", k))
			each = append(each, names[k]+": "+block)
		}
		blocks, order := strings.Join(each, ", "), strings.Join(names, ", ")
		c := chaintest.MustParse(b, fmt.Sprintf("drywire: 1\nrecording: {sample: riff}\nguitar: {pickup: humbucker}\nblocks: {%s}\norder: [%s]\ntakes: [{name: a}]\n", blocks, order)).Chains()[0]
		r := rendererOf(b, c, rate)
		before := chaintest.Worked(b)
		drain(b, r, x)
		return chaintest.Worked(b) - before
	}
	sox := func(effect string, times int) float64 {
		cmd := exec.Command("sox", append([]string{"-D", "-t", "f64", "-r", "48000", "-c", "1", file, "-t", "f64", "-"}, strings.Fields(strings.Repeat(effect+" ", times))...)...)
		if text, err := cmd.Output(); err != nil || len(text) < len(raw) {
			b.Fatalf("sox: %d bytes, %v", len(text), err)
		}
		return (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	}
	for _, c := range []struct {
		block, effect string
		times         int
	}{
		{"{kind: buffer}", "vol 0.9 lowpass -1 20000", 8}, // 100 Ω into the next cable is a pole; where it lies has no influence on what it costs
		{"{kind: buffer}", "vol 0.9", 8},                  // the gain alone
		{"{kind: volume}", "vol 0.5", 8},
		{"{kind: eq, low: 3 dB, high: -3 dB}", "bass 3 treble -3 equalizer 400 1q 3 equalizer 1600 1q 3", 1},
		{"{kind: delay, time: 400 ms, repeats: 4}", "echos 0.8 0.9 400 0.4 800 0.2", 8},
		{"{kind: reverb}", "reverb", 1},
	} {
		block := strings.FieldsFunc(c.block, func(r rune) bool { return strings.ContainsRune(" ,:{}", r) })[1]
		b.Run(block+" as "+c.effect, func(b *testing.B) {
			with, without, effect, copying := math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)
			for b.Loop() {
				with, without = min(with, own(c.block, c.times)), min(without, own("", 0))
				effect, copying = min(effect, sox(c.effect, c.times)), min(copying, sox("", 0))
			}
			with, effect = (with-without)/float64(c.times), (effect-copying)/float64(c.times)
			b.ReportMetric(1e3*with, "ms-own")
			b.ReportMetric(1e3*effect, "ms-sox")
			b.ReportMetric(with/effect, "own/sox")
			b.ReportMetric(1e3*without, "ms-own-plain")
			b.ReportMetric(1e3*copying, "ms-sox-copy")
			b.ReportMetric(without/copying, "plain/copy")
		})
	}
}
