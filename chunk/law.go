package chunk

import "math"

// On random data the length of a chunk is Min plus a geometric wait of mean
// Average, cut off at Max: the truncated geometric law, here in its exponential
// limit, as Average is thousands of bytes.

// MeanSize is the mean length in bytes of the chunks of random data:
// m + A·(1−e^(−T/A)) with m = Min, A = Average, T = Max−Min. Real data have
// longer ones, repetitive data much longer.
func (p Params) MeanSize() float64 {
	m, a, t := p.law()
	return m - a*math.Expm1(-t/a)
}

// SecondMoment is the mean square E[L²], in bytes², of those lengths:
// m² + 2mA·(1−e^(−T/A)) + 2A²·(1−e^(−T/A)·(1+T/A)). By MeanSize it gives the
// length-biased mean, which is what one small random change makes new.
func (p Params) SecondMoment() float64 {
	m, a, t := p.law()
	return m*m - 2*m*a*math.Expm1(-t/a) + 2*a*a*(1-math.Exp(-t/a)*(1+t/a))
}

func (p Params) law() (m, a, t float64) {
	return float64(p.Min), float64(p.Average), float64(p.Max - p.Min)
}
