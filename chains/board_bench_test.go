package chains

import (
	"context"
	"testing"

	"drywire/dsp"
	"drywire/dsp/section"
)

// How fast every take of the reference board renders, on one core at quality normal.
func BenchmarkReferenceBoard(b *testing.B) {
	const rate = 48000
	src, err := ReadShipped("reference-board")
	if err != nil {
		b.Fatal(err)
	}
	x := chord(rate, rate)
	for _, c := range mustParse(b, string(src)).Chains() {
		b.Run(c.Take, func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				r, err := c.Wire(dsp.Hertz(rate), section.Normal).Renderer(c.Ends()...)
				if err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
				if err := r.Run(context.Background(), Volts(x), 0, func([][]float64) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
			seconds := b.Elapsed().Seconds() / float64(b.N)
			b.ReportMetric(1e9*seconds/rate, "ns/sample")
			b.ReportMetric(1/seconds, "x-real-time")
		})
	}
}
