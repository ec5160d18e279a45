package estimate

import (
	"math/rand/v2"
	"slices"

	"tidemark/report/stats"
)

// Confidence of every interval: 80 %, so one in five is expected to miss.
const Confidence = 0.8

// quantile of ascending values; the forecasts never ask for one of no values.
func quantile(ascending []float64, p float64) float64 {
	value, _ := stats.PercentileSorted(ascending, p)
	return value
}

// shareOf is k of n with its interval.
func shareOf(k, n int) Share {
	out := Share{Of: k, All: n, High: 1}
	if interval, ok := stats.BinomialInterval(k, n, Confidence); ok {
		out.Value = float64(k) / float64(n)
		out.Low, out.High = interval.Low, interval.High
	}
	return out
}

// rangeOf is the middle share of replicates and their median; it sorts a copy.
func rangeOf(replicates []float64, share float64) *Range {
	sorted := slices.Clone(replicates)
	slices.Sort(sorted)
	return &Range{quantile(sorted, (1-share)/2), quantile(sorted, 0.5), quantile(sorted, (1+share)/2)}
}

// median of replicates.
func median(replicates []float64) float64 { return rangeOf(replicates, Confidence).Mid }

// newRand is a generator of its own for each question, so that asking one
// question more does not change the answer to another.
func newRand(seed uint64, question string) *rand.Rand {
	h := uint64(14695981039346656037) // FNV-1a
	for i := range len(question) {
		h = (h ^ uint64(question[i])) * 1099511628211
	}
	return rand.New(rand.NewPCG(seed, h))
}

// forecastSum is the interval of the sum of the first value over these days, with
// the drawn sums behind it.
func forecastSum(s *sampler, rng *rand.Rand, day, days int) (*Range, []float64) {
	out := make([]float64, replicates)
	classes := s.ahead(day, days)
	for r := range out {
		s.draw(s.resample(rng), rng, day, classes, func(_ int, value []float64) { out[r] += max(0, value[0]) })
	}
	return rangeOf(out, s.share()), out
}
