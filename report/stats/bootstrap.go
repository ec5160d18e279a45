package stats

import (
	"math"
	"math/rand/v2"
)

// Resampled is what a bootstrap gives.
type Resampled struct {
	Value         float64  // the statistic of the values themselves
	StandardError float64  // standard deviation of the statistic over the resamples
	Interval      Interval // by percentiles of the resamples; approximate, too narrow below about 20 values
	Resamples     int
}

// Bootstrap draws resamples of len(values) values with replacement and takes
// the statistic of each: Efron & Tibshirani, An Introduction to the Bootstrap,
// 1993, chapters 6 and 13. It assumes independent draws from one distribution.
// The same seed draws the same on every platform: the generator is PCG of
// math/rand/v2, seeded with (seed, 0), and each value of each resample, in order,
// is one IntN. Sums may still differ in the last bit of a float64.
//
// The statistic gets a slice that is used again: it must not keep it, and may
// reorder it. ok is false for no usable values, fewer than 2 resamples, a
// confidence not inside 0 to 1, or if the statistic says no once.
func Bootstrap(values []float64, statistic func([]float64) (float64, bool), resamples int, seed uint64, confidence float64) (r Resampled, ok bool) {
	if !usable(values) || resamples < 2 || !inside(confidence) {
		return Resampled{}, false
	}
	random := rand.New(rand.NewPCG(seed, 0))
	draw := make([]float64, len(values))
	copy(draw, values)
	if r.Value, ok = statistic(draw); !ok {
		return Resampled{}, false
	}
	results := make([]float64, resamples)
	for i := range results {
		for j := range draw {
			draw[j] = values[random.IntN(len(values))]
		}
		if results[i], ok = statistic(draw); !ok {
			return Resampled{}, false
		}
	}
	mean, ok := Mean(results)
	if !ok {
		return Resampled{}, false
	}
	squares := 0.0
	for _, v := range results {
		squares += (v - mean) * (v - mean) / float64(resamples-1)
	}
	results = sorted(results)
	tail := (1 - confidence) / 2
	r.StandardError, r.Resamples = math.Sqrt(squares), resamples
	r.Interval.Low, _ = percentile(results, tail)
	r.Interval.High, _ = percentile(results, 1-tail)
	r.Interval.Confidence = confidence
	return r, true
}
