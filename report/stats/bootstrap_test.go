package stats

import (
	"math"
	"slices"
	"testing"
)

// exactBootstrap walks all nⁿ resamples of a small sample.
func exactBootstrap(values []float64, statistic func([]float64) (float64, bool)) (standardError float64) {
	n := len(values)
	draw, digits := make([]float64, n), make([]int, n)
	count, mean, squares := 0.0, 0.0, 0.0
	for {
		for i, d := range digits {
			draw[i] = values[d]
		}
		v, _ := statistic(draw)
		count++ // Welford's running sums
		delta := v - mean
		mean += delta / count
		squares += delta * (v - mean)
		i := 0
		for i < n && digits[i] == n-1 {
			digits[i] = 0
			i++
		}
		if i == n {
			return math.Sqrt(squares / count)
		}
		digits[i]++
	}
}

// Data: Efron & Tibshirani, An Introduction to the Bootstrap, 1993, table 2.1
// (the treated mice). The exact standard errors are computed: that of the mean is
// √(Σ(x−x̄)²)/n, that of the median comes from all 7⁷ resamples.
func TestBootstrapOfTheMice(t *testing.T) {
	mice := []float64{94, 197, 16, 38, 99, 141, 23}
	mean, ok := Mean(mice)
	if !ok {
		t.Fatal("no mean")
	}
	near(t, "mean", mean, 86.857, 0.0005)
	for _, c := range []struct {
		name      string
		statistic func([]float64) (float64, bool)
		exact     float64
	}{{"mean", Mean, 23.3635}, {"median", middle, 37.8347}} {
		near(t, "exact error of the "+c.name, exactBootstrap(mice, c.statistic), c.exact, 5e-5)
		const resamples = 20000
		got, ok := Bootstrap(mice, c.statistic, resamples, 1, 0.9)
		if !ok {
			t.Fatal("no answer")
		}
		// The relative error of a standard deviation from B draws is about
		// √((κ−1)/4B), κ the kurtosis, here below 4; four of those.
		near(t, "error of the "+c.name, got.StandardError, c.exact, 4*c.exact*math.Sqrt(3.0/4/resamples))
		again, _ := Bootstrap(mice, c.statistic, resamples, 1, 0.9)
		if got != again {
			t.Errorf("the same seed gives %+v and %+v", got, again)
		}
		if other, _ := Bootstrap(mice, c.statistic, resamples, 2, 0.9); other == got {
			t.Error("another seed gives the same")
		}
		if !got.Interval.Contains(got.Value) || got.Interval.Low < 16 || got.Interval.High > 197 {
			t.Errorf("interval %+v of %v", got.Interval, got.Value)
		}
	}
}

// middle is the median of seven without a copy, which the walk over all
// resamples has no time for.
func middle(v []float64) (float64, bool) {
	var a [7]float64
	copy(a[:], v)
	for i := 1; i < len(a); i++ {
		for j := i; j > 0 && a[j] < a[j-1]; j-- {
			a[j], a[j-1] = a[j-1], a[j]
		}
	}
	return a[3], true
}

// One draw sequence written down, so that a platform or a Go version that draws
// otherwise is noticed. Produced by this program; PCG and IntN are stable by the
// promise of math/rand/v2.
func TestBootstrapDrawsAreStable(t *testing.T) {
	var draws []float64
	_, ok := Bootstrap([]float64{0, 1, 2, 3, 4}, func(v []float64) (float64, bool) {
		draws = append(draws, v...)
		return v[0], true
	}, 3, 42, 0.5)
	if !ok {
		t.Fatal("no answer")
	}
	if want := []float64{4, 4, 0, 0, 0, 4, 4, 1, 3, 4, 2, 3, 1, 1, 3}; !slices.Equal(draws[5:], want) {
		t.Errorf("draws %v, want %v", draws[5:], want)
	}
}

func TestBootstrapRefuses(t *testing.T) {
	no := func([]float64) (float64, bool) { return 0, false }
	for name, ok := range map[string]bool{
		"nothing":           answered(Bootstrap(nil, Mean, 10, 1, 0.9)),
		"NaN":               answered(Bootstrap([]float64{1, math.NaN()}, Mean, 10, 1, 0.9)),
		"one resample":      answered(Bootstrap([]float64{1, 2}, Mean, 1, 1, 0.9)),
		"certainty":         answered(Bootstrap([]float64{1, 2}, Mean, 10, 1, 1)),
		"statistic says no": answered(Bootstrap([]float64{1, 2}, no, 10, 1, 0.9)),
	} {
		if ok {
			t.Errorf("%s was answered", name)
		}
	}
}

func answered(_ Resampled, ok bool) bool { return ok }
