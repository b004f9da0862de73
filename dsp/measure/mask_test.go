package measure

import (
	"math"
	"testing"
)

// What is added to a tone: twice the amplitude is 6.02 dB more over the same mask; the second
// harmonic is hidden better than the tenth at the same level, since masking reaches upwards; and
// -90 dB of it is hidden.
func TestNoiseToMask(t *testing.T) {
	const rate = 48000
	tone := func(n, amplitude float64) float64 {
		reference, other := make([]float64, rate/5), make([]float64, rate/5)
		for k := range reference {
			reference[k] = 0.1 * math.Sqrt2 * math.Sin(2*math.Pi*1000/rate*float64(k))
			other[k] = reference[k] + 0.1*math.Sqrt2*amplitude*math.Sin(2*math.Pi*1000*n/rate*float64(k))
		}
		db, err := NoiseToMask(reference, other, rate, 92)
		if err != nil {
			t.Fatal(err)
		}
		return db
	}
	low, high := tone(2, 0.01), tone(2, 0.02)
	if d := high - low - 20*math.Log10(2); math.Abs(d) > 0.1 {
		t.Errorf("twice as much is %.2f dB more", high-low)
	}
	if second, tenth := tone(2, 0.01), tone(10, 0.01); tenth < second+10 {
		t.Errorf("1 %% of the second harmonic is %.1f dB over its mask, of the tenth %.1f dB", second, tenth)
	}
	if v := tone(2, math.Pow(10, -90./20)); v > 0 {
		t.Errorf("-90 dB of the second harmonic is %.1f dB over its mask", v)
	}
	if v := tone(10, 0.1); v < 0 {
		t.Errorf("10 %% of the tenth harmonic is hidden, by %.1f dB", -v)
	}
	if _, err := NoiseToMask(make([]float64, 100), make([]float64, 100), rate, 92); err == nil {
		t.Error("100 samples are enough")
	}
}
