package view

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/units"
)

const reasonNoLine = "the needs file names no line"

// why finds the reason beside an absent answer.
type why map[string]string

func whyOf(list []estimate.Refusal) why {
	w := why{}
	for _, r := range list {
		w[r.Question] = strings.TrimSuffix(r.Reason, ".")
	}
	return w
}

func (w why) of(questions ...string) string {
	for _, q := range questions {
		if r := w[q]; r != "" {
			return r
		}
	}
	return "it can not be told from the nights measured so far"
}

func newEstimateLine(l *estimate.Line, n *engine.Line, r *estimate.Result, trees *estimate.Input, o Options) EstimateLine {
	w := whyOf(l.Refused)
	for q, reason := range whyOf(r.Refused) {
		if w[q] == "" {
			w[q] = reason
		}
	}
	v := EstimateLine{
		Name:            oneLine(l.Name),
		UpBitsPerSecond: whole(n.UpBitsPerSecond), DownBitsPerSecond: whole(n.DownBitsPerSecond),
		EfficiencyShare: l.Efficiency, EfficiencyDerived: n.EfficiencyDerived,
		MonthlyCost: money(l.MonthlyPrice), HorizonCost: moneyOrNil(l.HorizonPrice), Currency: oneLine(l.Currency),
		Seed: newEstimateSeed(l.Seed, w), Nightly: newEstimateNightly(l.Nightly, n, w),
		Restore: newEstimateRestore(l.Restore, trees, w, o),
	}
	if v.HorizonCost == nil {
		v.HorizonCostReason = w.of("keep.horizon", "keep")
	}
	return v
}

func noLine() (EstimateSeed, EstimateNightly, EstimateRestore) {
	w := why{"seed": reasonNoLine, "nightly": reasonNoLine, "restore": reasonNoLine}
	seed := newEstimateSeed(nil, w)
	return seed, newEstimateNightly(nil, nil, w), newEstimateRestore(nil, nil, w, Options{})
}

func newEstimateSeed(s *estimate.SeedRange, w why) EstimateSeed {
	v := EstimateSeed{}
	if s == nil {
		reason := w.of("seed")
		v.SecondsReason, v.NightsReason, v.NeverReason, v.StartReason = reason, reason, reason, reason
		v.LowSecondsReason, v.HighSecondsReason, v.LowNightsReason, v.HighNightsReason = reason, reason, reason, reason
		v.NightlyReason = reason
		return v
	}
	never := s.Mid.Never
	v.Never = &never
	reach := func(r *estimate.SeedRun) (*float64, *int, string) {
		if r.Never {
			return nil, nil, "the line does not catch up: data changes faster than its windows can send, or it would take over 30 years"
		}
		return &r.Seconds, &r.Nights, ""
	}
	var reason string
	v.Seconds, v.Nights, reason = reach(&s.Mid)
	v.SecondsReason, v.NightsReason = reason, reason
	v.LowSeconds, v.LowNights, reason = reach(&s.Low)
	v.LowSecondsReason, v.LowNightsReason = reason, reason
	v.HighSeconds, v.HighNights, reason = reach(&s.High)
	v.HighSecondsReason, v.HighNightsReason = reason, reason
	v.Start = &s.Mid.Start
	v.UploadBytes, v.WindowBytes, v.OverCap = whole(s.Mid.Bytes), whole(s.Mid.WindowBytes), s.OverCap
	if s.ChangeKnown {
		v.NightlyBytes = some(whole(s.Mid.NightlyBytes))
	} else {
		v.NightlyReason = w.of("seed.change")
	}
	return v
}

// quantileOf is a quantile with its interval, or the reason for its absence.
func quantileOf(q *estimate.Quantile, reason string) (value, low, high *float64, why, whyLow, whyHigh string) {
	if q == nil {
		return nil, nil, nil, reason, reason, reason
	}
	const few = "the nights are too few for this side of the interval"
	return &q.Value, q.Low, q.High, "", because(q.Low, few), because(q.High, few)
}

