package measure

import (
	"fmt"
	"math"
)

// ABX is the outcome of a listening test in which a listener says in every trial whether X was A or
// B.
type ABX struct {
	Correct, Trials int
}

// PValue is the probability of at least Correct right answers by guessing: the exact one-sided
// binomial test, p = 1/2.
func (r ABX) PValue() float64 {
	r.check()
	return binomialTail(r.Correct, r.Trials, 0.5)
}

func (r ABX) check() {
	if r.Trials < 1 || r.Correct < 0 || r.Correct > r.Trials {
		panic(fmt.Sprintf("measure: ABX: %d correct of %d", r.Correct, r.Trials))
	}
}

// binomialTail is the probability of at least k successes in n trials of probability p.
func binomialTail(k, n int, p float64) float64 {
	if k <= 0 {
		return 1
	}
	if p <= 0 {
		return 0
	}
	if p >= 1 {
		return 1
	}
	choose := func(i int) float64 {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(i + 1))
		c, _ := math.Lgamma(float64(n - i + 1))
		return a - b - c
	}
	sum := 0.0
	for i := n; i >= k; i-- {
		sum += math.Exp(choose(i) + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
	}
	return min(1, sum)
}

// LeastCorrect is the smallest number of correct answers in that many trials whose p-value is at
// most alpha. Where not even all of them suffice, there are too few trials. The error is then
// NotMeasurable, TooShort. It panics where trials is under 1 or alpha not between 0 and 1.
func LeastCorrect(trials int, alpha float64) (int, error) {
	if trials < 1 || !(alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("measure: ABX: %d trials at alpha %v", trials, alpha))
	}
	for k := (trials + 1) / 2; k <= trials; k++ {
		if (ABX{k, trials}).PValue() <= alpha {
			return k, nil
		}
	}
	return 0, notMeasurable(TooShort, "%d trials can never reach p = %v", trials, alpha)
}

// Interval is a range that holds a quantity with a stated confidence. Its upper end may be
// unbounded.
type Interval struct {
	Low, High float64
	Unbounded bool // no upper limit can be given; High then means nothing
}

// Proportion is the exact (Clopper-Pearson) interval of the listener's true share of correct
// answers. It panics where confidence is not between 0 and 1, Trials is under 1, or Correct is not
// 0 to Trials. Source: Biometrika 26(4), 404-413, 1934.
func (r ABX) Proportion(confidence float64) Interval {
	r.check()
	if !(confidence > 0 && confidence < 1) {
		panic(fmt.Sprintf("measure: ABX: confidence %v", confidence))
	}
	tail := (1 - confidence) / 2
	i := Interval{Low: 0, High: 1}
	if r.Correct > 0 {
		i.Low = bisect(0, 1, func(p float64) bool { return binomialTail(r.Correct, r.Trials, p) < tail })
	}
	if r.Correct < r.Trials {
		i.High = bisect(0, 1, func(p float64) bool { return 1-binomialTail(r.Correct+1, r.Trials, p) > tail })
	}
	return i
}

// bisect finds where below turns from true to false between low and high.
func bisect(low, high float64, below func(float64) bool) float64 {
	for range 100 {
		if middle := (low + high) / 2; below(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// DPrime is the listener's sensitivity d' (distance of the two stimuli in standard deviations) and
// its exact interval, for a listener who compares X with A and with B and names the nearer one.
// With A, B and X normal and independent the share of correct answers is then Φ(d'/√2)·Φ(d'/√6) +
// Φ(-d'/√2)·Φ(-d'/√6), because B-A and 2X-A-B are independent with variances 2 and 6. Half or fewer
// correct is d' = 0. All correct sets no upper limit: d' is then not measurable, only its
// interval's lower end. The error is then NotMeasurable, TooShort, with the interval beside it. It
// panics where Proportion does.
func (r ABX) DPrime(confidence float64) (float64, Interval, error) {
	p := r.Proportion(confidence)
	interval := Interval{Low: dPrime(p.Low), Unbounded: r.Correct == r.Trials}
	if interval.Unbounded {
		return 0, interval, notMeasurable(TooShort, "all %d correct: d' is at least %.2f", r.Trials, interval.Low)
	}
	interval.High = dPrime(p.High)
	return dPrime(float64(r.Correct) / float64(r.Trials)), interval, nil
}

func dPrime(share float64) float64 {
	if share <= 0.5 {
		return 0
	}
	return bisect(0, 40, func(d float64) bool { return abxShare(d) < share })
}

// abxShare is the expected share of correct answers at d'.
func abxShare(d float64) float64 {
	normal := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
	return normal(d/math.Sqrt2)*normal(d/math.Sqrt(6)) + normal(-d/math.Sqrt2)*normal(-d/math.Sqrt(6))
}
