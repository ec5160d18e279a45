package estimate

import (
	"fmt"
	"math"
	"slices"

	"tidemark/report/engine"
	"tidemark/report/stats"
)

// Backtest hides the last nights, forecasts them from the ones before, and
// counts how often the truth lay inside the interval.
type Backtest struct {
	Hidden int // nights
	Scores []Score
	Why    string // why there are no scores
}

// Score of one question. Forecasts of sums look at stretches that do not
// overlap, so that the interval of Covered may treat them as independent.
type Score struct {
	Question     string // "next_night", "next_week", "stored_week", "stored_month"
	Nominal      float64
	Covered      Share
	Below, Above int // truth below and above the interval
}

// RunBacktest hides so many of the last nights; where hide is 0 half of them, or
// fewer, so that a forecast has its nights.
func RunBacktest(in *Input, needs *engine.Needs, hide int) *Backtest {
	loads := in.loads(needs)
	if hide <= 0 {
		for hide = len(loads) / 2; hide > 1 && len(loadSteps(loads[:len(loads)-hide])) < ForecastEnough; {
			hide--
		}
	}
	out := &Backtest{Hidden: hide}
	if hide > len(loads) || len(loads)-hide < ForecastEnough {
		out.Hidden = max(0, len(loads)-ForecastEnough)
		out.Why = fmt.Sprintf("hiding %s leaves %d of %d, and a forecast needs %d", nightsText(hide), max(0, len(loads)-hide), len(loads), ForecastEnough)
		return out
	}
	first := len(loads) - hide
	out.add("next_night", func(score func(truth, low, high float64)) { backtestNights(loads, first, score) })
	out.add("next_week", func(score func(truth, low, high float64)) { backtestWeeks(in, loads, first, score) })
	if len(in.Spans) > 0 {
		origin := in.snapshotOn(loads[first-1])
		out.add("stored_week", func(score func(truth, low, high float64)) { backtestStored(in, needs, origin, 7, score) })
		out.add("stored_month", func(score func(truth, low, high float64)) { backtestStored(in, needs, origin, 30, score) })
	}
	return out
}

func (b *Backtest) add(question string, run func(score func(truth, low, high float64))) {
	s := Score{Question: question, Nominal: Confidence}
	all := 0
	run(func(truth, low, high float64) {
		all++
		truth = math.Round(truth) // whole bytes: an interval without width must not miss by rounding
		switch {
		case truth < math.Round(low):
			s.Below++
		case truth > math.Round(high):
			s.Above++
		}
	})
	s.Covered = shareOf(all-s.Below-s.Above, all)
	b.Scores = append(b.Scores, s)
}

// NextNight is the distribution-free interval of what the next night of a class
// has to send: between two of the n measured ones, r-th and s-th smallest, with
// probability (s−r)/(n+1) at least Confidence. Nights of the same class where
// they are enough, all nights otherwise. ok is false where neither are.
func NextNight(nights []Load, class string) (low, high, coverage float64, ok bool) {
	var same, all []float64
	for i := range nights {
		if nights[i].Spanned > 1 {
			continue
		}
		all = append(all, nights[i].Bytes)
		if Class(nights[i].Night) == class {
			same = append(same, nights[i].Bytes)
		}
	}
	for _, values := range [][]float64{same, all} {
		slices.Sort(values)
		n := len(values)
		// The narrowest symmetric pair that still covers: r-th smallest to r-th largest.
		for r := (n + 1) / 2; r >= 1; r-- {
			up, _ := stats.NextWithin(n, n+1-r)
			down, _ := stats.NextWithin(n, r)
			if up-down >= Confidence-1e-12 {
				return values[r-1], values[n-r], up - down, true
			}
		}
	}
	return 0, 0, 0, false
}

func backtestNights(loads []Load, first int, score func(truth, low, high float64)) {
	for i := first; i < len(loads); i++ {
		if loads[i].Spanned > 1 {
			continue
		}
		if low, high, _, ok := NextNight(loads[:i], Class(loads[i].Night)); ok {
			score(loads[i].Bytes, low, high)
		}
	}
}

// backtestWeeks forecasts each whole hidden week in which every night was measured.
func backtestWeeks(in *Input, loads []Load, first int, score func(truth, low, high float64)) {
	for i := first; i+7 <= len(loads); i += 7 {
		week := loads[i : i+7]
		start := dateOf(loads[i-1].Night).number() + 1
		whole, truth := true, 0.0
		for k := range week {
			whole = whole && dateOf(week[k].Night).number() == start+k
			truth += week[k].Bytes
		}
		steps := loadSteps(loads[:i])
		if !whole || len(steps) < ForecastEnough {
			continue
		}
		r, _ := forecastSum(newSampler(steps), newRand(in.Seed, "week"), start, 7)
		score(truth, r.Low, r.High)
	}
}

// backtestStored forecasts the stored size so many days ahead, stretch after stretch.
func backtestStored(in *Input, needs *engine.Needs, origin, ahead int, score func(truth, low, high float64)) {
	days := in.days()
	policy := policyOf(needs.Retention)
	for origin < len(days) {
		want := days[origin-1] + ahead
		at, found := slices.BinarySearch(days, want)
		if at >= len(days) {
			return
		}
		for found && at+1 < len(days) && days[at+1] == want {
			at++
		}
		if found {
			g := newGrowth(upTo(in.Spans, origin), days[:origin], needs.Profile)
			if g.sampler != nil && len(g.sampler.steps) >= ForecastEnough {
				p := g.forecast(policy, []int{want}, in.Seed).point(0)
				truth := StoredBytes(upTo(in.Spans, at+1), numbers(policy.kept(days[:at+1])), needs.Profile)
				score(float64(truth), float64(p.Low), float64(p.High))
			}
		}
		origin = at + 1
	}
}

// snapshotOn is the number of the last snapshot of a night.
func (in *Input) snapshotOn(l Load) int {
	number := 1
	for i, taken := range in.Taken {
		if !Night(taken).After(l.Night) {
			number = i + 1
		}
	}
	return number
}

// loadSteps are the ordinary nights as the sampler takes them.
func loadSteps(loads []Load) []step {
	var out []step
	for i := range loads {
		if loads[i].Spanned <= 1 {
			out = append(out, step{dateOf(loads[i].Night).number(), Class(loads[i].Night), []float64{loads[i].Bytes}})
		}
	}
	return out
}
