package experiment

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// answered is a test with that many right answers, of that many trials, the right ones first.
func answered(t *testing.T, seed uint64, correct, trials int) *ListeningTest {
	t.Helper()
	l := NewListeningTest(seed)
	for k := range trials {
		a := l.X()
		if k >= correct {
			a = map[Stimulus]Stimulus{StimulusA: StimulusB, StimulusB: StimulusA}[a]
		}
		if err := l.Answer(a); err != nil {
			t.Fatal(err)
		}
	}
	return l
}

// The least number of right answers for p <= 0.05 and p <= 0.01: exact binomial, a published table
// of the test; each was found again with scipy 1.10.1, min(c for c in range(n+1) if binomtest(c, n,
// 0.5, alternative="greater").pvalue <= level).
func TestLeastCorrect(t *testing.T) {
	for _, c := range [][3]int{
		{8, 7, 8}, {10, 9, 10}, {12, 10, 11}, {16, 12, 14}, {20, 15, 16}, {24, 17, 19}, {25, 18, 19}, {30, 20, 22}, {40, 26, 28}, {50, 32, 34}, {100, 59, 63},
	} {
		for k, level := range []float64{0.05, 0.01} {
			least := 0
			for ChanceOf(least, c[0]) > level {
				least++
			}
			if least != c[1+k] {
				t.Errorf("%d trials: p <= %g from %d right, want %d", c[0], level, least, c[1+k])
			}
		}
	}
}

// scipy 1.10.1: binomtest(c, n, 0.5, alternative="greater").pvalue and binomtest(c, n,
// 0.5).proportion_ci(0.95, "exact").
func TestChanceAndInterval(t *testing.T) {
	for _, c := range []struct {
		correct, n   int
		p, low, high float64
	}{
		{12, 16, 0.0384063720703125, 0.4762291801038724, 0.9273379617471178},
		{9, 10, 0.0107421875, 0.5549838829718047, 0.9974714214555375},
		{15, 20, 0.020694732666015625, 0.5089541282920425, 0.9134285308985655},
		{17, 24, 0.03195732831954956, 0.48905218614216706, 0.8738479114763109},
		{8, 16, 0.5981903076171875, 0.24651011149050545, 0.7534898885094946},
		{0, 5, 1, 0, 0.5218237501049814},
		{59, 100, 0.044313040057033834, 0.487144203766731, 0.6873800234324292},
		{5200, 10000, 3.296757799336171e-05, 0.5101533947198649, 0.5298349514860559},
		{16, 16, 1.52587890625e-05, 0.7940927857921769, 1},
	} {
		const relative = 1e-9 // of log-gamma sums over 10000 terms
		if p := ChanceOf(c.correct, c.n); math.Abs(p/c.p-1) > relative {
			t.Errorf("%d of %d: p %v, want %v", c.correct, c.n, p, c.p)
		}
		low, high := proportion(c.correct, c.n, 0.95)
		// 1e-7: scipy's own root finding
		if math.Abs(low-c.low) > 1e-7 || math.Abs(high-c.high) > 1e-7 {
			t.Errorf("%d of %d: interval %v to %v, want %v to %v", c.correct, c.n, low, high, c.low, c.high)
		}
	}
}

// scipy 1.10.1: f = lambda d: norm.cdf(d/2**.5)*norm.cdf(d/6**.5) +
// norm.cdf(-d/2**.5)*norm.cdf(-d/6**.5); brentq(lambda d: f(d)-right, 0, 20, xtol=1e-12). That f is
// how often |X-A| < |X-B|: numpy, 4e6 draws of A, X from N(0, 1) and B from N(d, 1), gives 0.5829,
// 0.7465, 0.8764 for d = 1, 2, 3, and f 0.5825, 0.7468, 0.8765.
func TestDPrime(t *testing.T) {
	for _, c := range []struct{ right, d float64 }{
		{0.55, 0.7614121697701587}, {0.6, 1.1152210431675844}, {0.75, 2.0200391930396036}, {0.9, 3.2630918373185325}, {0.99, 5.700868247916694},
		{0.5, 0}, {0.2, 0}, {1, math.Inf(1)},
	} {
		if d := DPrime(c.right); d != c.d && !(math.Abs(d-c.d) < 1e-9) {
			t.Errorf("right %g: d′ %v, want %v", c.right, d, c.d)
		}
	}
	// the draws above; 0.001 is four of their deviations
	for d, want := range map[float64]float64{1: 0.5829, 2: 0.7465, 3: 0.8764} {
		if got := rightAt(d); math.Abs(got-want) > 0.001 {
			t.Errorf("d′ %g: right %v, want %v", d, got, want)
		}
	}
}

// The order comes from the seed alone and is fair: of 10000 Xs, 5000 ± 200 are A (four standard
// deviations of a coin), and as many differ from the one before.
func TestOrderOfXs(t *testing.T) {
	a, again, other := NewListeningTest(7), NewListeningTest(7), NewListeningTest(8)
	as, changes, same := 0, 0, 0
	last := a.X()
	for range MaxTrials {
		if a.X() != again.X() {
			t.Fatal("one seed, two orders")
		}
		if a.X() == other.X() {
			same++
		}
		if a.X() == StimulusA {
			as++
		}
		if a.X() != last {
			changes++
		}
		last = a.X()
		for _, l := range []*ListeningTest{a, again, other} {
			if err := l.Answer(StimulusA); err != nil {
				t.Fatal(err)
			}
		}
	}
	for what, n := range map[string]int{"A": as, "changes": changes, "same for another seed": same} {
		if n < 4800 || n > 5200 {
			t.Errorf("%s: %d of %d", what, n, MaxTrials)
		}
	}
	if got := a.Result().Correct; got != as {
		t.Errorf("always A is right %d times, and A is X %d times", got, as)
	}
	if err := a.Answer(StimulusA); err == nil {
		t.Error("no end to the trials")
	}
	if err := NewListeningTest(1).Answer("X"); err == nil {
		t.Error("the answer X is taken")
	}
}

