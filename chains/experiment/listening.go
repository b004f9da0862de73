package experiment

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
)

// A blind listening test of the form A/B/X: X is one of A and B, the listener may hear all three as
// often as wished, and says which one X is. Somebody who hears nothing is right half of the time;
// the test asks how often chance would have been right as often as the listener was.

// ListeningTest is one such test under way. Which of the two each X is comes from its seed alone,
// so a test can be checked afterwards.
type ListeningTest struct {
	seed    uint64
	planned int
	coin    *rand.Rand
	x       Stimulus
	trials  []ListeningTrial
	correct int
	stop    int // after which trial the listener was first told to stop; 0 for not yet
}

// Stimulus is one of the two sounds that are compared.
type Stimulus string

// The two sounds.
const (
	StimulusA Stimulus = "A"
	StimulusB Stimulus = "B"
)

// ListeningTrial is one X and what was said about it.
type ListeningTrial struct {
	X      Stimulus `json:"x"`
	Answer Stimulus `json:"answer"`
}

// The number of trials that a test is planned for where Plan says nothing, and what counts as told
// apart. Sixteen trials and one chance in twenty: common practice, no source. Who goes on has a
// plan of twice as many, and so on.
const (
	plannedTrials = 16
	significance  = 0.05
)

// MaxTrials is the most trials of one test.
const MaxTrials = 10000

// NewListeningTest begins a test. The order of its Xs is that of a generator (PCG) with the seed;
// each is A or B with equal chances, whatever came before.
func NewListeningTest(seed uint64) *ListeningTest {
	t := &ListeningTest{seed: seed, planned: plannedTrials, coin: rand.New(rand.NewPCG(seed, 0))}
	t.draw()
	return t
}

// Plan sets how many trials there are to be, before the first: a number chosen then is one that the
// result cannot have chosen. It is an error after the first trial, and where there are not 5 to
// MaxTrials.
func (t *ListeningTest) Plan(trials int) error {
	if len(t.trials) > 0 {
		return errors.New("the number of trials is set before the first of them")
	}
	if trials < 5 || trials > MaxTrials { // with 4, all of them right is chance once in 16
		return fmt.Errorf("a test has from 5 to %d trials, and not %d", MaxTrials, trials)
	}
	t.planned = trials
	return nil
}

func (t *ListeningTest) draw() {
	t.x = StimulusA
	if t.coin.Uint64()&1 == 1 {
		t.x = StimulusB
	}
}

// Seed is what the order of the Xs comes from.
func (t *ListeningTest) Seed() uint64 { return t.seed }

// Trial is the number of the trial under way, from 1.
func (t *ListeningTest) Trial() int { return len(t.trials) + 1 }

// X is what sounds as X in the trial under way. It is for what plays the sound, not for the
// listener.
func (t *ListeningTest) X() Stimulus { return t.x }

// Answer ends a trial. Whether the answer was right is not told before the end. It is an error
// where the answer is not A or B, and after MaxTrials of them.
func (t *ListeningTest) Answer(a Stimulus) error {
	if a != StimulusA && a != StimulusB {
		return fmt.Errorf("the answer is A or B, and not %q", a)
	}
	if len(t.trials) >= MaxTrials {
		return fmt.Errorf("a test has at most %d trials; finish this one", MaxTrials)
	}
	t.trials = append(t.trials, ListeningTrial{X: t.x, Answer: a})
	if a == t.x {
		t.correct++
	}
	if t.stop == 0 && t.hopeless() {
		t.stop = len(t.trials)
	}
	t.draw()
	return nil
}

// plan is the number of trials that a test which has come to n is planned for: the number set
// before, or that doubled until it is enough; and how many plans that makes.
func (t *ListeningTest) plan(n int) (trials, stages int) {
	trials, stages = t.planned, 1
	for trials < n {
		trials, stages = 2*trials, stages+1
	}
	return trials, stages
}

