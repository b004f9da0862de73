package why

import (
	"testing"

	"drywire/chains/experiment"
)

// A complaint about the demo chain, at draft quality and confirmed at normal. Processor time is
// what to look at: it is spread over all cores.
func BenchmarkComplaint(b *testing.B) {
	f := shipped(b, "fuzz-or-buffer-first")
	for _, word := range []string{"hiss", "no-clean-up"} {
		b.Run(word, func(b *testing.B) {
			for b.Loop() {
				if _, err := Ask(b.Context(), Question{File: f, Take: "buffered", Complaint: Find(word), Recording: experiment.Dry{Volts: played()}, Rate: rate, Fixes: UsualFixes}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
