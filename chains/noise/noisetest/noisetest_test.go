package noisetest_test

import (
	"math"
	"testing"

	"drywire/chains/internal/chaintest"
	"drywire/chains/noise/noisetest"
)

// Ledgers of random chains say what is heard where every source is played through its circuit;
// cmd/reference -noise does the same to any number of them.
func TestLedgersAgainstInjectedNoise(t *testing.T) {
	for k, text := range noisetest.Chains(1, 3)[1:] {
		r, err := noisetest.Compare(t.Context(), chaintest.MustParse(t, text).Chains()[0], 48000, 1)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%d: %+.3f dB, near %v", k, r.Off, r.Ledger.Near)
		if !(math.Abs(r.Off) <= noisetest.Total) || r.Wrong != "" {
			t.Errorf("%s: %+.2f dB off, want %v dB; %s", text, r.Off, noisetest.Total, r.Wrong)
		}
	}
}
