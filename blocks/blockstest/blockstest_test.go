package blockstest

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp/section"
)

// Every kind of block keeps every promise.
func TestKinds(t *testing.T) {
	for _, f := range CheckList(blocks.Kinds()) {
		t.Error(f)
	}
	for _, k := range blocks.Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			for _, f := range Check(k) {
				t.Error(f)
			}
		})
	}
}

// How long a block takes on the rig at quality normal, per sample of the recording: a loud note of
// 110 Hz, a second of it per round.
func BenchmarkKinds(b *testing.B) {
	x := make([]float64, rate)
	for k := range x {
		at := float64(k) / rate
		x[k] = 0.3 * math.Exp(-2*at) * (math.Sin(2*math.Pi*110*at) + 0.5*math.Sin(2*math.Pi*330*at))
	}
	y := make([]float64, len(x))
	for _, k := range blocks.Kinds() {
		b.Run(k.Name, func(b *testing.B) {
			r, err := NewRig(k, k.Defaults(), false, rate, section.Normal)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				r.Process(y, x)
			}
			perSample := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(len(x))
			b.ReportMetric(perSample, "ns/sample")
			b.ReportMetric(1e9/rate/perSample, "x-real-time")
		})
	}
}
