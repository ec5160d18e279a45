package chunk

import "math"

// MeanSize is the mean length in bytes of the chunks of random data.
func (p Params) MeanSize() float64 {
	m, a, t := float64(p.Min), float64(p.Average), float64(p.Max-p.Min)
	return m - a*math.Expm1(-t/a)
}

// SecondMoment is the mean square length, in bytes², of the chunks of random data.
func (p Params) SecondMoment() float64 {
	m, a, t := float64(p.Min), float64(p.Average), float64(p.Max-p.Min)
	return m*m - 2*m*a*math.Expm1(-t/a) + 2*a*a*(1-math.Exp(-t/a)*(1+t/a))
}
