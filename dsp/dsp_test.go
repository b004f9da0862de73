package dsp

import (
	"math"
	"testing"
)

func TestLevels(t *testing.T) {
	for _, c := range []struct{ got, want float64 }{
		{VoltsToDBu(1), 2.218487496163564},  // 20·log10(1/sqrt(0.6)), closed form
		{VoltsToDBu(0.7745966692414834), 0}, // the definition of 0 dBu
		{VoltsToDBV(0.1), -20},              // closed form
		{FromDB(6.020599913279624), 2},      // 20·log10 2, closed form
		{ToDB(-10), 20},                     // sign does not count
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("got %v, want %v", c.got, c.want)
		}
	}
	if !math.IsInf(ToDB(0), -1) {
		t.Errorf("ToDB(0) = %v, want -Inf", ToDB(0))
	}
}
