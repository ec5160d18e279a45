package estimate

import (
	"math"
	"math/rand/v2"
	"slices"

	"tidemark/report/engine"
)

// Survival is how long stored bytes live: the share that is still there at an
// age in days, by the product-limit estimate of Kaplan and Meier (JASA 53, 1958,
// 457–481), weighted by stored bytes.
//
// A life begins with the night in which a chunk was new and ends with the first
// snapshot without it. What is still there is censored at its age. What came
// with the baseline, or because the scope grew, is left out: its age is not
// known (left truncation). What goes and comes back lives on in between, which
// errs on the long side.
type Survival struct {
	// Share[a] is still there at age a, Share[0] = 1. Its last index is the
	// longest age seen: nothing is known beyond it.
	Share []float64
}

// Longest is the longest age seen, days.
func (s *Survival) Longest() int { return len(s.Share) - 1 }

// At is the share still there at an age of days; known is false, and the share
// that of the longest age seen, where the age is beyond it.
func (s *Survival) At(age int) (share float64, known bool) {
	if age <= s.Longest() {
		return s.Share[age], true
	}
	return s.Share[s.Longest()], false
}

// life is a group of bytes with one age at its end.
type life struct {
	age     int
	died    bool // else censored
	source  int
	bytes   float64
	sources float64 // distinct files behind it
}

// lives gathers the spans whose birth was seen. days are the snapshots' day numbers.
func lives(spans []Span, days []int, p *engine.Profile) []life {
	type key struct {
		age    int
		died   bool
		source int
	}
	found := map[key]*life{}
	var out []*life
	last := len(days)
	for i := range spans {
		s := &spans[i]
		if s.FirstSeen || s.born() <= 1 || s.born() > last {
			continue
		}
		k := key{age: days[last-1] - days[s.born()-1], source: s.Source}
		if s.gone() <= last {
			k.age, k.died = days[s.gone()-1]-days[s.born()-1], true
		}
		l := found[k]
		if l == nil {
			l = &life{age: k.age, died: k.died, source: k.source}
			found[k] = l
			out = append(out, l)
		}
		l.bytes += float64(s.Stored(p))
		l.sources += float64(s.files())
	}
	sorted := make([]life, len(out))
	for i, l := range out {
		sorted[i] = *l
	}
	slices.SortFunc(sorted, func(a, b life) int {
		if a.source != b.source {
			return a.source - b.source
		}
		if a.age != b.age {
			return a.age - b.age
		}
		if a.died == b.died {
			return 0
		}
		if a.died {
			return -1
		}
		return 1
	})
	return sorted
}

// survival is the estimate itself. longest is the longest age seen.
func survival(lives []life, longest int) Survival {
	died := make([]float64, longest+1)
	left := make([]float64, longest+1) // bytes whose life or watch ends at this age
	for _, l := range lives {
		left[l.age] += l.bytes
		if l.died {
			died[l.age] += l.bytes
		}
	}
	var risk float64
	for _, bytes := range left {
		risk += bytes
	}
	share := make([]float64, longest+1)
	now := 1.0
	for age := range share {
		// Ages are whole days: bytes censored at this age were seen alive at it,
		// so they are still at risk.
		if died[age] > 0 {
			now *= max(0, 1-died[age]/risk)
		}
		risk -= left[age]
		share[age] = now
	}
	return Survival{Share: share}
}

// longestAge is the oldest that anything whose birth was seen could be.
func longestAge(lives []life) int {
	longest := 0
	for _, l := range lives {
		longest = max(longest, l.age)
	}
	return longest
}

// resampled draws the files behind the lives anew, as many as there were: each
// large file, and each of the small ones together, comes Poisson(1) times (the
// limit of drawing with replacement). Chunks that came with one file keep together.
func resampled(lives []life, rng *rand.Rand, out []life) []life {
	out = out[:0]
	for i := 0; i < len(lives); {
		source := lives[i].source
		weight := 1.0
		if source != 0 {
			weight = poisson(rng, 1)
		}
		for ; i < len(lives) && lives[i].source == source; i++ {
			l := lives[i]
			if source == 0 {
				weight = poisson(rng, l.sources) / l.sources
			}
			l.bytes *= weight
			out = append(out, l)
		}
	}
	return out
}

// poisson draws a Poisson number, by Knuth's product for a small mean and by
// the normal law for a large one.
func poisson(rng *rand.Rand, mean float64) float64 {
	if mean > 30 {
		return max(0, math.Round(mean+math.Sqrt(mean)*rng.NormFloat64()))
	}
	limit, product := math.Exp(-mean), rng.Float64()
	n := 0.0
	for product > limit {
		n++
		product *= rng.Float64()
	}
	return n
}
