package chains

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

	"drywire/dsp"
	"drywire/dsp/section"
)

// How fast every take of the reference board renders, on one core at quality normal.
func BenchmarkReferenceBoard(b *testing.B) {
	const rate = 48000
	x := chord(rate, rate)
	for _, c := range referenceBoard(b) {
		b.Run(c.Take, func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				r := rendererOf(b, c, rate)
				b.StartTimer()
				drain(b, r, x)
			}
			seconds := b.Elapsed().Seconds() / float64(b.N)
			b.ReportMetric(1e9*seconds/rate, "ns/sample")
			b.ReportMetric(1/seconds, "x-real-time")
		})
	}
}

// BenchmarkPresets renders the six presets of the reference board at a time, on as many cores as there are: seconds of sound, of all presets together, per second.
func BenchmarkPresets(b *testing.B) {
	const rate = 48000
	x := chord(rate, rate)
	takes := referenceBoard(b)[:6]
	for b.Loop() {
		b.StopTimer()
		var ready []*Renderer
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

func referenceBoard(b *testing.B) []*Chain {
	b.Helper()
	src, err := ReadShipped("reference-board")
	if err != nil {
		b.Fatal(err)
	}
	return mustParse(b, string(src)).Chains()
}

func rendererOf(b *testing.B, c *Chain, rate dsp.Hertz) *Renderer {
	b.Helper()
	r, err := c.Wire(rate, section.Normal).Renderer(c.Ends()...)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func drain(b *testing.B, r *Renderer, x []float64) {
	if err := r.Run(context.Background(), Volts(x), 0, func([][]float64) error { return nil }); err != nil {
		b.Error(err)
	}
}

// BenchmarkLinearBlocks renders sixty seconds through a chain of one linear block, guitar, cable and all, and has SoX put the same recording, as raw 64-bit samples, through an
// effect like it: own is elapsed time, on one core, that of SoX processor time, so that other work on the machine speaks against the former alone. Without SoX only its
// own.
func BenchmarkLinearBlocks(b *testing.B) {
	const rate, seconds = 48000, 60
	x := chord(seconds*rate, rate)
	raw := make([]byte, 8*len(x))
	for k, v := range x {
		binary.LittleEndian.PutUint64(raw[8*k:], math.Float64bits(v))
	}
	file := filepath.Join(b.TempDir(), "recording.f64")
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct{ block, effect string }{
		{"b: {kind: buffer}", "vol 0.9"},
		{"b: {kind: volume}", "vol 0.5"},
		{"b: {kind: eq, low: 3 dB, high: -3 dB}", "bass 3 treble -3 equalizer 400 1q 3 equalizer 1600 1q 3"},
		{"b: {kind: delay, time: 400 ms, repeats: 4}", "echos 0.8 0.9 400 0.4 800 0.2"},
		{"b: {kind: reverb}", "reverb"},
	} {
		b.Run(strings.FieldsFunc(c.block, func(r rune) bool { return strings.ContainsRune(" ,:{}", r) })[2], func(b *testing.B) {
			wired := mustParse(b, fmt.Sprintf("drywire: 1\nrecording: {sample: riff}\nguitar: {pickup: humbucker}\nblocks: {%s}\norder: [b]\ntakes: [{name: a}]\n", c.block)).Chains()[0]
			own, sox := 0.0, 0.0
			for b.Loop() {
				r := rendererOf(b, wired, rate)
				before := b.Elapsed().Seconds()
				drain(b, r, x)
				own += b.Elapsed().Seconds() - before
				if _, err := exec.LookPath("sox"); err != nil {
					continue
				}
				cmd := exec.Command("sox", append([]string{"-D", "-t", "f64", "-r", "48000", "-c", "1", file, "-t", "f64", "-"}, strings.Fields(c.effect)...)...)
				if text, err := cmd.Output(); err != nil || len(text) == 0 {
					b.Fatalf("sox: %d bytes, %v", len(text), err)
				}
				sox += (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
			}
			b.ReportMetric(own/float64(b.N), "s-own")
			if sox > 0 {
				b.ReportMetric(sox/float64(b.N), "s-sox")
			}
		})
	}
}

// BenchmarkForty loads a board of forty blocks, lays its circuit and works out every hand-over: what is done when it is drawn.
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
	var load, lay, hand float64
	for b.Loop() {
		at := b.Elapsed().Seconds()
		c := mustParse(b, text.String()).Chains()[0]
		now := b.Elapsed().Seconds()
		load, at = load+now-at, now
		c.Wire(48000, section.Normal)
		now = b.Elapsed().Seconds()
		lay, at = lay+now-at, now
		if _, err := c.Handovers(CeilingTone); err != nil {
			b.Fatal(err)
		}
		hand += b.Elapsed().Seconds() - at
	}
	n := float64(b.N)
	b.ReportMetric(1e3*load/n, "ms-load")
	b.ReportMetric(1e3*lay/n, "ms-wire")
	b.ReportMetric(1e3*hand/n, "ms-handovers")
}
