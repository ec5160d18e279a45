package estimate

import (
	"fmt"
	"slices"
	"time"

	"tidemark/report/engine"
)

// Keep is what the retention needs in the store.
type Keep struct {
	Policy   Policy
	CapBytes int64 // on the newest Last versions; 0: none
	Assumed  bool  // no retention was given: everything is kept

	NowBytes int64         // exact: the union of the kept snapshots
	Kept     []KeptVersion // oldest first
	More     []MoreKept    // what one more bucket of each rule would have cost, exact
	History  []int64       // exact stored size after each snapshot, number 1 first, the retention applied since the first

	Survival Survival // of new bytes, by age in days
	// BridgedShare of the stored bytes born in measured nights went away and came back.
	BridgedShare float64

	Horizon    []Point   // by month, the last at HorizonEnd; empty where refused
	HorizonEnd time.Time // where the forecast ends, and costs with it; zero where refused
	WhyHorizon string    // the refusal, or why it ends early
}

// KeptVersion is one snapshot that the retention still holds.
type KeptVersion struct {
	Snapshot       int
	Night          time.Time
	ExclusiveBytes int64 // what dropping this one alone would free
}

// MoreKept is one rule with one bucket more.
type MoreKept struct {
	Rule  string // "last", "daily", "weekly", "monthly", "yearly"
	Count int    // with the one more
	Bytes int64  // more than NowBytes
	// Known is false where the nights measured hold no further bucket of the
	// rule, so that Bytes is 0 for want of nights.
	Known bool
}

// policyOf reads the retention; without one everything is kept.
func policyOf(r *engine.Retention) Policy {
	if r == nil {
		return Policy{All: true}
	}
	return Policy{All: r.Everything, Last: r.Last, Daily: r.Daily, Weekly: r.Weekly, Monthly: r.Monthly, Yearly: r.Yearly}
}

// fate is the forecast that keep and plans share.
type fate struct {
	*futures
	from int // day number of the last snapshot
}

// keep answers for the retention. The forecast is nil where it is refused.
func keep(in *Input, needs *engine.Needs, refused *refusals) (*Keep, *fate) {
	if len(in.Spans) == 0 {
		refused.add("keep", "what a retention needs was not measured: the chunks' histories are missing.", 0)
		return nil, nil
	}
	days := in.days()
	out := &Keep{Policy: policyOf(needs.Retention), Assumed: needs.Retention == nil}
	if needs.Retention != nil {
		out.CapBytes = needs.Retention.CapBytes
	}
	kept := numbers(out.Policy.kept(days))
	kept = capped(in.Spans, kept, out.CapBytes, needs.Profile)
	out.NowBytes = StoredBytes(in.Spans, kept, needs.Profile)
	for i, bytes := range ExclusiveBytes(in.Spans, kept, needs.Profile) {
		night := dateOfNumber(days[kept[i]-1]).utc()
		out.Kept = append(out.Kept, KeptVersion{kept[i], night, bytes})
	}
	if out.CapBytes == 0 {
		out.more(in, days, kept, needs.Profile)
	}
	out.History = history(in.Spans, days, out.Policy, out.CapBytes, needs.Profile)

	g := newGrowth(in.Spans, days, needs.Profile)
	out.Survival = g.share
	out.BridgedShare = bridgedShare(in.Spans, needs.Profile)
	return out, out.horizon(g, in, needs, refused)
}

func numbers(indices []int) []int {
	out := make([]int, len(indices))
	for i, at := range indices {
		out[i] = at + 1
	}
	return out
}

// more prices one further bucket of each rule.
func (k *Keep) more(in *Input, days, kept []int, p *engine.Profile) {
	if k.Policy.All {
		return
	}
	base := k.Policy
	for _, rule := range []struct {
		name  string
		count *int
	}{
		{"last", &base.Last}, {"daily", &base.Daily}, {"weekly", &base.Weekly}, {"monthly", &base.Monthly}, {"yearly", &base.Yearly},
	} {
		if *rule.count == 0 && (rule.name == "last" || rule.name == "yearly") {
			continue
		}
		*rule.count++
		now := numbers(base.kept(days))
		k.More = append(k.More, MoreKept{
			Rule: rule.name, Count: *rule.count,
			Bytes: StoredBytes(in.Spans, now, p) - k.NowBytes,
			Known: len(now) > len(kept) || bucketsOf(days, rule.name) >= *rule.count,
		})
		*rule.count--
	}
}

// bucketsOf counts the buckets of a rule that the measured nights hold.
func bucketsOf(days []int, rule string) int {
	all := Policy{}
	n := len(days)
	switch rule {
	case "last":
		return n
	case "daily":
		all.Daily = n
	case "weekly":
		all.Weekly = n
	case "monthly":
		all.Monthly = n
	case "yearly":
		all.Yearly = n
	}
	return len(all.kept(days))
}