// hopeless says that the two would not count as told apart at the end of the plan, were all answers
// from now on right.
func (t *ListeningTest) hopeless() bool {
	n := len(t.trials)
	planned, _ := t.plan(n)
	return ChanceOf(t.correct+planned-n, planned) > significance
}

// Stop is the advice to stop, or "" as long as there is none. It is given once no answers could
// make the difference count any more within the planned trials. Stopping then cannot make chance
// look like skill: such a test ends with "not told apart" either way. There is no advice to stop on
// success, which could.
func (t *ListeningTest) Stop() string {
	if t.stop == 0 {
		return ""
	}
	planned, _ := t.plan(t.stop)
	return fmt.Sprintf("You may stop: within %d trials it cannot come out any more that you tell them apart. Going on until it looks better would prove nothing.", planned)
}

// ListeningResult is how a test came out, as it is kept beside the chain file. Numbers that there
// are not are null.
type ListeningResult struct {
	Seed    uint64           `json:"seed"`
	Planned int              `json:"planned"` // trials, before the first
	Trials  int              `json:"trials"`
	Correct int              `json:"correct"`
	Answers []ListeningTrial `json:"answers"` // x is what it was, answer what was said

	// PValue is the chance to be right this often, or more often, by tossing a coin: the exact
	// one-sided binomial test. It holds for a number of trials that was chosen beforehand. PBound
	// holds for whoever went on past a plan too: PValue times the plans that were begun (16 trials,
	// say, then 32, then 64), 1 at most.
	PValue *float64 `json:"p"`
	PBound *float64 `json:"p_bound"`

	// DPrime is how far apart the two are, in standard deviations of what the listener makes of one
	// of them; DPrimeLow to DPrimeHigh is its interval at 95 % confidence. 0 is not told apart. A
	// number that would be infinite is null: no number of right answers without a mistake says how
	// far.
	DPrime     *float64 `json:"d_prime"`
	DPrimeLow  *float64 `json:"d_prime_low"`
	DPrimeHigh *float64 `json:"d_prime_high"`

	ToldApart bool `json:"told_apart"` // PBound is at most 0.05
	// the trial after which there was the advice to stop; 0 for none
	StopAdvised int    `json:"stop_advised"`
	Advice      string `json:"advice"` // one or two sentences
}

// Result is how the test has come out so far. To look at it and go on is to choose the number of
// trials by the result, so it is for the end.
func (t *ListeningTest) Result() ListeningResult {
	n := len(t.trials)
	r := ListeningResult{Seed: t.seed, Planned: t.planned, Trials: n, Correct: t.correct, Answers: append([]ListeningTrial{}, t.trials...), StopAdvised: t.stop}
	if n == 0 {
		r.Advice = "No trial was made, so there is nothing to tell."
		return r
	}
	p := ChanceOf(t.correct, n)
	_, stages := t.plan(n)
	bound := math.Min(1, p*float64(stages))
	r.PValue, r.PBound, r.ToldApart = &p, &bound, bound <= significance
	low, high := proportion(t.correct, n, 0.95)
	r.DPrime, r.DPrimeLow, r.DPrimeHigh = finite(DPrime(float64(t.correct)/float64(n))), finite(DPrime(low)), finite(DPrime(high))
	r.Advice = r.advise()
	return r
}

func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

