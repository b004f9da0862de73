package circuit

import (
	"math"
	"testing"
)

func TestExponent(t *testing.T) {
	worst := 0.0
	for x := -690.0; x < 80; x += 0.000913 {
		e, _ := exponent(x)
		worst = math.Max(worst, math.Abs(e/math.Exp(x)-1))
	}
	if worst > 2e-15 { // |r|^5/120 with |r| ≤ ln2/256, and rounding
		t.Errorf("relative error %g, want at most 2e-15", worst)
	}
	// Beyond the top it goes on along its tangent, without a step.
	at, slope := exponent(expTop)
	if e, de := exponent(expTop + 1); math.Abs(e/(at+slope)-1) > 1e-12 || math.Abs(de/slope-1) > 1e-12 {
		t.Errorf("past the top: %g with slope %g, want %g with slope %g", e, de, at+slope, slope)
	}
	if e, _ := exponent(-1e9); e != 0 {
		t.Errorf("exp(-1e9) = %g, want 0", e)
	}
	if e, _ := exponent(math.NaN()); !math.IsNaN(e) {
		t.Errorf("exp(NaN) = %g, want NaN", e)
	}
}
