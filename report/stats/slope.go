package stats

import (
	"math"
)

// Slope is a robust straight line through points.
type Slope struct {
	PerX      float64  // the median of the slopes of all pairs with different x
	Intercept float64  // the median of y − PerX·x
	Interval  Interval // of PerX; Confidence is exact where Exact, else approximate
	Exact     bool
	Points    int
}

// TheilSen is the slope of Theil, Indag. Math. 12 (1950), with the interval of
// Sen, J. Amer. Statist. Assoc. 63 (1968) 1379–1389: the r-th smallest and the
// r-th largest of the N slopes of pairs, r the largest for which the interval
// still has the confidence asked for. Up to 60 points without ties in x or y the
// coverage 1 − 2·P(Q < r) comes from the exact distribution of the number Q of
// discordant pairs; else from the normal approximation with Sen's variance for
// ties. It assumes independent errors about a straight line. (Sen's own worked
// example takes one rank more at each end than its confidence asks for.)
//
// ok is false if the lengths differ, values are not finite, the confidence is
// not inside 0 to 1, fewer than two different x are there, or the points are too
// few for the confidence (four for 0.9, five for 0.95). All pairs are looked
// at: n(n−1)/2 of them.
func TheilSen(x, y []float64, confidence float64) (slope Slope, ok bool) {
	if len(x) != len(y) || !usable(x) || !usable(y) || !inside(confidence) {
		return Slope{}, false
	}
	slopes := pairSlopes(x, y)
	if len(slopes) == 0 {
		return Slope{}, false
	}
	slope.Points = len(x)
	slope.PerX, ok = percentile(slopes, 0.5)
	if !ok {
		return Slope{}, false
	}
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - slope.PerX*x[i]
	}
	if slope.Intercept, ok = Median(rest); !ok {
		return Slope{}, false
	}
	var r int
	if tiesX, tiesY := ties(x), ties(y); len(tiesX)+len(tiesY) == 0 && len(x) <= 60 {
		slope.Exact = true
		r, slope.Interval.Confidence = exactRank(len(x), confidence)
	} else {
		r, slope.Interval.Confidence = normalRank(len(x), len(slopes), tiesX, tiesY, confidence)
	}
	if r < 1 {
		return Slope{}, false
	}
	slope.Interval.Low, slope.Interval.High = slopes[r-1], slopes[len(slopes)-r]
	return slope, true
}

// pairSlopes are the slopes of all pairs with different x, sorted; nil if one
// overflows.
func pairSlopes(x, y []float64) []float64 {
	var slopes []float64
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	return sorted(slopes)
}

// ties are the sizes of the groups of equal values with more than one.
func ties(values []float64) []int {
	var groups []int
	run := 1
	y := sorted(values)
	for i := 1; i <= len(y); i++ {
		if i < len(y) && y[i] == y[i-1] {
			run++
			continue
		}
		if run > 1 {
			groups = append(groups, run)
		}
		run = 1
	}
	return groups
}

// exactRank is the largest r with 1 − 2·P(Q < r) ≥ confidence, where Q is the
// number of inversions of a random permutation of n, and that coverage; 0 if
// there is none.
func exactRank(n int, confidence float64) (r int, coverage float64) {
	share := []float64{1} // of permutations with each number of inversions
	for k := 2; k <= n; k++ {
		next := make([]float64, len(share)+k-1)
		for i, s := range share {
			for j := range k {
				next[i+j] += s / float64(k)
			}
		}
		share = next
	}
	below := 0.0
	for r < len(share)/2 {
		below += share[r]
		if 1-2*below < confidence {
			break
		}
		r, coverage = r+1, 1-2*below
	}
	return r, coverage
}

// normalRank is r by the normal approximation: (N − z·σ)/2, rounded down so
// that the interval is rather too wide.
func normalRank(n, pairs int, tiesX, tiesY []int, confidence float64) (r int, coverage float64) {
	variance := float64(n) * float64(n-1) * float64(2*n+5)
	var x1, x2, y1, y2 float64
	for _, t := range tiesX {
		t := float64(t)
		variance -= t * (t - 1) * (2*t + 5)
		x1 += t * (t - 1)
		x2 += t * (t - 1) * (t - 2)
	}
	for _, t := range tiesY {
		t := float64(t)
		variance -= t * (t - 1) * (2*t + 5)
		y1 += t * (t - 1)
		y2 += t * (t - 1) * (t - 2)
	}
	variance /= 18
	if n > 2 {
		variance += x2 * y2 / (9 * float64(n) * float64(n-1) * float64(n-2))
	}
	variance += x1 * y1 / (2 * float64(n) * float64(n-1))
	half := normalQuantile((1+confidence)/2) * math.Sqrt(max(variance, 0))
	return int(math.Floor((float64(pairs) - half) / 2)), confidence
}

// At is the line's value at x.
func (s Slope) At(x float64) float64 { return s.Intercept + s.PerX*x }
