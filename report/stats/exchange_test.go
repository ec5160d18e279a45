package stats

import (
	"math"
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

// Computed from n/(n+1) and n/(n+m).
func TestExchangeableNights(t *testing.T) {
	next, ok := NextWithin(5, 5)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "5 nights, the next", next, 0.83, 0.005)
	for _, c := range []struct {
		n, m int
		want float64
	}{{5, 30, 0.14}, {28, 30, 0.48}, {120, 30, 0.80}} {
		got, ok := AllWithinLargest(c.n, c.m)
		if !ok {
			t.Fatal("no answer")
		}
		near(t, "all of the next", got, c.want, 0.005)
	}
	if got := AllWithinLargestNeeds(30, 0.8); got != 120 {
		t.Errorf("nights needed for 30 at 0.8: %d, want 120", got)
	}
}

// Source: tables of Wilks' sample sizes; 29 and 59 for 95 % confidence, 299 for the .99 quantile.
func TestWilks(t *testing.T) {
	for _, c := range []struct {
		p, want float64
		n       int
	}{{0.9, 0.95290, 29}, {0.95, 0.95151, 59}} {
		got, ok := WilksConfidence(c.n, c.p)
		if !ok {
			t.Fatal("no answer")
		}
		near(t, "confidence", got, c.want, 5e-6)
	}
	for p, want := range map[float64]int{0.9: 29, 0.95: 59, 0.99: 299} {
		if got := WilksNeeds(p, 0.95); got != want {
			t.Errorf("WilksNeeds(%v, 0.95) = %d, want %d", p, got, want)
		}
	}
}

// slowSomeWithin looks at every way in which m coming values can lie among n
// measured ones: all are as likely.
func slowSomeWithin(n, k, m, j int) float64 {
	hits, all := 0, 0
	for mask := range uint(1) << (n + m) { // a set bit is a coming value, in rising order
		if bits.OnesCount(mask) != m {
			continue
		}
		all++
		measured, within := 0, 0
		for rank := 0; measured < k; rank++ {
			if mask>>rank&1 == 1 {
				within++
			} else {
				measured++
			}
		}
		if within >= j {
			hits++
		}
	}
	return float64(hits) / float64(all)
}

func TestSomeWithinEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "n")
		k := rapid.IntRange(1, n).Draw(t, "k")
		m := rapid.IntRange(1, 6).Draw(t, "m")
		j := rapid.IntRange(0, m).Draw(t, "j")
		got, ok := SomeWithin(n, k, m, j)
		if want := slowSomeWithin(n, k, m, j); !ok || math.Abs(got-want) > 1e-11 {
			t.Fatalf("SomeWithin(%d, %d, %d, %d) = %v, %v; enumeration says %v", n, k, m, j, got, ok, want)
		}
		next, _ := NextWithin(n, k)
		if one, _ := SomeWithin(n, k, 1, 1); math.Abs(one-next) > 1e-12 {
			t.Fatalf("one of one is %v, the next %v", one, next)
		}
		every, _ := AllWithinLargest(n, m)
		if some, _ := SomeWithin(n, n, m, m); math.Abs(some-every) > 1e-12 {
			t.Fatalf("%d of %d is %v, all %v", m, m, some, every)
		}
	})
}

func TestNightsNeededAreTheLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.01, 0.99).Draw(t, "p")
		confidence := rapid.Float64Range(0.01, 0.99).Draw(t, "confidence")
		m := rapid.IntRange(1, 50).Draw(t, "m")
		if n := WilksNeeds(p, confidence); n < 1 {
			t.Fatal("no answer")
		} else if c, _ := WilksConfidence(n, p); c < confidence {
			t.Fatalf("%d are not enough: %v", n, c)
		} else if c, ok := WilksConfidence(n-1, p); ok && c >= confidence {
			t.Fatalf("%d are enough already: %v", n-1, c)
		}
		if n := AllWithinLargestNeeds(m, confidence); n < 1 {
			t.Fatal("no answer")
		} else if c, _ := AllWithinLargest(n, m); c < confidence {
			t.Fatalf("%d are not enough: %v", n, c)
		} else if c, ok := AllWithinLargest(n-1, m); ok && c >= confidence {
			t.Fatalf("%d are enough already: %v", n-1, c)
		}
	})
}

func TestExchangeRefuses(t *testing.T) {
	nan := math.NaN()
	for name, ok := range map[string]bool{
		"none measured":   second(NextWithin(0, 0)),
		"beyond largest":  second(NextWithin(3, 4)),
		"none to come":    second(AllWithinLargest(3, 0)),
		"none at all":     second(AllWithinLargest(0, 3)),
		"more than come":  second(SomeWithin(3, 1, 2, 3)),
		"rank 0":          second(SomeWithin(3, 0, 2, 1)),
		"Wilks of none":   second(WilksConfidence(0, 0.5)),
		"Wilks of NaN":    second(WilksConfidence(5, nan)),
		"needs of NaN":    WilksNeeds(nan, 0.5) != 0 || WilksNeeds(0.5, nan) != 0 || AllWithinLargestNeeds(3, nan) != 0,
		"needs certainty": WilksNeeds(0.5, 1) != 0 || AllWithinLargestNeeds(3, 1) != 0 || AllWithinLargestNeeds(0, 0.5) != 0,
		"needs too many":  WilksNeeds(1-1e-9, 0.99) != 0 || AllWithinLargestNeeds(1<<30, 0.99) != 0,
	} {
		if ok {
			t.Errorf("%s was answered", name)
		}
	}
}

func second(_ float64, ok bool) bool { return ok }
