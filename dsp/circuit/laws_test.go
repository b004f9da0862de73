package circuit

import (
	"math"
	"testing"
)

func TestExponent(t *testing.T) {
	worst := 0.0
	for x := -3.0; x < 80; x += 0.000913 {
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
	// Below -3 it goes on as -(3/(e·x))³, the law of SPICE for a reverse-biased junction, without a
	// step.
	for _, x := range []float64{-3 - 1e-12, -10, -1e9} {
		want := -math.Pow(3/(math.E*x), 3)
		if e, de := exponent(x); math.Abs(e/want-1) > 1e-11 || math.Abs(de/(-3*want/x)-1) > 1e-11 {
			t.Errorf("at %g: %g with slope %g, want %g with slope %g", x, e, de, want, -3*want/x)
		}
	}
	if e, de := exponent(-3 - 1e-12); math.Abs(e-math.Exp(-3)) > 1e-12 || math.Abs(de-math.Exp(-3)) > 1e-12 {
		t.Errorf("below -3: %g with slope %g, want %g", e, de, math.Exp(-3))
	}
	if e, _ := exponent(math.NaN()); !math.IsNaN(e) {
		t.Errorf("exp(NaN) = %g, want NaN", e)
	}
}

// The table of a curve against the law itself, and its slope against a difference of the law.
func TestTriodeCurve(t *testing.T) {
	for _, k := range []curve{newCurve(2.242e-3, 3.40, 1.26), newCurve(6.177e-4, 9.901, 1.314)} {
		for u := -9.03; u < 9; u += 0.0137 {
			law := func(u float64) float64 { return k.a * math.Pow(math.Log(1+math.Exp(k.c*u))/k.c, k.e) }
			y, slope := k.at(u)
			if want := law(u); math.Abs(y-want) > 4e-8*k.a { // -148 dB of the current at a volt
				t.Errorf("at %v V: %v A, want %v A", u, y, want)
			}
			const h = 1e-4
			if want := (law(u+h) - law(u-h)) / (2 * h); math.Abs(slope-want) > 5e-6*k.a {
				t.Errorf("at %v V: slope %v, want %v", u, slope, want)
			}
		}
	}
}
