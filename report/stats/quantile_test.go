package stats

import (
	"math"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2, the
// 12 gauge measurements and their 90th percentile.
func TestPercentileOfTheHandbook(t *testing.T) {
	gauge := []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}
	got, ok := Percentile(gauge, 0.9)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "90th percentile", got, 95.19807, 1e-9)
}

func TestPercentile(t *testing.T) {
	y := []float64{40, 10, 30, 20}
	for p, want := range map[float64]float64{0: 10, 0.1: 10, 0.2: 10, 0.3: 15, 0.5: 25, 0.6: 30, 0.8: 40, 0.99: 40, 1: 40} {
		got, ok := Percentile(y, p)
		if !ok {
			t.Fatalf("p = %v: no answer", p)
		}
		near(t, "percentile", got, want, 1e-12)
	}
	if !slices.Equal(y, []float64{40, 10, 30, 20}) {
		t.Error("the input was reordered")
	}
	if got, ok := Percentile([]float64{-math.MaxFloat64, math.MaxFloat64}, 0.5); !ok || got != 0 {
		t.Errorf("between the extremes: %v, %v", got, ok)
	}
	for _, bad := range [][]float64{nil, {1, math.NaN()}, {math.Inf(1)}} {
		if got, ok := Percentile(bad, 0.5); ok {
			t.Errorf("Percentile(%v) = %v", bad, got)
		}
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if got, ok := Percentile(y, p); ok {
			t.Errorf("Percentile(…, %v) = %v", p, got)
		}
	}
}

// Computed from the binomial sum: (2¹⁰ − 2·(1+10))/2¹⁰.
func TestCoverageOfTheMedian(t *testing.T) {
	got, ok := OrderStatisticCoverage(10, 2, 9, 0.5)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "coverage", got, 0.978516, 5e-7)
	interval, ok := QuantileInterval([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, 0.5, 0.95)
	if !ok || interval.Low != 2 || interval.High != 9 || math.Abs(interval.Confidence-0.978516) > 5e-7 {
		t.Errorf("95 %% interval of the median of ten: %+v, %v", interval, ok)
	}
}

// slowCoverage walks all 2ⁿ ways in which n draws can fall below the quantile or not.
func slowCoverage(n, i, j int, p float64) float64 {
	sum := 0.0
	for mask := range uint(1) << n {
		below := bits.OnesCount(mask)
		if i <= below && below < j {
			sum += math.Pow(p, float64(below)) * math.Pow(1-p, float64(n-below))
		}
	}
	return sum
}

func TestCoverageEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "n")
		i := rapid.IntRange(1, n-1).Draw(t, "i")
		j := rapid.IntRange(i+1, n).Draw(t, "j")
		p := rapid.Float64Range(0.001, 0.999).Draw(t, "p")
		got, ok := OrderStatisticCoverage(n, i, j, p)
		if want := slowCoverage(n, i, j, p); !ok || math.Abs(got-want) > 1e-12 {
			t.Fatalf("coverage %v, %v; enumeration says %v", got, ok, want)
		}
	})
}

func TestQuantileIntervalIsTheShortest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		p := rapid.Float64Range(0.01, 0.99).Draw(t, "p")
		confidence := rapid.Float64Range(0.05, 0.99).Draw(t, "confidence")
		values := make([]float64, n)
		for i := range values {
			values[i] = float64(i + 1)
		}
		width, best := 0, 0.0
		for i := 1; i <= n; i++ {
			for j := i + 1; j <= n; j++ {
				coverage := slowCoverage(n, i, j, p)
				if coverage >= confidence && (width == 0 || j-i < width || j-i == width && coverage > best) {
					width, best = j-i, coverage
				}
			}
		}
		got, ok := QuantileInterval(values, p, confidence)
		if ok != (width > 0) {
			t.Fatalf("%+v, %v; the slow search has width %d", got, ok, width)
		}
		if ok && (got.High-got.Low != float64(width) || math.Abs(got.Confidence-best) > 1e-9) {
			t.Fatalf("%+v; the slow search has width %d, coverage %v", got, width, best)
		}
		if needs := QuantileIntervalNeeds(p, confidence); ok != (needs <= n) {
			t.Fatalf("%d values answer: %v, but %d are said to be needed", n, ok, needs)
		}
	})
}

func TestQuantileIntervalRefuses(t *testing.T) {
	for _, values := range [][]float64{nil, {1}, {1, 2, math.NaN()}} {
		if got, ok := QuantileInterval(values, 0.5, 0.1); ok {
			t.Errorf("QuantileInterval(%v) = %+v", values, got)
		}
	}
	if _, ok := QuantileInterval([]float64{1, 2, 3}, 0.5, 1); ok {
		t.Error("certainty was promised")
	}
	for _, bad := range []float64{0, 1, -1, 2, math.NaN()} {
		if QuantileIntervalNeeds(bad, 0.9) != 0 || QuantileIntervalNeeds(0.5, bad) != 0 {
			t.Errorf("%v was taken for a probability", bad)
		}
	}
	if _, ok := OrderStatisticCoverage(10, 3, 3, 0.5); ok {
		t.Error("an empty interval has a coverage")
	}
}
