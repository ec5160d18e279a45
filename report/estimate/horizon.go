package estimate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"tidemark/report/engine"
)

// Point is the stored size under the retention on one date, bytes.
type Point struct {
	Date      time.Time
	Low, High int64  // the 80 % interval; under Scenario from "all die then" to "none dies"
	Mid       *int64 // median; nil where the scenarios differ by more than scenarioShare of it
	// Scenario: some of what is stored has to outlive the longest age seen to be
	// there. Low supposes that all of it dies at that age, High that none does.
	Scenario bool
}

// scenarioShare: scenarios that differ by less do not take the median away.
const scenarioShare = 0.05

// replicates of every bootstrap.
const replicates = 200

// growth is the model of the stored size beyond the measured nights.
//
// The union of kept snapshots k₀ < k₁ < … is what was there at k₀, and of each
// night's new bytes after it the part that lives until the next kept snapshot:
//
//	stored(T) = live(k₀) + Σ new(b) · S(next(b) − b)   over nights b > k₀
//
// Where kept snapshots were measured, their union is exact and the sum begins
// after the last of them; new bytes that are still there then have lived for a
// while already, so they count with S(next − b)/S(now − b). Where k₀ lies ahead,
// live(k₀) is the newest measured size plus the nights' net growth.
type growth struct {
	spans   []Span
	profile *engine.Profile
	days    []int // day number of each snapshot
	live    []int64
	young   []float64 // stored bytes born in each snapshot and still there; baseline and first seen in old
	old     []float64 // the same for bytes whose age is not known
	lives   []life
	share   Survival
	files   float64  // that a night's new bytes come from: how many equal ones would tell as much
	sampler *sampler // nil: no ordinary night; values are new and net bytes
}

// newGrowth takes spans over the snapshots taken on these days.
func newGrowth(spans []Span, days []int, p *engine.Profile) *growth {
	g := &growth{spans: spans, profile: p, days: days}
	n := len(days)
	g.live = liveBytes(spans, n, p)
	g.young, g.old = make([]float64, n), make([]float64, n)
	born, joined := make([]float64, n), make([]float64, n)
	for i := range spans {
		s := &spans[i]
		at, bytes := s.born()-1, float64(s.Stored(p))
		if at < 0 || at >= n {
			continue
		}
		known := !s.FirstSeen && at > 0
		if s.gone() > n {
			if known {
				g.young[at] += bytes
			} else {
				g.old[at] += bytes
			}
		}
		if known {
			born[at] += bytes
		} else {
			joined[at] += bytes
		}
	}
	g.lives = lives(spans, days, p)
	g.share = survival(g.lives, longestAge(g.lives))
	g.files = filesOfNight(spans, n, p)

	var steps []step
	for i := 1; i < n; i++ {
		value := []float64{born[i], float64(g.live[i]-g.live[i-1]) - joined[i]}
		switch days[i] - days[i-1] {
		case 0: // a second scan on one date belongs to that night
			if len(steps) > 0 && steps[len(steps)-1].day == days[i] {
				last := steps[len(steps)-1].value
				last[0] += value[0]
				last[1] += value[1]
			}
		case 1:
			steps = append(steps, step{days[i], Class(dateOfNumber(days[i]).utc()), value})
		}
	}
	if len(steps) > 0 {
		g.sampler = newSampler(steps)
	}
	return g
}

// filesOfNight is the effective number of files behind one night's new bytes,
// (Σw)²/Σw² (Kish, Survey Sampling, 1965), the median over the nights; at least 1.
func filesOfNight(spans []Span, last int, p *engine.Profile) float64 {
	type part struct{ night, source int }
	large := map[part]float64{}
	sum, squares := make([]float64, last+1), make([]float64, last+1)
	for i := range spans {
		s := &spans[i]
		if s.FirstSeen || s.born() <= 1 || s.born() > last {
			continue
		}
		bytes := float64(s.Stored(p))
		sum[s.born()] += bytes
		if s.Source == 0 {
			squares[s.born()] += bytes * bytes / float64(s.files())
		} else {
			large[part{s.born(), s.Source}] += bytes
		}
	}
	for at, bytes := range large {
		squares[at.night] += bytes * bytes
	}
	var files []float64
	for n := range sum {
		if squares[n] > 0 {
			files = append(files, sum[n]*sum[n]/squares[n])
		}
	}
	if len(files) == 0 {
		return 1
	}
	slices.Sort(files)
	return max(1, quantile(files, 0.5))
}

