package measures

import (
	"math"
	"testing"
)

// A burst with an echo of half its amplitude after 200 ms has a quarter of its energy late: -6.02
// dB, closed form; what stands at the end as a voltage is no sound; without an echo there is nothing
// late.
func TestLateness(t *testing.T) {
	const rate = 48000.0
	dry := burst(rate, TestTone)
	x := make([]float64, len(dry))
	for k := range x {
		x[k] = dry[k] + 0.3
		if at := k - int(0.2*rate); at >= 0 {
			x[k] += 0.5 * dry[at]
		}
	}
	if f := lateness(x, rate); !f.OK() || math.Abs(f.Value+6.0206) > 1e-3 {
		t.Errorf("an echo of half the amplitude: %v", f)
	}
	if f := lateness(dry, rate); !f.OK() || f.Value != faintest {
		t.Errorf("no echo: %v", f)
	}
	if f := lateness(make([]float64, len(x)), rate); f.OK() {
		t.Errorf("silence: %v", f)
	}
}
