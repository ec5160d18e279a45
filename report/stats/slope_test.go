package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Source: Sen, J. Amer. Statist. Assoc. 63 (1968), the worked example: slope 4,
// interval (26/7, 35/8), which are the 4th and the 18th of 21 slopes. He calls
// that a 93 % interval. Counted over all 5040 orders of the errors it covers
// 1 − 2·76/5040 = 96.98 % (76 orders have fewer than 4 inversions), and 93.1 %
// belong to the 5th and the 17th; so a request for 93 % gives those, as in
// Hollander & Wolfe, Nonparametric Statistical Methods (from memory).
func TestTheilSenOfSen(t *testing.T) {
	x := []float64{1, 2, 3, 4, 10, 12, 18}
	y := []float64{9, 15, 19, 20, 45, 55, 78}
	slope, ok := TheilSen(x, y, 0.95)
	if !ok || !slope.Exact || slope.Points != 7 {
		t.Fatalf("%+v, %v", slope, ok)
	}
	near(t, "slope", slope.PerX, 4, 1e-12)
	near(t, "low", slope.Interval.Low, 26.0/7, 1e-12)
	near(t, "high", slope.Interval.High, 35.0/8, 1e-12)
	near(t, "confidence", slope.Interval.Confidence, 1-2*76.0/5040, 1e-12)
	near(t, "line", slope.At(0), slope.Intercept, 0)

	slope, ok = TheilSen(x, y, 0.93)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "low", slope.Interval.Low, 15.0/4, 1e-12)
	near(t, "high", slope.Interval.High, 46.0/11, 1e-12)
	near(t, "confidence", slope.Interval.Confidence, 0.93095, 5e-6)
}

// permutations calls f with every order of values.
func permutations(values []float64, f func([]float64)) {
	if len(values) < 2 {
		f(values)
		return
	}
	var walk func(int)
	walk = func(k int) {
		if k == len(values) {
			f(values)
			return
		}
		for i := k; i < len(values); i++ {
			values[k], values[i] = values[i], values[k]
			walk(k + 1)
			values[k], values[i] = values[i], values[k]
		}
	}
	walk(0)
}

// With exchangeable errors every order of them is as likely; counted over all
// orders, the interval covers the true slope just as often as it says.
func TestTheilSenCoversByEnumeration(t *testing.T) {
	for n := 4; n <= 7; n++ {
		for _, confidence := range []float64{0.5, 0.8, 0.9, 0.95} {
			errors := []float64{0.13, 7.9, -3.1, 1.7, 0.55, -11.2, 4.06}[:n]
			x := []float64{0, 1.1, 2.7, 3.2, 9.9, 12.4, 20}[:n]
			covered, all, claimed := 0, 0, -1.0
			permutations(errors, func(e []float64) {
				y := make([]float64, n)
				for i := range y {
					y[i] = 2.5*x[i] + e[i]
				}
				slope, ok := TheilSen(x, y, confidence)
				if !ok {
					return
				}
				all++
				claimed = slope.Interval.Confidence
				if slope.Interval.Contains(2.5) {
					covered++
				}
			})
			if all == 0 {
				if r, _ := exactRank(n, confidence); r != 0 {
					t.Errorf("n = %d, %v: refused though rank %d serves", n, confidence, r)
				}
				continue
			}
			if claimed < confidence {
				t.Errorf("n = %d: %v was asked, %v is claimed", n, confidence, claimed)
			}
			near(t, "coverage", float64(covered)/float64(all), claimed, 1e-9)
		}
	}
}

func TestTheilSenIsTheMedianOfSlopes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(6, 30).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(rapid.IntRange(0, 40).Draw(t, "x"))
			y[i] = float64(rapid.IntRange(-50, 50).Draw(t, "y"))
		}
		x[0], x[1] = -1, 41 // never all the same
		slope, ok := TheilSen(x, y, 0.5)
		if !ok {
			return // few different x among ties: refused
		}
		steeper, flatter, inside, pairs := 0, 0, 0, 0
		for i := range x {
			for j := range i {
				if x[i] == x[j] {
					continue
				}
				pairs++
				s := (y[i] - y[j]) / (x[i] - x[j])
				if s > slope.PerX {
					steeper++
				} else if s < slope.PerX {
					flatter++
				}
				if slope.Interval.Contains(s) {
					inside++
				}
			}
		}
		if 2*steeper > pairs || 2*flatter > pairs {
			t.Fatalf("of %d pairs %d are steeper and %d flatter than %v", pairs, steeper, flatter, slope.PerX)
		}
		if !slope.Interval.Contains(slope.PerX) || inside == 0 {
			t.Fatalf("%+v does not hold its own slope", slope)
		}
	})
}

// Both ways to the rank must nearly agree where both can be had.
func TestRanksAgree(t *testing.T) {
	for n := 10; n <= 60; n += 5 {
		for _, confidence := range []float64{0.8, 0.9, 0.95, 0.99} {
			exact, _ := exactRank(n, confidence)
			normal, _ := normalRank(n, n*(n-1)/2, nil, nil, confidence)
			if d := exact - normal; d < -1 || d > 2 {
				t.Errorf("n = %d, %v: exact rank %d, normal %d", n, confidence, exact, normal)
			}
		}
	}
}

func TestTheilSenRefuses(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		x, y       []float64
		confidence float64
	}{
		"nothing":         {nil, nil, 0.9},
		"one point":       {[]float64{1}, []float64{1}, 0.1},
		"one x":           {[]float64{1, 1, 1}, []float64{1, 2, 3}, 0.1},
		"other lengths":   {[]float64{1, 2}, []float64{1}, 0.1},
		"NaN":             {[]float64{1, 2, 3}, []float64{1, nan, 3}, 0.1},
		"three for 0.9":   {[]float64{1, 2, 3}, []float64{1, 2, 3.5}, 0.9},
		"certainty":       {[]float64{1, 2, 3, 4}, []float64{1, 2, 3.5, 4}, 1},
		"NaN confidence":  {[]float64{1, 2, 3, 4}, []float64{1, 2, 3.5, 4}, nan},
		"slopes overflow": {[]float64{0, 5e-324, 1}, []float64{0, 1e300, 2}, 0.1},
	} {
		if got, ok := TheilSen(c.x, c.y, c.confidence); ok {
			t.Errorf("%s: %+v", name, got)
		}
	}
	for n, confidence := range map[int]float64{4: 0.9, 5: 0.95} {
		x := []float64{1, 2, 3, 4, 5}[:n]
		if _, ok := TheilSen(x, []float64{1, 2, 4, 8, 16}[:n], confidence); !ok {
			t.Errorf("%d points do not answer at %v, as documented", n, confidence)
		}
	}
}