// target is one date of a forecast, prepared for all replicates.
type target struct {
	day    int
	exact  float64 // union of the kept measured snapshots
	ahead  int     // nights from now to k₀ where that lies ahead, else 0
	after  int     // the first future night that counts, 0: the next one
	gaps   []int   // for each future night from after on: days to the next kept snapshot
	recent []recent
	beyond bool
}

// recent is measured new bytes still there that no kept measured snapshot holds.
type recent struct {
	snapshot  int // index
	bytes     float64
	age, then int // age now, and age at the next kept snapshot; age −1: not known
}

// prepare finds what policy keeps on a future day, if there is a snapshot every night until then.
func (g *growth) prepare(policy Policy, day int, unions map[string]float64) target {
	n, now := len(g.days), g.days[len(g.days)-1]
	days := slices.Clone(g.days)
	for d := now + 1; d <= day; d++ {
		days = append(days, d)
	}
	t := target{day: day}
	keptAt := policy.kept(days)
	measured, _ := slices.BinarySearch(keptAt, n)
	numbers := make([]int, measured)
	for i := range numbers {
		numbers[i] = keptAt[i] + 1
	}
	future := keptAt[measured:]

	if measured > 0 {
		key := fmt.Sprint(numbers)
		union, known := unions[key]
		if !known {
			union = float64(StoredBytes(g.spans, numbers, g.profile))
			unions[key] = union
		}
		t.exact = union
		if len(future) > 0 {
			for i := numbers[measured-1]; i < n; i++ {
				then := days[future[0]] - g.days[i]
				if g.young[i] > 0 {
					t.recent = append(t.recent, recent{i, g.young[i], now - g.days[i], then})
					t.beyond = t.beyond || then > g.share.Longest()
				}
				if g.old[i] > 0 {
					t.recent = append(t.recent, recent{i, g.old[i], -1, then})
					t.beyond = true
				}
			}
		}
	} else {
		t.ahead = days[future[0]] - now
		t.after = t.ahead
	}
	k := 0
	for at := n + t.after; at < len(days); at++ {
		for future[k] < at {
			k++
		}
		gap := days[future[k]] - days[at]
		t.gaps = append(t.gaps, gap)
		t.beyond = t.beyond || gap > g.share.Longest()
	}
	return t
}

// futures is the stored size on each target day in each replicate.
type futures struct {
	share     float64 // of the replicates that makes an interval, see sampler.share
	targets   []target
	die, live [][]float64 // [target][replicate]: all die, none dies beyond the longest age seen
	medians   []float64   // of targets, once asked for
	uploads   [][]float64 // [target][replicate]: new stored bytes from now to the target
	newest    [][]float64 // [target][replicate]: the newest snapshot alone
}

