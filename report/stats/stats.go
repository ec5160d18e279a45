// Package stats holds the statistics that the answers rest on: pure functions of
// numbers, each with its published source. None assumes a distribution of the
// values themselves; what is assumed instead (independence, exchangeable nights,
// censoring that does not depend on age) stands beside each function.
//
// A question that the numbers can't answer (too few, NaN among them, a
// probability out of range) gives ok = false or an error, never a 0 that could
// be taken for an answer. Inputs are never changed and may be in any order
// unless a function says otherwise.
package stats

import (
	"math"
	"slices"
)

// Interval from Low to High, both ends included. Confidence is the coverage
// that the method guarantees or, where a function says so, approximates: 0 to 1.
type Interval struct {
	Low, High  float64
	Confidence float64
}

// Contains says whether x lies in the interval. NaN never does.
func (i Interval) Contains(x float64) bool { return i.Low <= x && x <= i.High }

// Mean is the arithmetic mean; ok is false for no values, or NaN or an
// infinity among them.
func Mean(values []float64) (mean float64, ok bool) {
	if !usable(values) {
		return 0, false
	}
	// Divided first: the sum of large values may overflow where their mean doesn't.
	for _, v := range values {
		mean += v / float64(len(values))
	}
	return mean, true
}

func usable(values []float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return len(values) > 0
}

// sorted returns a sorted copy, or nil if values are not usable.
func sorted(values []float64) []float64 {
	if !usable(values) {
		return nil
	}
	out := slices.Clone(values)
	slices.Sort(out)
	return out
}

// inside says whether p is a probability strictly between 0 and 1.
func inside(p float64) bool { return p > 0 && p < 1 }

// normalQuantile is the standard normal's quantile function on (0, 1).
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }
