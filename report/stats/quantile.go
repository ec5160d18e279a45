package stats

import "math"

// Percentile is the p quantile (0 ≤ p ≤ 1) by the definition of the
// NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2: with rank
// p(n+1) = k + d the value is y(k) + d·(y(k+1) − y(k)); a rank below 1 gives the
// smallest value, one of n or above the largest. ok is false for no values, NaN
// or infinities, and p out of range.
func Percentile(values []float64, p float64) (value float64, ok bool) {
	return percentile(sorted(values), p)
}

// PercentileSorted is Percentile of values that are sorted and finite already,
// which it does not check: for callers that ask often.
func PercentileSorted(ascending []float64, p float64) (value float64, ok bool) {
	return percentile(ascending, p)
}

func percentile(y []float64, p float64) (float64, bool) {
	if len(y) == 0 || !(p >= 0 && p <= 1) {
		return 0, false
	}
	rank := p * float64(len(y)+1)
	k := int(rank)
	switch {
	case k < 1:
		return y[0], true
	case k >= len(y):
		return y[len(y)-1], true
	}
	d := rank - float64(k)
	return (1-d)*y[k-1] + d*y[k], true // not y + d·(difference): the difference may overflow
}

// OrderStatisticCoverage is the exact probability that the p quantile of a
// continuous distribution lies between the i-th and the j-th smallest of n
// independent draws from it, 1 ≤ i < j ≤ n: the binomial sum over k from i to
// j−1 of C(n,k) pᵏ (1−p)ⁿ⁻ᵏ. For distributions with ties it is a lower bound.
// Source: David & Nagaraja, Order Statistics, 3rd ed. 2003, section 7.1. ok is
// false where i, j or p are out of range.
func OrderStatisticCoverage(n, i, j int, p float64) (coverage float64, ok bool) {
	if i < 1 || j <= i || j > n || !inside(p) {
		return 0, false
	}
	for k := i; k < j; k++ {
		coverage += binomialMass(n, k, p)
	}
	return min(coverage, 1), true
}

// QuantileInterval is a distribution-free interval of the p quantile from order
// statistics. Of the pairs whose coverage reaches confidence it takes the one
// with the fewest values between, and of those the one that covers best;
// Interval.Confidence is its exact coverage. ok is false where not even the
// smallest and the largest value reach the confidence: then
// QuantileIntervalNeeds says how many values are needed. Source as for
// OrderStatisticCoverage.
func QuantileInterval(values []float64, p, confidence float64) (interval Interval, ok bool) {
	y := sorted(values)
	n := len(y)
	if n < 2 || !inside(p) || !inside(confidence) {
		return Interval{}, false
	}
	below := make([]float64, n+1) // below[k]: fewer than k of n are under the quantile
	for k := range n {
		below[k+1] = below[k] + binomialMass(n, k, p)
	}
	width, best := n, 0.0
	j := 2
	for i := 1; i < n; i++ {
		for j = max(j, i+1); j < n && below[j]-below[i] < confidence; j++ {
		}
		coverage := min(below[j]-below[i], 1)
		if coverage < confidence {
			break
		}
		if j-i < width || j-i == width && coverage > best {
			width, best = j-i, coverage
			interval = Interval{Low: y[i-1], High: y[j-1], Confidence: coverage}
		}
	}
	return interval, best > 0
}

// QuantileIntervalNeeds is the least number of values for which QuantileInterval
// answers: the first n with 1 − pⁿ − (1−p)ⁿ ≥ confidence. 0 where p or
// confidence are not inside 0 to 1, or more than a million would be needed.
func QuantileIntervalNeeds(p, confidence float64) int {
	if !inside(p) || !inside(confidence) {
		return 0
	}
	for n := 2; n <= mostNeeded; n++ {
		if 1-math.Pow(p, float64(n))-math.Pow(1-p, float64(n)) >= confidence {
			return n
		}
	}
	return 0
}

// mostNeeded ends searches for a number of values that nobody will ever have.
const mostNeeded = 1_000_000
