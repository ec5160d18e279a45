package render

import (
	"io"
	"strconv"

	"tidemark/report/view"
)

// EstimateCSV prints one row a figure: the question, what it is about, the date
// or night, the figure with its low and high end, the unit, and why there is none.
func EstimateCSV(w io.Writer, v *view.Estimate) error {
	s := newSheet(w, "question", "line", "name", "date", "low", "value", "high", "unit", "reason")
	seconds := func(f *float64) string {
		if f == nil {
			return ""
		}
		return strconv.FormatFloat(*f, 'f', 3, 64)
	}
	amount := func(f *float64) string {
		if f == nil {
			return ""
		}
		return strconv.FormatFloat(*f, 'f', -1, 64)
	}
	for i := range v.Lines {
		l := &v.Lines[i]
		line := cellName(l.Name)
		s.row("seed", line, "", "", seconds(l.Seed.LowSeconds), seconds(l.Seed.Seconds), seconds(l.Seed.HighSeconds), "seconds", l.Seed.SecondsReason)
		n := &l.Nightly
		s.row("nightly.median", line, "", "", seconds(n.MedianLowSeconds), seconds(n.MedianSeconds), seconds(n.MedianHighSeconds), "seconds", n.MedianReason)
		s.row("nightly.p90", line, "", "", seconds(n.P90LowSeconds), seconds(n.P90Seconds), seconds(n.P90HighSeconds), "seconds", n.P90Reason)
		s.row("nightly.fits", line, "", "", amount(n.FitsLowShare), amount(n.FitsShare), amount(n.FitsHighShare), "share", n.FitsReason)
		s.row("nightly.backlog", line, "", "", "", amount(n.BacklogShare), "", "share", n.BacklogReason)
		s.row("nightly.smallest_up", line, "", "", "", blank(n.SmallestUp), "", "bits_per_second", n.SmallestUpReason)
		for _, r := range n.Runs {
			s.row("nightly.run", line, r.DayClass, r.Night, "", seconds(r.Seconds), "", "seconds", r.SecondsReason)
		}
		if l.Restore.All == nil {
			s.row("restore", line, "", "", "", "", "", "seconds", l.Restore.AllReason)
			continue
		}
		for _, f := range append(append([]view.EstimateFetched{*l.Restore.All}, l.Restore.Paths...), l.Restore.Folders...) {
			s.row("restore", line, cellName(f.Raw), "", seconds(&f.LowSeconds), seconds(&f.Seconds), seconds(&f.HighSeconds), "seconds", "")
		}
	}
	s.row("keep.now", "", "", v.LastNight, "", blank(v.Keep.NowBytes), "", "bytes", v.Keep.NowReason)
	for _, h := range v.Keep.Horizon {
		s.row("keep", "", "", h.Date, number(h.LowBytes), blank(h.MidBytes), number(h.HighBytes), "bytes", h.MidReason)
	}
	for i := range v.Plans {
		p := &v.Plans[i]
		s.row("plan.monthly_cost", "", cellName(p.Name), "", "", amount(&p.MonthlyCost), "", p.Currency, "")
		s.row("plan.horizon_cost", "", cellName(p.Name), "", amount(p.HorizonLowCost), amount(p.HorizonCost), amount(p.HorizonHighCost), p.Currency, p.HorizonReason)
		s.row("plan.full_on", "", cellName(p.Name), "", date(p.FullEarly), date(p.FullOn), date(p.FullLate), "date", p.FullReason)
	}
	if v.Backtest != nil {
		for _, b := range v.Backtest.Scores {
			s.row("backtest", "", b.Question, "", amount(&b.CoveredLowShare), amount(b.CoveredShare), amount(&b.CoveredHighShare), "share", b.CoveredReason)
		}
	}
	for _, r := range v.Refused {
		needed := ""
		if r.NightsNeeded != nil {
			needed = strconv.Itoa(*r.NightsNeeded)
		}
		s.row("refused", "", r.Question, "", "", needed, "", "nights", r.Reason)
	}
	return s.close()
}

func date(d *string) string {
	if d == nil {
		return ""
	}
	return *d
}