func newEstimateNightly(n *estimate.Nightly, l *engine.Line, w why) EstimateNightly {
	v := EstimateNightly{Runs: []EstimateRun{}, ByClass: []EstimateClass{}, Limits: []EstimateLimit{}, Months: []EstimateMonth{}}
	if n == nil {
		reason := w.of("nightly")
		v.MedianReason, v.MedianLowReason, v.MedianHighReason = reason, reason, reason
		v.P90Reason, v.P90LowReason, v.P90HighReason = reason, reason, reason
		v.LongestReason, v.FitsReason, v.FitsLowReason, v.FitsHighReason = reason, reason, reason, reason
		v.BacklogReason, v.SmallestUpReason = reason, reason
		v.NextMonthLowReason, v.NextMonthReason, v.NextMonthHighReason, v.OverCapReason = reason, reason, reason, reason
		return v
	}
	v.MedianSeconds, v.MedianLowSeconds, v.MedianHighSeconds, v.MedianReason, v.MedianLowReason, v.MedianHighReason = quantileOf(n.Median, w.of("nightly.median"))
	v.P90Seconds, v.P90LowSeconds, v.P90HighSeconds, v.P90Reason, v.P90LowReason, v.P90HighReason = quantileOf(n.P90, w.of("nightly.p90"))
	v.LongestSeconds = n.Longest
	v.LongestReason = because(n.Longest, "a night would not end, or none over a single date was measured")
	v.FitsShare, v.FitsLowShare, v.FitsHighShare = &n.Fits.Value, &n.Fits.Low, &n.Fits.High
	v.BacklogShare = &n.Backlog.Value
	v.BacklogMostBytes = whole(n.BacklogBytes)
	v.SmallestUp, v.SmallestUpReason = n.SmallestUp, because(n.SmallestUp, strings.TrimSuffix(n.WhySmallest, "."))
	v.GoalShare, v.CapBytes = n.GoalShare, n.CapBytes
	v.Fits, v.Nights, v.Partial = n.FitsNights, len(n.Runs), n.Partial
	for i := range n.Runs {
		v.Runs = append(v.Runs, newEstimateRun(&n.Runs[i]))
	}
	for _, c := range n.ByClass {
		row := EstimateClass{DayClass: c.Class, Nights: c.Nights}
		if c.Seconds != nil {
			row.MedianSeconds = &c.Seconds.Value
		}
		row.MedianReason = because(row.MedianSeconds, w.of("nightly."+c.Class))
		if c.Bytes != nil {
			row.MedianBytes = some(whole(c.Bytes.Value))
		}
		row.BytesReason = because(row.MedianBytes, w.of("upload."+c.Class))
		v.ByClass = append(v.ByClass, row)
	}
	for _, e := range n.Limits {
		row := EstimateLimit{Limit: limitText(&l.Limits[e.Limit]), FitsNights: e.FitsNights, MedianSeconds: e.Median, SmallestUp: e.SmallestUp}
		row.MedianReason = because(row.MedianSeconds, w.of("nightly.median"))
		row.SmallestUpReason = because(row.SmallestUp, w.of("nightly.smallest_up"))
		v.Limits = append(v.Limits, row)
	}
	for _, m := range n.Months {
		v.Months = append(v.Months, EstimateMonth{m.First.Format("2006-01"), m.Nights, m.Complete, whole(m.Bytes), m.OverCap})
	}
	if m := n.NextMonth; m != nil {
		v.NextMonthLowBytes, v.NextMonthBytes, v.NextMonthHighBytes = some(whole(m.Low)), some(whole(m.Mid)), some(whole(m.High))
	} else {
		reason := w.of("nightly.month")
		v.NextMonthLowReason, v.NextMonthReason, v.NextMonthHighReason = reason, reason, reason
	}
	switch {
	case n.CapBytes == 0:
		v.OverCapReason = "the line has no cap"
	case n.NextMonth == nil:
		v.OverCapReason = w.of("nightly.month")
	default:
		v.OverCapShare = &n.OverCapShare
	}
	return v
}

func newEstimateRun(r *estimate.Run) EstimateRun {
	v := EstimateRun{
		Night: dateText(r.Night), DayClass: r.Class, Spanned: r.Spanned, Start: r.Start, Deadline: r.Deadline,
		Fits: r.Fits, Skipped: !r.Start.Before(r.Deadline), UploadBytes: whole(r.Bytes), BacklogBytes: whole(r.BacklogBytes),
	}
	if s := r.Seconds(); !math.IsInf(s, 1) {
		v.End, v.Seconds = &r.End, &s
	}
	v.EndReason = because(v.End, "it would not end within a year")
	v.SecondsReason = v.EndReason
	return v
}

