package view

import (
	"cmp"
	"time"

	"tidemark/report/estimate"
)

// NewPlanFull takes from an estimate how long the plan of this name still lasts.
func NewPlanFull(name string, e *estimate.Result, now time.Time) *PlanFull {
	out := &PlanFull{Name: name, Refused: true, Reason: "the estimate says nothing of it"}
	for _, r := range e.Refused {
		if r.Question == "plans" || r.Question == "keep" {
			out.Reason = r.Reason
		}
	}
	for i := range e.Plans {
		p := &e.Plans[i]
		if p.Name != name {
			continue
		}
		days := func(t *time.Time) *float64 {
			if t == nil {
				return nil
			}
			d := t.Sub(now).Hours() / 24
			return &d
		}
		switch {
		case !p.FitsNow:
			full := 0.0
			out.Days, out.Refused = &full, false
		case p.Full == nil:
			out.Reason = cmp.Or(p.WhyFull, out.Reason)
			out.Refused = e.Keep == nil
		case p.Full.Mid == nil:
			out.Refused = false
			out.Reason = "more likely than not it is not full within the horizon, at the earliest " + p.Full.Early.Format(time.DateOnly)
		default:
			out.Refused = false
			out.Days, out.Low, out.High = days(p.Full.Mid), days(&p.Full.Early), days(p.Full.Late)
		}
		return out
	}
	return out
}
