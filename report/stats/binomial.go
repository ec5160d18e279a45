package stats

import "math"

// BinomialInterval is the interval of Clopper & Pearson, Biometrika 26 (1934),
// of the probability behind k successes in n independent trials. It covers with
// at least the confidence, often more. ok is false unless 0 ≤ k ≤ n, n ≥ 1 and
// the confidence lies inside 0 to 1.
func BinomialInterval(k, n int, confidence float64) (interval Interval, ok bool) {
	if n < 1 || k < 0 || k > n || !inside(confidence) {
		return Interval{}, false
	}
	tail := (1 - confidence) / 2
	interval = Interval{Low: 0, High: 1, Confidence: confidence}
	if k > 0 { // the p at which k or more successes have just this chance
		interval.Low = bisect(func(p float64) bool { return binomialAtMost(n, n-k, 1-p) >= tail })
	}
	if k < n { // the p at which k or fewer have
		interval.High = bisect(func(p float64) bool { return binomialAtMost(n, k, p) <= tail })
	}
	return interval, true
}

// bisect finds where f, false below and true above, turns on [0, 1].
func bisect(f func(float64) bool) float64 {
	low, high := 0.0, 1.0
	for range 80 { // more than a float64 has digits
		middle := (low + high) / 2
		if f(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return (low + high) / 2
}

// binomialAtMost is the probability of at most k successes in n trials.
func binomialAtMost(n, k int, p float64) float64 {
	sum := 0.0
	for i := 0; i <= k; i++ {
		sum += binomialMass(n, i, p)
	}
	return min(sum, 1)
}

// binomialMass is the probability of just k successes in n trials.
func binomialMass(n, k int, p float64) float64 {
	switch p {
	case 0:
		return indicator(k == 0)
	case 1:
		return indicator(k == n)
	}
	return math.Exp(logChoose(n, k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
}

func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// logChoose is the logarithm of the binomial coefficient, 0 ≤ k ≤ n.
func logChoose(n, k int) float64 {
	return logFactorial(n) - logFactorial(k) - logFactorial(n-k)
}

func logFactorial(n int) float64 {
	value, _ := math.Lgamma(float64(n) + 1)
	return value
}