// The advice to stop comes as soon as 12 of 16 (the least that counts) are out of reach: with the
// fifth mistake.
func TestStop(t *testing.T) {
	l := NewListeningTest(3)
	for k := range 5 {
		if l.Stop() != "" {
			t.Errorf("told to stop after %d mistakes", k)
		}
		wrong := StimulusA
		if l.X() == StimulusA {
			wrong = StimulusB
		}
		if err := l.Answer(wrong); err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(l.Stop(), "within 16 trials") || l.Result().StopAdvised != 5 {
		t.Errorf("after 5 mistakes: %q, %d", l.Stop(), l.Result().StopAdvised)
	}
	if got := answered(t, 1, 12, 16); got.Stop() != "" || !got.Result().ToldApart {
		t.Errorf("12 of 16: stop %q", got.Stop())
	}
}

// Whoever follows the plan is told "apart" by chance in at most one test of twenty, and so is who
// goes on to 32 and 64 whenever it did not come out.
func TestChanceIsNotSkill(t *testing.T) {
	const tests = 2000
	once, patient := 0, 0
	for seed := range uint64(tests) {
		l := NewListeningTest(seed)
		for n := 1; n <= 64; n++ {
			if err := l.Answer(StimulusA); err != nil { // X is a fair coin
				t.Fatal(err)
			}
			if n != 16 && n != 32 && n != 64 {
				continue
			}
			told := l.Result().ToldApart
			if n == 16 && told {
				once++
			}
			if told {
				patient++
				break
			}
		}
	}
	// 12 of 16 or better is chance 0.0384 (above); 2000 tests: 77 ± 34 (four deviations). The union
	// bound allows the patient one 0.05 + 0.025 + 0.0167 = 0.092 of tests; what the discrete steps
	// use of it is less.
	if once < 43 || once > 111 {
		t.Errorf("told apart in %d of %d tests of 16, want 77 ± 34", once, tests)
	}
	if share := float64(patient) / tests; share > 0.092 {
		t.Errorf("who goes on tells apart in %.3f of tests", share)
	}
}

// A number set before the first trial is a plan of its own: 17 of 24 counts then (p = 0.032, as
// above), and does not for who went on from 16 to 24.
func TestPlan(t *testing.T) {
	for _, planned := range []int{16, 24} {
		l := NewListeningTest(2)
		if err := l.Plan(planned); err != nil {
			t.Fatal(err)
		}
		for k := range 24 {
			a := l.X()
			if k >= 17 {
				a = map[Stimulus]Stimulus{StimulusA: StimulusB, StimulusB: StimulusA}[a]
			}
			if err := l.Answer(a); err != nil {
				t.Fatal(err)
			}
		}
		if r := l.Result(); r.ToldApart != (planned == 24) || r.Planned != planned {
			t.Errorf("17 of 24, %d planned: %+v", planned, r)
		}
		if l.Plan(30) == nil {
			t.Error("a plan after the trials")
		}
	}
	if NewListeningTest(1).Plan(4) == nil {
		t.Error("a plan that cannot come out")
	}
}

func TestAdvice(t *testing.T) {
	for _, c := range []struct {
		correct, trials int
		want            string
	}{
		{0, 0, "No trial was made"},
		{4, 4, "Too few trials"},
		// scipy 1.10.1: 1/binomtest(14, 16, 0.5, alternative="greater").pvalue = 478.4
		{14, 16, "You told them apart: 14 of 16 right, which chance does once in 478."},
		{8, 16, "Not told apart: 8 of 16 right, which chance does once in 1.7."},
		{8, 10, "Not told apart so far"},
		// p = 0.0175 (scipy, as above), three plans begun: 0.0525
		{23, 33, "went on past its 16 trials"},
	} {
		r := answered(t, 5, c.correct, c.trials).Result()
		if !strings.Contains(r.Advice, c.want) {
			t.Errorf("%d of %d: %q", c.correct, c.trials, r.Advice)
		}
		if c.trials == 0 {
			if r.PValue != nil || r.DPrime != nil {
				t.Error("numbers of no trial")
			}
		}
	}
	r := answered(t, 5, 16, 16).Result()
	text, err := json.Marshal(r)
	if err != nil || !strings.Contains(string(text), `"d_prime":null`) || !strings.Contains(string(text), `"told_apart":true`) {
		t.Errorf("16 of 16: %s, %v", text, err)
	}
	// d′ of the interval's low end of 16 of 16, 0.794093 (above): scipy's brentq as above gives the
	// number
	if r.DPrimeLow == nil || math.Abs(*r.DPrimeLow-2.312924434) > 1e-6 {
		t.Errorf("low end %v", *r.DPrimeLow)
	}
}
