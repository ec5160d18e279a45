package estimate

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"tidemark/report/stats"
)

// Data and results: NIST/SEMATECH e-Handbook of Statistical Methods, §8.2.1.5,
// twenty units of which six failed, four were taken off, ten ran on at 200 hours.
func TestSurvivalTextbook(t *testing.T) {
	var units []life
	for _, age := range []int{10, 32, 56, 98, 122, 181} {
		units = append(units, life{age: age, died: true, bytes: 1})
	}
	for _, age := range []int{50, 100, 125, 150} {
		units = append(units, life{age: age, bytes: 1})
	}
	units = append(units, life{age: 200, bytes: 10})
	s := survival(units, longestAge(units))
	for age, want := range map[int]float64{0: 1, 9: 1, 10: .95, 31: .95, 32: .90, 56: .8471, 98: .7941, 122: .7374, 181: .6704, 200: .6704} {
		if got, known := s.At(age); math.Abs(got-want) > 5e-5 || !known {
			t.Errorf("at %d: %.4f (%v), want %.4f", age, got, known, want)
		}
	}
	if got, known := s.At(201); known || math.Abs(got-.6704) > 5e-5 {
		t.Errorf("beyond the longest age seen: %v, %v", got, known)
	}
}

// TestSurvivalAgainstStats: the day-by-day form here equals the general one.
func TestSurvivalAgainstStats(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var units []life
		var general []stats.Lifetime
		for range rapid.IntRange(1, 30).Draw(rt, "lives") {
			l := life{
				age: rapid.IntRange(1, 20).Draw(rt, "age"), died: rapid.Bool().Draw(rt, "died"),
				bytes: float64(rapid.IntRange(1, 9).Draw(rt, "bytes")),
			}
			units = append(units, l)
			general = append(general, stats.Lifetime{Exit: float64(l.age), Died: l.died, Weight: l.bytes})
		}
		s := survival(units, longestAge(units))
		want, err := stats.KaplanMeier(general)
		if err != nil {
			rt.Fatal(err)
		}
		for age := range s.Longest() + 1 {
			got, _ := s.At(age)
			if share, ok := want.At(float64(age)); !ok || math.Abs(got-share) > 1e-9 {
				rt.Fatalf("at %d: %v, want %v (%v)", age, got, share, ok)
			}
		}
	})
}

// What is known of each kind of life.
func TestLives(t *testing.T) {
	days := []int{100, 101, 102, 105, 106}
	spans := []Span{
		{Alive: stays(1, 3), Packed: 1},                             // baseline: left-truncated
		{Alive: stays(2, 6), Packed: 2, FirstSeen: true},            // scope grew: age not known
		{Alive: stays(2, 4), Packed: 4, Sources: 3},                 // born on 101, gone on 105
		{Alive: stays(3, 6), Packed: 8},                             // born on 102, still there on 106
		{Alive: stays(2, 3, 5, 6), Packed: 16, Source: 7},           // came back: lives on in between
		{Alive: stays(2, 3, 4, 5), Packed: 32, Source: 7},           // came back, then went on 106
		{Alive: stays(3, 6), Packed: 64, Sources: 2, References: 9}, // as the fourth
	}
	got := lives(spans, days, nil)
	want := []life{
		{age: 4, died: true, bytes: 4, sources: 3},
		{age: 4, bytes: 72, sources: 3},
		{age: 5, died: true, source: 7, bytes: 32, sources: 1},
		{age: 5, source: 7, bytes: 16, sources: 1},
	}
	if !slices.Equal(got, want) {
		t.Errorf("lives %+v\nwant %+v", got, want)
	}
	if got := lives(spans[:2], days, nil); len(got) != 0 {
		t.Errorf("of unknown age: %+v", got)
	}
	s := survival(nil, 0)
	if share, known := s.At(0); share != 1 || !known {
		t.Errorf("nothing seen: %v, %v", share, known)
	}
	if _, known := s.At(1); known {
		t.Error("nothing seen, and yet an age is known")
	}
}

// Chunks of one large file are drawn together; drawn weights have the mean 1 and
// the variance of drawing files with replacement.
func TestResampledByFile(t *testing.T) {
	in := []life{
		{age: 1, died: true, bytes: 10, sources: 50},
		{age: 3, bytes: 10, source: 4, sources: 1},
		{age: 2, bytes: 20, source: 4, sources: 1},
		{age: 2, bytes: 10, source: 9, sources: 1},
	}
	rng := rand.New(rand.NewPCG(1, 1))
	var out []life
	const n = 20_000
	sum, squares := make([]float64, len(in)), make([]float64, len(in))
	apart := 0
	for range n {
		out = resampled(in, rng, out)
		if out[2].bytes != 2*out[1].bytes {
			t.Fatal("two chunks of one file drawn apart")
		}
		if out[3].bytes != out[1].bytes {
			apart++
		}
		for i := range out {
			w := out[i].bytes / in[i].bytes
			sum[i] += w
			squares[i] += w * w
		}
	}
	if apart < n/4 {
		t.Errorf("two files were drawn alike too often: apart %d of %d", apart, n)
	}
	for i := range in {
		mean := sum[i] / n
		variance, want := squares[i]/n-mean*mean, 1/in[i].sources
		if math.Abs(mean-1) > 0.03 || math.Abs(variance-want) > 0.1*want {
			t.Errorf("%d: mean %v, variance %v, want 1 and %v", i, mean, variance, want)
		}
	}
}
