package stats

import "math"

// Median is the middle value, or the mean of the two in the middle. ok is false
// for no values, or NaN or an infinity among them.
func Median(values []float64) (median float64, ok bool) {
	return percentile(sorted(values), 0.5)
}

// MAD is the median of the absolute deviations from the median, in the values'
// unit and not scaled to a standard deviation. ok as for Median.
func MAD(values []float64) (mad float64, ok bool) {
	median, ok := Median(values)
	if !ok {
		return 0, false
	}
	deviations := make([]float64, len(values))
	for i, v := range values {
		deviations[i] = math.Abs(v - median)
	}
	return Median(deviations)
}

// ModifiedZ says how unusual x is beside the usual values:
// 0.6745·(x − median)/MAD, which beyond ±3.5 marks an outlier. Source: Iglewicz
// & Hoaglin, How to Detect and Handle Outliers, 1993; NIST/SEMATECH e-Handbook,
// section 1.3.5.17. Where the MAD is below floor (≥ 0, in the values' unit) the
// floor takes its place, so that the first stir after perfectly equal nights is
// judged by its size and not divided by nothing. x is not to be among values.
//
// ok is false for no usable values, an x or floor that is not a number, or if
// spread and floor are both zero while x differs from the median: no score
// tells anything then.
func ModifiedZ(x float64, values []float64, floor float64) (score float64, ok bool) {
	median, ok := Median(values)
	if !ok || !usable([]float64{x, floor}) || floor < 0 {
		return 0, false
	}
	mad, ok := MAD(values)
	if !ok {
		return 0, false
	}
	return ModifiedZBeside(x, median, mad, floor)
}

// ModifiedZBeside is ModifiedZ for callers that ask often and hold the median and
// the MAD of the usual values already; all four are finite, which it does not check.
func ModifiedZBeside(x, median, mad, floor float64) (score float64, ok bool) {
	spread := max(mad, floor)
	if spread == 0 {
		return 0, x == median
	}
	return 0.6745 * (x - median) / spread, true
}
