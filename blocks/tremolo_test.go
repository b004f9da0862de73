package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// tone is n samples of a sine.
func tone(n int, amplitude, frequency, rate float64) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = amplitude * math.Sin(2*math.Pi*frequency*float64(k)/rate)
	}
	return x
}

// partial is the peak value of the sine of that frequency in x; x must hold whole periods of it and
// of all the others.
func partial(x []float64, frequency, rate float64) float64 {
	var sum complex128
	for k, v := range x {
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*frequency*float64(k)/rate))
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// A sine of 1 - d/2 + d/2·sin makes of a tone a carrier of 1 - d/2 and two sidebands of d/4: closed
// form. A triangle's Fourier series gives the sidebands at odd n times the rate d/4·8/(π·n)².
func TestTremoloSidebands(t *testing.T) {
	const rate, f, lfo, amplitude = 48000, 1000, 5, 0.5
	k := blocks.Find("tremolo")
	for _, c := range []struct {
		wave  string
		depth float64
		order float64
		want  float64 // of the amplitude
	}{
		{"sine", 0.6, 0, 0.7}, {"sine", 0.6, 1, 0.15}, {"sine", 0.6, 2, 0}, {"sine", 0.6, 3, 0},
		{"sine", 1, 0, 0.5}, {"sine", 1, 1, 0.25}, {"sine", 0, 0, 1}, {"sine", 0, 1, 0},
		{"triangle", 0.8, 0, 0.6}, {"triangle", 0.8, 1, 0.2 * 8 / math.Pi / math.Pi}, {"triangle", 0.8, 2, 0}, {"triangle", 0.8, 3, 0.2 * 8 / math.Pi / math.Pi / 9},
	} {
		y := run(stageOf(t, k, k.Defaults().With("rate", lfo).With("depth", c.depth).WithWord("wave", c.wave), rate), tone(rate, amplitude, f, rate))
		for _, side := range []float64{-1, 1} {
			// -110 dB: the straight lines of the oscillator's table.
			if got := partial(y, f+side*c.order*lfo, rate) / amplitude; math.Abs(got-c.want) > 3e-6 {
				t.Errorf("%s, depth %v: sideband %v is %.7f, want %.7f", c.wave, c.depth, side*c.order, got, c.want)
			}
		}
	}
}

// At full depth a square is silent for a while, and no sample jumps: on a steady volt the gain
// moves by no more than the steepest edge, 6·π·rate/48000 in a sample.
func TestTremoloSquare(t *testing.T) {
	const rate, lfo = 48000, 8
	k := blocks.Find("tremolo")
	y := run(stageOf(t, k, k.Defaults().With("rate", lfo).With("depth", 1).WithWord("wave", "square"), rate), steady(rate, 1))
	var low, high int
	for n, v := range y {
		if v < 0.01 {
			low++
		}
		if v > 0.99 {
			high++
		}
		if n > 0 && math.Abs(v-y[n-1]) > 1.001*6*math.Pi*lfo/rate {
			t.Fatalf("the gain jumps by %v at sample %d", v-y[n-1], n)
		}
	}
	if share := float64(low) / rate; share < 0.35 || math.Abs(float64(low-high)) > 0.002*rate {
		t.Errorf("%v of the time silent, %v at full level; want 0.35 or more, and both alike", share, float64(high)/rate)
	}
}

// Noise through a gain that moves: its mean square over a cycle, (1 - d/2)² + d²/8 for a sine, on a
// cell of 120 nV/√Hz.
func TestTremoloNoise(t *testing.T) {
	k := blocks.Find("tremolo")
	got := stageOf(t, k, k.Defaults().With("depth", 1), dsp.Hertz(48000)).Noise
	want := math.Sqrt((0.25+0.125)*(120e-9*120e-9+8e-9*8e-9) + 8e-9*8e-9)
	if math.Abs(got/want-1) > 1e-9 {
		t.Errorf("noise %v V/√Hz, want %v", got, want)
	}
}
