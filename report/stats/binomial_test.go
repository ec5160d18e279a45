package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestBinomialInterval(t *testing.T) {
	// From memory: the exact intervals that statistics programs print for these.
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{10, 20, 0.2719578, 0.7280422}, {7, 20, 0.1539092, 0.5921885}} {
		got, ok := BinomialInterval(c.k, c.n, 0.95)
		if !ok {
			t.Fatal("no answer")
		}
		near(t, "low", got.Low, c.low, 1e-6)
		near(t, "high", got.High, c.high, 1e-6)
	}
	// None or all of n has a closed form: (α/2)^(1/n).
	for _, n := range []int{1, 5, 200, 5000} {
		none, _ := BinomialInterval(0, n, 0.9)
		all, _ := BinomialInterval(n, n, 0.9)
		bound := math.Pow(0.05, 1/float64(n))
		near(t, "none: low", none.Low, 0, 0)
		near(t, "none: high", none.High, 1-bound, 1e-12)
		near(t, "all: low", all.Low, bound, 1e-12)
		near(t, "all: high", all.High, 1, 0)
	}
	for _, ok := range []bool{
		refused(BinomialInterval(0, 0, 0.9)), refused(BinomialInterval(-1, 5, 0.9)), refused(BinomialInterval(6, 5, 0.9)),
		refused(BinomialInterval(1, 5, 1)), refused(BinomialInterval(1, 5, math.NaN())),
	} {
		if ok {
			t.Error("an impossible count was answered")
		}
	}
}

func refused(_ Interval, ok bool) bool { return ok }

// Enumerated over every outcome, the interval covers at least as often as it says.
func TestBinomialIntervalCovers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 25).Draw(t, "n")
		p := rapid.Float64Range(0.001, 0.999).Draw(t, "p")
		confidence := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95, 0.99}).Draw(t, "confidence")
		covered, choose := 0.0, 1.0
		for k := range n + 1 {
			if interval, ok := BinomialInterval(k, n, confidence); !ok {
				t.Fatal("no answer")
			} else if interval.Contains(p) {
				covered += choose * math.Pow(p, float64(k)) * math.Pow(1-p, float64(n-k))
			}
			choose = choose * float64(n-k) / float64(k+1)
		}
		if covered < confidence-1e-9 {
			t.Fatalf("covers %v of %v", covered, confidence)
		}
	})
}
