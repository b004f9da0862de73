package blocks_test

import (
	"math"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// A tone comes out as the tone of the moment that the delay says, within -80 dB (the line's stated
// error is -85 dB), and its frequency deviates by 2π·rate·depth at most: closed forms. A sine and a
// cosine through the block give the phase at every sample.
func TestVibrato(t *testing.T) {
	k := blocks.Find("vibrato")
	for _, rate := range []float64{44100, 48000, 96000} {
		for _, c := range []struct{ f, lfo, depth float64 }{{440, 5, 0.3e-3}, {3000, 2, 1e-3}, {1000, 12, 3e-3}, {1000, 5, 0}} {
			s := k.Defaults().With("rate", c.lfo).With("depth", c.depth)
			n := int(rate)
			sine := tone(n, 0.5, c.f, rate)
			cosine := make([]float64, n)
			for k := range cosine {
				cosine[k] = 0.5 * math.Cos(2*math.Pi*c.f*float64(k)/rate)
			}
			y, z := run(stageOf(t, k, s, dsp.Hertz(rate)), sine), run(stageOf(t, k, s, dsp.Hertz(rate)), cosine)
			late := stageOf(t, k, s, dsp.Hertz(rate)).Shape().Latency() / 2 // the oscillator runs while the input amplifier's filter fills
			var highest, lowest float64
			for m := int(0.02 * rate); m < n; m++ {
				at := float64(m) / rate
				delay := 3.5e-3 + c.depth*math.Sin(2*math.Pi*c.lfo*(at+float64(late)/rate))
				if want := 0.5 * math.Sin(2*math.Pi*c.f*(at-delay)); math.Abs(y[m]-want) > 0.5e-4 {
					t.Fatalf("%v Hz: %+v: sample %d is %v, want %v", rate, c, m, y[m], want)
				}
				step := math.Atan2(y[m]*z[m-1]-z[m]*y[m-1], z[m]*z[m-1]+y[m]*y[m-1]) // radians per sample
				deviation := step*rate/(2*math.Pi*c.f) - 1
				highest, lowest = max(highest, deviation), min(lowest, deviation)
			}
			want := 2 * math.Pi * c.lfo * c.depth
			// 1 % or, where nothing moves, the line's error: 1e-4 in amplitude at 7 radians and
			// more per hundred samples.
			if math.Abs(highest-want) > 0.01*want+1e-4 || math.Abs(lowest+want) > 0.01*want+1e-4 {
				t.Errorf("%v Hz: %+v: the frequency deviates by %.5f and %.5f, want %.5f", rate, c, lowest, highest, want)
			}
		}
	}
}
