package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestMedianAndMAD(t *testing.T) {
	values := []float64{1, 1, 2, 2, 4, 6, 9}
	if m, ok := Median(values); !ok || m != 2 {
		t.Errorf("median %v, %v", m, ok)
	}
	if m, ok := MAD(values); !ok || m != 1 {
		t.Errorf("MAD %v, %v", m, ok)
	}
	if m, ok := Median([]float64{4, 1, 3, 2}); !ok || m != 2.5 {
		t.Errorf("median of four %v, %v", m, ok)
	}
	for _, bad := range [][]float64{nil, {1, math.NaN()}, {math.Inf(-1), 0}} {
		if _, ok := Median(bad); ok {
			t.Errorf("Median(%v) answered", bad)
		}
		if _, ok := MAD(bad); ok {
			t.Errorf("MAD(%v) answered", bad)
		}
		if _, ok := Mean(bad); ok {
			t.Errorf("Mean(%v) answered", bad)
		}
	}
	if m, ok := Mean([]float64{math.MaxFloat64, math.MaxFloat64}); !ok || m != math.MaxFloat64 {
		t.Errorf("mean of the largest %v, %v", m, ok)
	}
}

// The score and its bound of 3.5: Iglewicz & Hoaglin; NIST/SEMATECH e-Handbook,
// section 1.3.5.17 (from memory).
func TestModifiedZ(t *testing.T) {
	usual := []float64{10, 12, 11, 13, 9} // median 11, MAD 1
	score, ok := ModifiedZ(17, usual, 0)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "score", score, 0.6745*6, 1e-12)
	score, _ = ModifiedZ(5, usual, 0)
	near(t, "score below", score, -0.6745*6, 1e-12)
	score, _ = ModifiedZ(17, usual, 3)
	near(t, "score with a floor above the spread", score, 0.6745*2, 1e-12)

	equal := []float64{100, 100, 100, 100}
	if score, ok := ModifiedZ(100, equal, 0); !ok || score != 0 {
		t.Errorf("as always: %v, %v", score, ok)
	}
	if score, ok := ModifiedZ(101, equal, 0); ok {
		t.Errorf("no spread and no floor, but a score: %v", score)
	}
	score, ok = ModifiedZ(110, equal, 5)
	if !ok {
		t.Fatal("no answer")
	}
	near(t, "score by the floor", score, 0.6745*2, 1e-12)
	for _, c := range []struct{ x, floor float64 }{{math.NaN(), 1}, {math.Inf(1), 1}, {1, math.NaN()}, {1, -1}} {
		if score, ok := ModifiedZ(c.x, usual, c.floor); ok {
			t.Errorf("ModifiedZ(%v, …, %v) = %v", c.x, c.floor, score)
		}
	}
	if _, ok := ModifiedZ(1, nil, 1); ok {
		t.Error("a score beside nothing")
	}
}

// Robust means: less than half of the values, however wild, cannot carry the
// median or the MAD outside what the others allow.
func TestMedianIgnoresAFewWildValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tame := rapid.SliceOfN(rapid.Float64Range(-1, 1), 3, 20).Draw(t, "tame")
		wild := rapid.SliceOfN(rapid.Float64Range(-1e12, 1e12), 0, len(tame)-1).Draw(t, "wild")
		all := append(append([]float64{}, wild...), tame...)
		m, ok := Median(all)
		if !ok || m < -1 || m > 1 {
			t.Fatalf("median %v, %v", m, ok)
		}
		if d, ok := MAD(all); !ok || d > 2 {
			t.Fatalf("MAD %v, %v", d, ok)
		}
	})
}
