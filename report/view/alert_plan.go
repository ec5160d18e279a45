package view

import (
	"cmp"
	"time"

	"tidemark/report/engine"
	"tidemark/report/estimate"
)

// NewPlanFull takes from an estimate how long a plan still lasts, in days from the
// date of the night that the newest snapshot was taken in.
func NewPlanFull(plan *engine.Plan, e *estimate.Result, taken time.Time) *PlanFull {
	out := &PlanFull{Name: plan.Name, Taken: taken, CapacityBytes: plan.CapacityBytes, Refused: true, Reason: "the estimate says nothing of it"}
	for _, r := range e.Refused {
		if r.Question == "plans" || r.Question == "keep" {
			out.Reason = r.Reason
		}
	}
	for i := range e.Plans {
		p := &e.Plans[i]
		if p.Name != plan.Name {
			continue
		}
		days := func(t *time.Time) *float64 {
			if t == nil {
				return nil
			}
			d := max(t.Sub(estimate.Night(taken)).Hours()/24, 0)
			return &d
		}
		switch {
		case !p.FitsNow:
			full := 0.0
			out.Days, out.Refused, out.Full = &full, false, true
			if e.Keep != nil {
				out.NowBytes = e.Keep.NowBytes
			}
		case p.Full == nil:
			out.Reason = cmp.Or(p.WhyFull, out.Reason)
			out.Refused = e.Keep == nil
		case p.Full.Mid == nil:
			out.Refused = false
			out.Reason = "more likely than not it is not full within the horizon, at the earliest " + p.Full.Early.Format(time.DateOnly)
		default:
			out.Refused = false
			out.Days, out.Low, out.High = days(p.Full.Mid), days(&p.Full.Early), days(p.Full.Late)
			out.Early, out.Mid, out.Late = p.Full.Early, *p.Full.Mid, p.Full.Late
		}
		return out
	}
	return out
}
