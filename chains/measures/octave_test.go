package measures

import (
	"math"
	"testing"
)

// An octave that turns upside down at known moments is out of step around those, and nowhere else;
// closed form. Each jump is seen in one window or in two.
func TestOctaveInStep(t *testing.T) {
	octave := func(jumps ...float64) []float64 {
		x := make([]float64, int(lowETime*rate))
		hz := lowEHz * math.Sqrt(1+lowEB)
		for k := range x {
			s, sign := float64(k)/rate, 1.0
			for _, j := range jumps {
				if s > j {
					sign = -sign
				}
			}
			x[k] = 0.1*math.Sin(2*math.Pi*hz*s) + 0.1*sign*math.Sin(math.Pi*hz*s)
		}
		return x
	}
	near(t, "kept", inStep(octave(), rate), 100, 0, "%")
	cycle := 1 / lowEHz
	share := func(jumps float64) float64 { return 100 - 100*jumps*2*cycle/(lowETime-lowEFirst) }
	near(t, "one jump", inStep(octave(1.5), rate), share(1), 1.5, "%")
	near(t, "five jumps", inStep(octave(0.8, 1.1, 1.4, 1.7, 2.0), rate), share(5), 4, "%")
	many := []float64{}
	for s := 0.1; s < lowETime; s += 6 * cycle {
		many = append(many, s)
	}
	// in one window of six, or in two
	near(t, "a jump every six cycles", inStep(octave(many...), rate), 75, 100./12+1, "%")
	none := make([]float64, int(lowETime*rate))
	for k := range none {
		none[k] = 0.1 * math.Sin(2*math.Pi*lowEHz*float64(k)/rate)
	}
	if f := inStep(none, rate); f.OK() {
		t.Errorf("a note alone: %v", f)
	}
	if f := inStep(make([]float64, len(none)), rate); f.OK() {
		t.Errorf("silence: %v", f)
	}
}
