package chains_test

import (
	"strings"
	"testing"

	"drywire/blocks"
	"drywire/chains/render/rendertest"
	"drywire/dsp/section"
)

// A deck of one's own, rendered, against a converged run of the same file.
func TestDeckAgainstCircuitSimulator(t *testing.T) {
	for _, r := range rendertest.References(t, "testdata/decks", 3) {
		if !strings.Contains(r.Deck, blocks.SampleDeck("lopsided")) {
			t.Fatalf("%s: the reference was run with another deck; run it again", r.Name)
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
