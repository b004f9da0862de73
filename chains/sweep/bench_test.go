package sweep

import (
	"testing"

	"drywire/chains"
	"drywire/chains/experiment"
	"drywire/chains/file"
	"drywire/dsp/section"
)

// A knob of the demo chain over its travel, in two takes. Processor time is what to look at: it is
// spread over all cores.
func BenchmarkSweep(b *testing.B) {
	src, err := chains.ReadShipped("fuzz-or-buffer-first")
	if err != nil {
		b.Fatal(err)
	}
	f, err := file.Parse("demo", src)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Ask(b.Context(), Question{File: f, Takes: []string{"fuzz first", "buffered"}, Block: "fuzz", Knob: "level", Recording: experiment.Dry{Volts: played()}, Rate: rate, Quality: section.Normal}); err != nil {
			b.Fatal(err)
		}
	}
}
