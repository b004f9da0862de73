package blocks_test

import (
	"math"
	"math/cmplx"
	"testing"

	"drywire/blocks"
	"drywire/dsp"
)

// Standing still: u·(1 + A)/2 with u = 1/(1 - feedback·A), A = ((1 - iz)/(1 + iz))^stages and z =
// tan(π·f/rate)/tan(π·corner/rate), the bilinear transform's frequency. Closed form, at 1 Hz from
// the notches that the rule corner·tan(π·(2k-1)/(2·stages)) gives after the same transform, and
// elsewhere.
func TestPhaserNotches(t *testing.T) {
	k := blocks.Find("phaser")
	for _, c := range []struct {
		rate, corner, feedback float64
		word                   string
		stages                 int
	}{
		{48000, 600, 0, "four", 4}, {48000, 600, 0.5, "four", 4}, {48000, 1000, -0.8, "six", 6}, {44100, 2000, 0.9, "six", 6},
	} {
		s := k.Defaults().With("depth", 0).With("frequency", c.corner).With("feedback", c.feedback).WithWord("stages", c.word)
		frequencies := []float64{50, 200, 600, 1234, 5000, 15000}
		edge := math.Tan(math.Pi * c.corner / c.rate)
		for n := 1; n <= c.stages/2; n++ {
			notch := c.corner * math.Tan(math.Pi*float64(2*n-1)/(2*float64(c.stages)))
			warped := c.rate / math.Pi * math.Atan(edge*notch/c.corner)
			if notch < 6000 && math.Abs(warped/notch-1) > 0.05 { // what the transform does to a guitar's range
				t.Errorf("%+v: the notch of %v Hz is at %v Hz", c, notch, warped)
			}
			frequencies = append(frequencies, math.Round(warped))
		}
		for n, f := range frequencies {
			z := complex(0, math.Tan(math.Pi*f/c.rate)/edge)
			A := cmplx.Pow((1-z)/(1+z), complex(float64(c.stages), 0))
			want := cmplx.Abs((1 + A) / 2 / (1 - complex(c.feedback, 0)*A))
			got := gainAt(t, k, s, c.rate, 0.05, f)
			if math.Abs(got-want) > 1e-6 {
				t.Errorf("%+v: gain at %v Hz is %.7f, want %.7f", c, f, got, want)
			}
			if n >= 6 && got > 0.02/(1+c.feedback) { // -34 dB without feedback, within 0.5 Hz of the notch
				t.Errorf("%+v: %.1f dB in the notch at %v Hz", c, dsp.ToDB(got), f)
			}
		}
	}
}

// The sweep goes two octaves to either side at full depth: at a quarter of its cycle the lower of
// four stages' notches is at 4·corner·tan(π/8), at three quarters at a quarter of corner·tan(π/8).
// Around these moments the sweep stands still, and a tone in the notch vanishes; half a cycle later
// it is back.
func TestPhaserSweep(t *testing.T) {
	const rate, cycle = 48000, 10.0 // s
	k := blocks.Find("phaser")
	s := k.Defaults().With("rate", 1/cycle).With("depth", 10).With("frequency", 800).With("feedback", 0)
	for _, c := range []struct{ at, octaves float64 }{{0.25, 2}, {0.75, -2}} {
		corner := 800 * math.Exp2(c.octaves)
		f := math.Round(rate / math.Pi * math.Atan(math.Tan(math.Pi*corner/rate)*math.Tan(math.Pi/8)))
		y := run(stageOf(t, k, s, rate), tone(int(cycle*rate), 1, f, rate))
		level := func(at float64) float64 {
			from := int(at*cycle*rate) - 2400
			var top float64
			for _, v := range y[from : from+4800] {
				top = max(top, math.Abs(v))
			}
			return top
		}
		if in, away := level(c.at), level(1-c.at); in > 0.02 || away < 0.3 {
			t.Errorf("%v Hz: %.4f in the notch at %v of the cycle, %.4f half a cycle away", f, in, c.at, away)
		}
	}
}
