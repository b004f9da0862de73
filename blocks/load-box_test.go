package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// Behind 10 kΩ the load of 8 Ω is a divider, and the line output is that many dB under the
// terminals.
func TestLoadBoxDivider(t *testing.T) {
	k := blocks.Find("load-box")
	for _, line := range []float64{-60, -30, -10} {
		for _, z := range []float64{4, 8, 16} {
			share := math.Pow(10, line/20)
			bottom := 600 * 1e6 / (600 + 1e6)
			top := 600 * (1/share - 1)
			terminals := z * (top + bottom) / (z + top + bottom)
			want := terminals / (terminals + 10e3) * bottom / (top + bottom)
			if off := dsp.ToDB(rigGain(t, "load-box", k.Defaults().With("impedance", z).With("line", line), 1000) / want); math.Abs(off) > 1e-4 {
				t.Errorf("%v Ω, %v dB: %.5f dB off the closed form", z, line, off)
			}
		}
	}
}
