package stats

import "math"

// The statements here hold for nights that are exchangeable: any order of the
// measured and the coming nights is as likely as any other. A trend or a new
// habit breaks that, whatever the numbers say. Ties make the true probability
// larger. Source: David & Nagaraja, Order Statistics, 3rd ed. 2003, section 7.3
// (prediction from order statistics); Wilks, Ann. Math. Statist. 13 (1942).

// NextWithin is the probability that the next value does not exceed the k-th
// smallest of n: k/(n+1). For the largest it is n/(n+1). ok is false unless
// 1 ≤ k ≤ n.
func NextWithin(n, k int) (probability float64, ok bool) {
	if k < 1 || k > n {
		return 0, false
	}
	return float64(k) / float64(n+1), true
}

// AllWithinLargest is the probability that none of the next m values exceeds the
// largest of n: n/(n+m). ok is false unless n ≥ 1 and m ≥ 1.
func AllWithinLargest(n, m int) (probability float64, ok bool) {
	if n < 1 || m < 1 {
		return 0, false
	}
	return float64(n) / (float64(n) + float64(m)), true
}

// AllWithinLargestNeeds is the least n with n/(n+m) ≥ probability. 0 where m < 1,
// the probability is not inside 0 to 1, or more than a million would be needed.
func AllWithinLargestNeeds(m int, probability float64) (n int) {
	if m < 1 || !inside(probability) {
		return 0
	}
	estimate := math.Ceil(probability * float64(m) / (1 - probability))
	if estimate > mostNeeded {
		return 0
	}
	// The division may have rounded either way.
	n = max(1, int(estimate)-1)
	for float64(n)/(float64(n)+float64(m)) < probability {
		n++
	}
	return n
}

// SomeWithin is the probability that at least j of the next m values do not
// exceed the k-th smallest of n. The number that does not exceed it is i with
// probability C(k−1+i, i)·C(n−k+m−i, m−i)/C(n+m, m). ok is false unless
// 1 ≤ k ≤ n and 0 ≤ j ≤ m, m ≥ 1.
func SomeWithin(n, k, m, j int) (probability float64, ok bool) {
	if k < 1 || k > n || m < 1 || j < 0 || j > m {
		return 0, false
	}
	all := logChoose(n+m, m)
	for i := j; i <= m; i++ {
		probability += math.Exp(logChoose(k-1+i, i) + logChoose(n-k+m-i, m-i) - all)
	}
	return min(probability, 1), true
}

// WilksConfidence is the confidence with which the largest of n independent
// values is an upper bound of their distribution's p quantile: 1 − pⁿ. ok is
// false unless n ≥ 1 and 0 < p < 1. Source: Wilks, Ann. Math. Statist. 12 (1941).
func WilksConfidence(n int, p float64) (confidence float64, ok bool) {
	if n < 1 || !inside(p) {
		return 0, false
	}
	return -math.Expm1(float64(n) * math.Log(p)), true
}

// WilksNeeds is the least n with 1 − pⁿ ≥ confidence: 59 for p and confidence of
// 0.95. 0 where p or confidence are not inside 0 to 1, or more than a million
// would be needed.
func WilksNeeds(p, confidence float64) (n int) {
	if !inside(p) || !inside(confidence) {
		return 0
	}
	estimate := math.Ceil(math.Log1p(-confidence) / math.Log(p))
	if estimate > mostNeeded {
		return 0
	}
	n = max(1, int(estimate)-1)
	for c, _ := WilksConfidence(n, p); c < confidence; c, _ = WilksConfidence(n, p) {
		n++
	}
	return n
}