// limitText says a limit as a person would.
func limitText(l *engine.Limit) string {
	clock := func(second int) string { return fmt.Sprintf("%02d:%02d", second/3600, second/60%60) }
	rate := "nothing sent"
	if l.BitsPerSecond > 0 {
		rate = "at most " + units.Rate(l.BitsPerSecond)
	}
	return fmt.Sprintf("%s %s to %s: %s", daysText(l.Days), clock(l.From), clock(l.To), rate)
}

// daysText names weekdays as ranges, Monday first.
func daysText(days [7]bool) string {
	if days == [7]bool{true, true, true, true, true, true, true} {
		return "every day"
	}
	name := func(i int) string { return time.Weekday((i + 1) % 7).String()[:3] }
	on := func(i int) bool { return i < 7 && days[(i+1)%7] }
	var out []string
	for i := 0; i < 7; i++ {
		if !on(i) {
			continue
		}
		from := i
		for on(i + 1) {
			i++
		}
		switch i - from {
		case 0:
			out = append(out, name(from))
		case 1:
			out = append(out, name(from), name(i))
		default:
			out = append(out, name(from)+"–"+name(i))
		}
	}
	return strings.Join(out, ", ")
}

func newEstimateRestore(r *estimate.Restores, trees *estimate.Input, w why, o Options) EstimateRestore {
	v := EstimateRestore{Folders: []EstimateFetched{}, Paths: []EstimateFetched{}}
	if r == nil {
		reason := w.of("restore")
		v.AllReason, v.LowReason, v.HighReason, v.BottleneckReason = reason, reason, reason, reason
		return v
	}
	all := newFetched(&r.All, &trees.All)
	v.All = &all
	v.AllSeconds, v.LowSeconds, v.HighSeconds, v.Bottleneck = &all.Seconds, &all.LowSeconds, &all.HighSeconds, &all.Bottleneck
	v.HumanDelaySeconds, v.OtherFolders = r.All.HumanSeconds, trees.OtherFolders
	for i := range r.Folders {
		v.Folders = append(v.Folders, newFetched(&r.Folders[i], &trees.Folders[i]))
	}
	for i := range r.Paths {
		v.Paths = append(v.Paths, newFetched(&r.Paths[i], &trees.Paths[i]))
	}
	for i := range v.Folders {
		f := &v.Folders[i]
		asked := slices.ContainsFunc(v.Paths, func(p EstimateFetched) bool { return p.Raw == f.Raw })
		switch {
		case asked:
		case len(v.Shown) < o.rows():
			v.Shown = append(v.Shown, *f)
		default:
			v.Hidden++
		}
	}
	v.Hidden += v.OtherFolders
	return v
}

func newFetched(r *estimate.RestoreTime, t *estimate.Tree) EstimateFetched {
	return EstimateFetched{
		Name:    newName(r.Name),
		Seconds: r.Seconds, LowSeconds: r.Low, HighSeconds: r.High, Bottleneck: r.Bottleneck,
		Started: r.Seconds - r.HumanSeconds, StartedLow: r.Low - r.HumanSeconds, StartedHigh: r.High - r.HumanSeconds,
		DownloadBytes: whole(r.DownloadBytes), Requests: whole(r.Requests), Files: t.Files, WriteBytes: t.SourceBytes,
		LineSeconds: r.LineSeconds, RequestSeconds: r.RequestSeconds, DiskSeconds: r.DiskSeconds, FileSeconds: r.FileSeconds,
	}
}

// Late names the nights that did not end in time, the first few of them.
func (n *EstimateNightly) Late() string {
	const most = 5
	var out []string
	late := 0
	for i := range n.Runs {
		r := &n.Runs[i]
		if r.Fits {
			continue
		}
		if late++; late > most {
			continue
		}
		text := r.Night
		if r.Skipped {
			text += " (the clocks go forward over its window)"
		}
		out = append(out, text)
	}
	if late > most {
		out = append(out, fmt.Sprintf("and %d more", late-most))
	}
	return strings.Join(out, ", ")
}
