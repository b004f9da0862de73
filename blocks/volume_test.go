package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// The pedal is a divider between 10 kΩ and 1 MΩ: with a share w of its track below the wiper (15 %
// in the middle of an audio taper: common practice, no source) the lower part has the load beside
// it.
func TestVolumeDivider(t *testing.T) {
	k := blocks.Find("volume")
	for dial, w := range map[float64]float64{5: 0.15, 10: 1} {
		const track = 250e3
		lower := track * w * 1e6 / (track*w + 1e6)
		want := lower / (lower + track*(1-w) + 10e3)
		got := rigGain(t, "volume", k.Defaults().With("volume", dial), 1000)
		if off := dsp.ToDB(got / want); math.Abs(off) > 0.001 { // an ohm is left at either end
			t.Errorf("volume %v: %.4f dB off the closed form", dial, off)
		}
	}
	if got := dsp.ToDB(rigGain(t, "volume", k.Defaults().With("volume", 0), 1000)); got > -80 {
		t.Errorf("shut, it still lets %.1f dB through", got)
	}
}
