package chains_test

import (
	"testing"

	"drywire/chains/render/rendertest"
	"drywire/dsp/section"
)

// The whole render against a converged run of the same circuit.
func TestAgainstCircuitSimulator(t *testing.T) {
	for _, r := range rendertest.References(t, "testdata/reference", 8) {
		if cards := r.Lacks(); cards != nil {
			t.Fatalf("%s: the reference was run without %q; run it again", r.Name, cards)
		}
		for _, quality := range []struct {
			section.Quality
			most float64 // dB
		}{{section.Normal, -60}, {section.Fine, -80}} {
			level := r.Off(t, quality.Quality)
			t.Logf("%-70s %-6s %6.1f dB", r.Name, quality.Name, level)
			if !(level <= quality.most) {
				t.Errorf("%s, %s: error of %.1f dB, want %.0f", r.Name, quality.Name, level, quality.most)
			}
		}
	}
}
