package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func TestABX(t *testing.T) {
	// Exact binomial sums: Σ C(n,i)/2^n, the numerators counted by hand or with SciPy 1.10.1
	// binom.sf(k-1, n, 0.5).
	for _, c := range []struct {
		correct, trials int
		p               float64
	}{
		{12, 16, 2517.0 / 65536},    // C(16,12)+…+C(16,16) = 1820+560+120+16+1; 0.0384
		{9, 10, 11.0 / 1024},        // 10 + 1; 0.0107
		{15, 20, 21700.0 / 1048576}, // 15504+4845+1140+190+20+1; 0.0207
		{0, 5, 1}, {5, 5, 1.0 / 32}, {1, 1, 0.5},
	} {
		near(t, fmt.Sprintf("p of %d/%d", c.correct, c.trials), ABX{c.correct, c.trials}.PValue(), c.p, 1e-12, "")
	}
	near(t, "p of 17/24", ABX{17, 24}.PValue(), 0.0320, 0.00005, "") // published to four digits

	for _, c := range []struct{ trials, five, one int }{ // least correct for p ≤ 0.05 and ≤ 0.01, published table (exact binomial)
		{8, 7, 8}, {10, 9, 10}, {12, 10, 11}, {16, 12, 14}, {20, 15, 16}, {24, 17, 19}, {25, 18, 19}, {30, 20, 22}, {40, 26, 28}, {50, 32, 34}, {100, 59, 63},
	} {
		five, err5 := LeastCorrect(c.trials, 0.05)
		one, err1 := LeastCorrect(c.trials, 0.01)
		if err5 != nil || err1 != nil || five != c.five || one != c.one {
			t.Errorf("%d trials: least correct %d / %d (%v, %v), want %d / %d", c.trials, five, one, err5, err1, c.five, c.one)
		}
	}
	_, err := LeastCorrect(4, 0.05) // 1/16 is more than 0.05
	wantReason(t, "four trials", err, TooShort)
}

func TestABXProportion(t *testing.T) {
	// SciPy 1.10.1: stats.binomtest(k, n).proportion_ci(0.95, 'exact').
	for _, c := range abxIntervals {
		i := ABX{c.correct, c.trials}.Proportion(0.95)
		near(t, fmt.Sprintf("lower end of %d/%d", c.correct, c.trials), i.Low, c.low, 1e-9, "")
		near(t, fmt.Sprintf("upper end of %d/%d", c.correct, c.trials), i.High, c.high, 1e-9, "")
	}
}

func TestDPrime(t *testing.T) {
	// The rule played out: A ~ N(0,1), B ~ N(d',1), X one of them; the listener names the nearer.
	// 4e5 trials: standard error 0.0008.
	r := rand.New(rand.NewPCG(1, 2))
	for _, d := range []float64{0.34, 1, 2, 3} {
		correct := 0
		const trials = 400000
		for range trials {
			a, b, x := r.NormFloat64(), d+r.NormFloat64(), r.NormFloat64()
			isB := r.IntN(2) == 1
			if isB {
				x += d
			}
			if (math.Abs(x-b) < math.Abs(x-a)) == isB {
				correct++
			}
		}
		near(t, fmt.Sprintf("share at d' %v", d), abxShare(d), float64(correct)/trials, 0.003, "")
	}
	d, i, err := ABX{75, 100}.DPrime(0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share of the d' of 75/100", abxShare(d), 0.75, 1e-9, "")
	if !(i.Low < d && d < i.High) || i.Unbounded {
		t.Errorf("d' %v outside its interval %+v", d, i)
	}
	if d, _, _ := (ABX{4, 10}).DPrime(0.95); d != 0 {
		t.Errorf("d' of 4/10 is %v, want 0", d)
	}
	_, i, err = ABX{10, 10}.DPrime(0.95)
	wantReason(t, "all correct", err, TooShort)
	if !i.Unbounded || i.Low <= 0 {
		t.Errorf("interval of 10/10: %+v", i)
	}
}

var abxIntervals = []struct {
	correct, trials int
	low, high       float64
}{
	{12, 16, 0.476229180104, 0.927337961747},
	{0, 10, 0, 0.308497107819},
	{10, 10, 0.691502892181, 1},
	{59, 100, 0.487144203767, 0.687380023432},
}