// forecast draws the stored size on these future days (ascending, all after
// the last snapshot's). It needs a sampler.
func (g *growth) forecast(policy Policy, at []int, seed uint64) *futures {
	f := &futures{share: g.sampler.share()}
	unions := map[string]float64{}
	for _, day := range at {
		f.targets = append(f.targets, g.prepare(policy, day, unions))
		f.die = append(f.die, make([]float64, replicates))
		f.live = append(f.live, make([]float64, replicates))
		f.uploads = append(f.uploads, make([]float64, replicates))
		f.newest = append(f.newest, make([]float64, replicates))
	}
	if len(at) == 0 {
		return f
	}
	now := g.days[len(g.days)-1]
	nights := at[len(at)-1] - now
	rng := newRand(seed, "growth")
	born := make([]float64, nights)
	net := make([]float64, nights+1) // net growth up to and including night k, at k+1
	sent := make([]float64, nights+1)
	start := float64(g.live[len(g.live)-1])
	drawn := make([]life, 0, len(g.lives))
	classes := g.sampler.ahead(now+1, nights)
	// A night's bytes live and die by the file, so the share of one night that
	// lives on strays around the survival as that of so many files would: by a
	// normal deviate of its own, the same for every target.
	stray := make([]float64, nights+len(g.days))
	spread := make([]float64, g.share.Longest()+1)
	for r := range replicates {
		pool := g.sampler.resample(rng)
		g.sampler.draw(pool, rng, now+1, classes, func(k int, value []float64) {
			born[k] = max(0, value[0])
			net[k+1] = net[k] + value[1]
			sent[k+1] = sent[k] + born[k]
		})
		drawn = resampled(g.lives, rng, drawn)
		share := survival(drawn, g.share.Longest())
		for k := range stray {
			stray[k] = rng.NormFloat64()
		}
		for age, s := range share.Share {
			spread[age] = g.spread(s)
		}
		for i := range f.targets {
			t := &f.targets[i]
			sure, open := t.exact, 0.0
			if t.ahead > 0 {
				sure = max(0, start+net[t.ahead])
			}
			for _, old := range t.recent {
				part, known := g.survives(&share, old)
				part = min(1, max(0, part+stray[nights+old.snapshot]*g.spread(part)))
				if known {
					sure += old.bytes * part
				} else {
					open += old.bytes * part
				}
			}
			longest := share.Longest()
			for k, gap := range t.gaps {
				if gap <= longest {
					part := share.Share[gap] + stray[t.after+k]*spread[gap]
					sure += born[t.after+k] * min(1, max(0, part))
				} else {
					open += born[t.after+k] * share.Share[longest]
				}
			}
			f.die[i][r], f.live[i][r] = sure, sure+open
			f.uploads[i][r] = sent[t.day-now]
			f.newest[i][r] = max(0, start+net[t.day-now])
		}
	}
	return f
}

// spread is the standard deviation of a night's share that lives on.
func (g *growth) spread(share float64) float64 {
	return math.Sqrt(share * (1 - share) / g.files)
}

// survives is the share of bytes of a known age that is still there at the next
// kept snapshot; bytes of unknown age are a scenario as a whole.
func (g *growth) survives(share *Survival, old recent) (part float64, known bool) {
	if old.age < 0 {
		return 1, false
	}
	then, known := share.At(old.then)
	now, _ := share.At(old.age)
	if now <= 0 {
		// This draw left the files out that are known to live.
		then, _ = g.share.At(old.then)
		now, _ = g.share.At(old.age)
	}
	if now <= 0 {
		return 1, false
	}
	return min(1, then/now), known
}

// point sums the replicates of a target up.
func (f *futures) point(i int) Point {
	die, live := slices.Clone(f.die[i]), slices.Clone(f.live[i])
	slices.Sort(die)
	slices.Sort(live)
	p := Point{
		Date:     dateOfNumber(f.targets[i].day).utc(),
		Low:      int64(math.Round(quantile(die, (1-f.share)/2))),
		High:     int64(math.Round(quantile(live, (1+f.share)/2))),
		Scenario: f.targets[i].beyond,
	}
	if low, high := quantile(die, 0.5), quantile(live, 0.5); high-low <= scenarioShare*high {
		mid := int64(math.Round((low + high) / 2))
		p.Mid = &mid
	}
	return p
}

// cap holds every future below what the kept versions may take: the oldest go
// first, and the newest version stays whatever it takes.
func (f *futures) cap(most float64) {
	for i := range f.targets {
		for r := range f.die[i] {
			limit := max(most, f.newest[i][r])
			f.die[i][r] = min(f.die[i][r], limit)
			f.live[i][r] = min(f.live[i][r], limit)
		}
	}
}
