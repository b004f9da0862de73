package why

import (
	"testing"

	"drywire/chains/experiment"
	"drywire/chains/internal/chaintest"
)

// A complaint about the demo chain, at draft quality and confirmed at normal. Processor time is
// what to look at: it is spread over all cores.
func BenchmarkComplaint(b *testing.B) {
	f := chaintest.ShippedFile(b, "fuzz-or-buffer-first")
	for _, word := range []string{"hiss", "no-clean-up"} {
		b.Run(word, func(b *testing.B) {
			for b.Loop() {
				if _, err := Ask(b.Context(), Question{File: f, Take: "buffered", Complaint: Find(word), Recording: experiment.Dry{Volts: chaintest.Played()}, Rate: rate, Fixes: UsualFixes}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
