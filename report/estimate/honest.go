package estimate

import (
	"fmt"
	"math"
	"time"

	"tidemark/report/stats"
)

// Refusal is a question that the nights measured so far can't answer.
type Refusal struct {
	Question     string // "nightly.p90"
	Reason       string // one sentence
	NightsNeeded int    // in all; 0: more nights would not help
}

// Nights that questions take.
const (
	// ForecastEnough: each weekday was seen twice.
	ForecastEnough = 14
	// ForecastReach: a forecast looks at most so many times as far ahead as was
	// measured. It is the farthest at which 80 % intervals held what they promise on
	// generated years (see the coverage test).
	ForecastReach = 13
	// PromiseNights is the month that admins ask a promise for.
	PromiseNights = 30
)

// Promise is what n nights allow to say of the coming ones whatever their
// distribution, as long as any order of them is as likely as any other.
type Promise struct {
	Nights                int     // n, ordinary ones
	NextWithinLargest     float64 // the next night asks no more than the largest so far: n/(n+1); 0 at n = 0
	AllWithinLargest      float64 // none of the next PromiseNights does: n/(n+m)
	AllNeeds              int     // nights at which that reaches Confidence
	LargestBoundsP90      float64 // confidence with which the largest is an upper bound of the p90: 1 − 0.9ⁿ
	LargestBoundsP90Needs int     // nights at which that reaches 95 %
}

func promise(n int) Promise {
	p := Promise{
		Nights:                n,
		AllNeeds:              stats.AllWithinLargestNeeds(PromiseNights, Confidence),
		LargestBoundsP90Needs: stats.WilksNeeds(0.9, 0.95),
	}
	p.NextWithinLargest, _ = stats.NextWithin(n, n)
	p.AllWithinLargest, _ = stats.AllWithinLargest(n, PromiseNights)
	p.LargestBoundsP90, _ = stats.WilksConfidence(n, 0.9)
	return p
}

// refusals gathers what can't be answered, each question once.
type refusals struct {
	list []Refusal
	seen map[string]bool
	last date // of the measured nights
}

func (r *refusals) add(question, reason string, needed int) string {
	if r.seen == nil {
		r.seen = map[string]bool{}
	}
	if !r.seen[question] {
		r.seen[question] = true
		r.list = append(r.list, Refusal{question, reason, needed})
	}
	return reason
}

// tooFew refuses for want of nights.
func (r *refusals) tooFew(question, what string, have, needed int) string {
	return r.add(question, fmt.Sprintf("%s needs %s; %s measured, so %d more.", what, nightsText(needed), areText(have), needed-have), needed)
}

func nightsText(n int) string {
	if n == 1 {
		return "1 night"
	}
	return fmt.Sprintf("%d nights", n)
}

func areText(n int) string {
	switch n {
	case 0:
		return "none is"
	case 1:
		return "1 is"
	}
	return fmt.Sprintf("%d are", n)
}

// quantile is the p quantile of ascending values, refused until the largest of
// them bounds it with the confidence that every answer here has, in either direction.
func (r *refusals) quantile(question, what string, ascending []float64, p float64) *Quantile {
	n, needed := len(ascending), stats.QuantileIntervalNeeds(p, Confidence)
	if n < needed {
		r.tooFew(question, what, n, needed)
		return nil
	}
	value := quantile(ascending, p)
	if math.IsNaN(value) || math.IsInf(value, 0) {
		r.add(question, what+" has no end: the line sends too little for these nights to end within a year.", 0)
		return nil
	}
	out := &Quantile{P: p, Value: value}
	finite := ascending
	for len(finite) > 0 && math.IsInf(finite[len(finite)-1], 1) {
		finite = finite[:len(finite)-1]
	}
	// A run without end takes the place of the largest number, so that ranks stay right.
	ranked := append([]float64(nil), finite...)
	for len(ranked) < n {
		ranked = append(ranked, math.MaxFloat64)
	}
	if interval, ok := stats.QuantileInterval(ranked, p, Confidence); ok {
		out.Low, out.Coverage = &interval.Low, interval.Confidence
		if interval.High < math.MaxFloat64 {
			out.High = &interval.High
		}
	}
	return out
}

// goal says whether n nights are enough to tell a share of nights from all of
// them: at least one of them may then miss. For every night (share 1) it is what the
// median takes; that is a statement on the measured nights and a promise for none.
func (r *refusals) goal(share float64, n int) (reason string, ok bool) {
	needed := stats.QuantileIntervalNeeds(0.5, Confidence)
	if share < 1 {
		needed = max(needed, int(math.Ceil(share/(1-share)-1e-9)))
	}
	if n >= needed {
		return "", true
	}
	return r.tooFew("nightly.smallest_up", fmt.Sprintf("the smallest line for %.4g %% of nights", share*100), n, needed), false
}

// forecast says whether the nights carry a forecast of sums.
func (r *refusals) forecast(question, what string, have int) (reason string, ok bool) {
	if have < ForecastEnough {
		return r.tooFew(question, what, have, ForecastEnough), false
	}
	return "", true
}

// month says whether the nights carry a forecast of a whole month: two weeks,
// and a month-end among them, because every month has one.
func (r *refusals) month(question, what string, loads []Load) (reason string, ok bool) {
	have, ends := 0, 0
	for i := range loads {
		if loads[i].Spanned <= 1 {
			have++
			if Class(loads[i].Night) == MonthEnd {
				ends++
			}
		}
	}
	if why, ok := r.forecast(question, what, have); !ok {
		return why, false
	}
	if ends == 0 {
		more := nightsUntil(r.last, MonthEnd, 1)
		return r.add(question, fmt.Sprintf("%s holds a month-end, and none is measured yet: the next comes in %s.", what, nightsText(more)), have+more), false
	}
	return "", true
}

// classes refuses to speak of classes of day that were hardly seen.
func (r *refusals) classes(loads []Load) map[string]int {
	counts := map[string]int{}
	total := 0
	for i := range loads {
		if loads[i].Spanned <= 1 {
			counts[Class(loads[i].Night)]++
			total++
		}
	}
	for _, class := range Classes {
		if have := counts[class]; have < ClassEnough {
			more := nightsUntil(r.last, class, ClassEnough-have)
			r.add("usual."+class, fmt.Sprintf("what is usual on a %s night needs %d of them; %s measured, so about %s more.",
				class, ClassEnough, areText(have), nightsText(more)), total+more)
		}
	}
	return counts
}

// promises refuses what no distribution-free statement reaches yet.
func (r *refusals) promises(p Promise) {
	if p.AllWithinLargest < Confidence {
		r.add("nightly.next_30", fmt.Sprintf(
			"that none of the next %d nights asks more than the largest so far holds with a chance of %.0f %% after %s over a single date; for %.0f %% it takes %d.",
			PromiseNights, p.AllWithinLargest*100, nightsText(p.Nights), Confidence*100, p.AllNeeds), p.AllNeeds)
	}
}

// nightsUntil counts the nights after a date until so many of a class have come.
func nightsUntil(after date, class string, count int) int {
	nights := 0
	for count > 0 {
		after = after.next(1)
		nights++
		if Class(after.utc()) == class {
			count--
		}
	}
	return nights
}

// reach is the last date that a forecast from n nights may speak of.
func reach(last date, n int) time.Time { return last.next(n * ForecastReach).utc() }
