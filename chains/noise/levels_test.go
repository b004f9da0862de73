package noise

import (
	"fmt"
	"math"
	"testing"

	"drywire/chains/internal/chaintest"
)

// What is rendered briefly differs from one chain to the next by as much as what is rendered at
// length, within half a decibel: by so much are changes compared that are tried. Noise meets a
// threshold in each of these; two have an echo, which takes seconds to fill.
func TestBriefParts(t *testing.T) {
	levels := NewNoiseLevels(48000)
	part := func(text, order string, tones, brief bool) float64 {
		t.Helper()
		c := chaintest.Chain(t, text, order, "guitar.pickup: single-coil")
		_, _, near, err := levels.small(c, "out")
		if err != nil {
			t.Fatal(err)
		}
		if len(near) == 0 {
			t.Fatalf("%s: nothing has to be rendered", order)
		}
		hiss, hum, err := levels.Parts(c, tones, brief)
		if err != nil {
			t.Fatal(err)
		}
		if tones {
			return 20 * math.Log10(hum)
		}
		return 20 * math.Log10(hiss)
	}
	const text = "fuzz: {kind: op-amp-fuzz, sustain: %d}; dist: {kind: distortion, distortion: 8}; gate: {kind: gate}; echo: {kind: delay}"
	for _, tones := range []bool{false, true} {
		var shift float64
		for k, c := range []struct {
			sustain int
			order   string
		}{{9, "fuzz, dist, gate"}, {4, "fuzz, dist, gate"}, {9, "dist, gate"}, {9, "fuzz, dist, gate, echo"}, {4, "fuzz, dist, echo"}} {
			blocks := fmt.Sprintf(text, c.sustain)
			long, brief := part(blocks, c.order, tones, false), part(blocks, c.order, tones, true)
			if k == 0 {
				shift = long - brief
			}
			t.Logf("%s, tones %v: %.2f and %.2f dBV", c.order, tones, long, brief)
			if d := long - brief - shift; math.Abs(d) > 0.5 {
				t.Errorf("%s, tones %v: %.2f dB, and briefly %.2f dB after calibration", c.order, tones, long, brief+shift)
			}
		}
	}
}