func (r ListeningResult) advise() string {
	score := fmt.Sprintf("%d of %d right", r.Correct, r.Trials)
	all := math.Pow(0.5, float64(r.Trials))
	switch {
	case r.ToldApart:
		return fmt.Sprintf("You told them apart: %s, which chance does once in %s.", score, times(*r.PBound))
	case all > significance:
		return fmt.Sprintf("Too few trials to tell: with %d, even all of them right would be chance once in %s. Make %d.", r.Trials, times(all), max(plannedTrials, r.Planned))
	case *r.PValue <= significance:
		return fmt.Sprintf("Not shown: %s would count, had the number of trials been fixed before; but this test went on past its %d trials, and who goes on until it looks good finds something in the end. Make a new test with a number that you choose now.",
			score, r.Planned)
	case r.Trials < r.Planned && r.StopAdvised == 0:
		return fmt.Sprintf("Not told apart so far: %s. Fewer than the planned %d trials miss small differences; make a new test with all of them.", score, r.Planned)
	}
	text := fmt.Sprintf("Not told apart: %s, which chance does once in %s. ", score, times(*r.PValue))
	if r.DPrimeHigh != nil {
		text += fmt.Sprintf("A difference may be there all the same, but hardly above a d′ of %.1f. ", *r.DPrimeHigh)
	}
	return text + "Stop here: repeating the test until it comes out proves nothing."
}

// times is 1/p in words of a few digits.
func times(p float64) string {
	switch n := 1 / p; {
	case n < 10:
		return fmt.Sprintf("%.1f", n)
	case n < 1e6:
		return fmt.Sprintf("%.0f", n)
	default:
		return fmt.Sprintf("%.1e", n)
	}
}

// ChanceOf is the chance of at least that many right answers of n by tossing a coin: the sum of
// C(n, k)/2^n for k from correct to n.
func ChanceOf(correct, n int) float64 { return tail(correct, n, 0.5) }

// tail is the chance of at least k of n where each has the chance p.
func tail(k, n int, p float64) float64 {
	if k <= 0 {
		return 1
	}
	sum := 0.0
	for j := n; j >= k; j-- { // the smallest first
		sum += math.Exp(logBinomial(n, j) + float64(j)*math.Log(p) + float64(n-j)*math.Log1p(-p))
	}
	return math.Min(1, sum)
}

func logBinomial(n, k int) float64 {
	l := func(v int) float64 { g, _ := math.Lgamma(float64(v) + 1); return g }
	return l(n) - l(k) - l(n-k)
}

// proportion is the exact interval of a share by inverting both tails of the binomial distribution
// (Biometrika 26 (1934) 404-413).
func proportion(k, n int, confidence float64) (low, high float64) {
	half := (1 - confidence) / 2
	solve := func(rises func(p float64) bool) float64 {
		a, b := 0.0, 1.0
		for range 60 {
			if m := (a + b) / 2; rises(m) {
				b = m
			} else {
				a = m
			}
		}
		return (a + b) / 2
	}
	low, high = 0, 1
	if k > 0 {
		low = solve(func(p float64) bool { return tail(k, n, p) > half })
	}
	if k < n {
		high = solve(func(p float64) bool { return 1-tail(k+1, n, p) < half })
	}
	return low, high
}

// DPrime is the distance between A and B at which a listener who compares is right that often: 0 up
// to one half, infinite for 1.
//
// The listener goes by which of A and B is nearer to X. With each heard as a normal variable of
// deviation 1, A around 0 and B around d, X nearer to A means (B-A)(2X-A-B) < 0; the factors are
// independent, with means d and -d (X being A) and variances 2 and 6, so that the answer is right
// with the chance
//
//	Φ(d/√2)·Φ(d/√6) + Φ(-d/√2)·Φ(-d/√6).
//
// This is the differencing model of the task: Perception & Psychophysics 64 (2002) 89-106; the
// equation is derived here.
func DPrime(right float64) float64 {
	switch {
	case right <= 0.5:
		return 0
	case right >= 1:
		return math.Inf(1)
	}
	a, b := 0.0, 50.0
	for range 80 {
		if m := (a + b) / 2; rightAt(m) < right {
			a = m
		} else {
			b = m
		}
	}
	return (a + b) / 2
}

// rightAt is how often the listener of DPrime is right.
func rightAt(d float64) float64 {
	phi := func(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
	return phi(d/math.Sqrt2)*phi(d/math.Sqrt(6)) + phi(-d/math.Sqrt2)*phi(-d/math.Sqrt(6))
}