// capped drops the oldest of consecutive newest snapshots until what is left
// takes at most so many bytes; the newest always stays.
func capped(spans []Span, kept []int, most int64, p *engine.Profile) []int {
	if most <= 0 || len(kept) == 0 {
		return kept
	}
	first, last := kept[0], kept[len(kept)-1]
	// Kept from k on, consecutive: everything that was still there at k or later.
	ends := make([]int64, last-first+1)
	for i := range spans {
		if end := min(spans[i].gone()-1, last); end >= first && spans[i].born() <= last {
			ends[end-first] += spans[i].Stored(p)
		}
	}
	var sum int64
	for k := last; k >= first; k-- {
		sum += ends[k-first]
		if sum > most {
			return kept[min(len(kept)-1, k-first+1):]
		}
	}
	return kept
}

func bridgedShare(spans []Span, p *engine.Profile) float64 {
	var all, bridged float64
	for i := range spans {
		if s := &spans[i]; !s.FirstSeen && s.born() > 1 {
			all += float64(s.Stored(p))
			if len(s.Alive) > 1 {
				bridged += float64(s.Stored(p))
			}
		}
	}
	if all == 0 {
		return 0
	}
	return bridged / all
}

// horizon forecasts up to the horizon, or as far as the nights reach.
func (k *Keep) horizon(g *growth, in *Input, needs *engine.Needs, refused *refusals) *fate {
	last := dateOfNumber(g.days[len(g.days)-1])
	end, err := horizonEnd(needs.Horizon, last)
	if err != nil {
		k.WhyHorizon = refused.add("keep.horizon", err.Error()+".", 0)
		return nil
	}
	have := 0
	if g.sampler != nil {
		have = len(g.sampler.steps)
	}
	const question, what = "keep.horizon", "a forecast of the stored size"
	if why, ok := refused.forecast(question, what, have); !ok {
		k.WhyHorizon = why
		return nil
	}
	if end.number() >= last.number()+nightsUntil(last, MonthEnd, 1) {
		if why, ok := refused.month(question, what+" to "+end.utc().Format(time.DateOnly), in.loads(needs)); !ok {
			k.WhyHorizon = why
			return nil
		}
	}
	if far := dateOf(reach(last, have)); end.number() > far.number() {
		needed := (end.number() - last.number() + ForecastReach - 1) / ForecastReach
		k.WhyHorizon = refused.add(question, fmt.Sprintf(
			"a forecast up to %s needs %s; %s measured, so it ends on %s.",
			end.utc().Format(time.DateOnly), nightsText(needed), areText(have), far.utc().Format(time.DateOnly)), needed)
		end = far
	}
	k.HorizonEnd = end.utc()
	targets, shown := targetDays(last, end)
	f := g.forecast(k.Policy, targets, in.Seed)
	if k.CapBytes > 0 {
		f.cap(float64(k.CapBytes))
	}
	for i, day := range targets {
		if shown[day] {
			k.Horizon = append(k.Horizon, f.point(i))
		}
	}
	return &fate{f, last.number()}
}

// horizonEnd is the last date to look at.
func horizonEnd(h engine.Horizon, last date) (date, error) {
	end, err := h.End(last.utc())
	if err != nil {
		return date{}, err
	}
	day := dateOf(end)
	if !h.Date.IsZero() {
		day = dateOf(h.Date)
	}
	if day.number() <= last.number() {
		return date{}, fmt.Errorf("the horizon %s is not after the last measured night %s", day.utc().Format(time.DateOnly), last.utc().Format(time.DateOnly))
	}
	return day, nil
}

// Points shown and dates computed, at most.
const (
	mostShown    = 60
	mostComputed = 100
)

// targetDays are the dates to compute, weekly or fewer, and those to show,
// monthly or fewer; the last date is both.
func targetDays(last, end date) (targets []int, shown map[int]bool) {
	from, to := last.number(), end.number()
	shown = map[int]bool{to: true}
	targets = []int{to}
	months := (end.year-last.year)*12 + int(end.month) - int(last.month)
	every := max(1, (months+mostShown-1)/mostShown)
	for m := every; ; m += every {
		day, err := engine.Horizon{Months: m}.End(last.utc())
		at := dateOf(day).number()
		if err != nil || at >= to {
			break
		}
		shown[at] = true
		targets = append(targets, at)
	}
	grid := max(7, (to-from+mostComputed-1)/mostComputed)
	for at := from + grid; at < to; at += grid {
		targets = append(targets, at)
	}
	slices.Sort(targets)
	return slices.Compact(targets), shown
}
