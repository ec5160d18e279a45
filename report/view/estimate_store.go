package view

import (
	"fmt"
	"strings"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/units"
)

const reasonScenario = "what outlives the longest age seen is not known: low supposes that all of it is gone then, high that none is"

func newEstimateKeep(k *estimate.Keep, w why, o Options) EstimateKeep {
	v := EstimateKeep{Versions: []EstimateKept{}, More: []EstimateMore{}, Horizon: []EstimatePoint{}}
	if k == nil {
		v.NowReason = w.of("keep")
		v.Policy, v.EndReason, v.Why, v.LivesReason = "unknown", v.NowReason, v.NowReason, v.NowReason
		return v
	}
	v.NowBytes, v.Policy, v.Why = some(k.NowBytes), policyText(k, o.Units), strings.TrimSuffix(k.WhyHorizon, ".")
	for _, kept := range k.Kept {
		v.Versions = append(v.Versions, EstimateKept{kept.Snapshot, dateText(kept.Night), kept.ExclusiveBytes})
	}
	for _, m := range k.More {
		row := EstimateMore{Rule: m.Rule, Count: m.Count}
		if m.Known {
			row.Bytes = some(m.Bytes)
		} else {
			row.Reason = "no night measured so far would fall to it"
		}
		v.More = append(v.More, row)
	}
	for _, p := range k.Horizon {
		row := EstimatePoint{Date: dateText(p.Date), LowBytes: p.Low, MidBytes: p.Mid, HighBytes: p.High, Scenario: p.Scenario}
		row.MidReason = because(row.MidBytes, reasonScenario)
		v.Horizon = append(v.Horizon, row)
		v.Scenario = v.Scenario || p.Mid == nil
	}
	v.Shown, v.Every = fewPoints(v.Horizon, o.rows())
	if !k.HorizonEnd.IsZero() {
		v.HorizonEnd = dateOrNil(&k.HorizonEnd)
	}
	v.EndReason = because(v.HorizonEnd, v.Why)
	if v.LongestDays = k.Survival.Longest(); v.LongestDays > 0 {
		share, _ := k.Survival.At(v.LongestDays)
		v.LivesShare = &share
	}
	v.LivesReason = because(v.LivesShare, "nothing new was seen to grow older than a day")
	v.BridgedShare = k.BridgedShare
	return v
}

// fewPoints takes about n of them at even steps, and the last whatever the step.
// every is the step: 1 where none is left out, the last aside.
func fewPoints(all []EstimatePoint, n int) (out []EstimatePoint, every int) {
	if len(all) <= n+3 || n < 2 { // a year of months and today, of ten, is shown whole
		return all, 1
	}
	last := len(all) - 1
	every = (last + n - 2) / (n - 1)
	for i := 0; i < last; i += every {
		out = append(out, all[i])
	}
	return append(out, all[last]), every
}

func policyText(k *estimate.Keep, s units.System) string {
	p := k.Policy
	if p.All {
		return "every snapshot"
	}
	var parts []string
	for _, r := range []struct {
		count int
		words string
	}{
		{p.Last, "newest"}, {p.Daily, "daily"}, {p.Weekly, "weekly"}, {p.Monthly, "monthly"}, {p.Yearly, "yearly"},
	} {
		if r.count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", r.count, r.words))
		}
	}
	text := strings.Join(parts, ", ")
	if k.CapBytes > 0 {
		text += " within " + s.Bytes(k.CapBytes)
	}
	return text
}

func newEstimatePlans(r *estimate.Result, needs *engine.Needs) []EstimatePlan {
	out := []EstimatePlan{}
	capacity := map[string]int64{}
	for _, p := range needs.Plans {
		capacity[p.Name] = p.CapacityBytes
	}
	for i := range r.Plans {
		p := &r.Plans[i]
		v := EstimatePlan{
			Name: oneLine(p.Name), Current: p.Current, Fits: p.Fits, FitsNow: p.FitsNow, FitsShare: p.FitsShare,
			FullReason: p.WhyFull, MonthlyCost: money(p.MonthlyCost), StorageCost: money(p.StorageCost),
			DownloadCost: money(p.DownloadCost), RequestCost: money(p.RequestCost), EarlyCost: money(p.EarlyDeletionBound),
			Currency: oneLine(p.Currency), CapacityBytes: capacity[p.Name],
		}
		v.FitsReason = because(v.FitsShare, strings.TrimSuffix(p.WhyCost, "."))
		v.FullReason = strings.TrimSuffix(p.WhyFull, ".")
		if f := p.Full; f != nil {
			v.FullOn, v.FullEarly, v.FullLate = dateOrNil(f.Mid), dateOrNil(&f.Early), dateOrNil(f.Late)
			v.FullReason = because(v.FullOn, "in fewer than half of the drawn futures before the forecast ends")
			v.LateReason = because(v.FullLate, "in fewer than nine of ten drawn futures before the forecast ends")
		} else {
			v.EarlyReason, v.LateReason = v.FullReason, v.FullReason
		}
		if c := p.HorizonCost; c != nil {
			v.HorizonLowCost, v.HorizonCost, v.HorizonHighCost = moneyOrNil(&c.Low), moneyOrNil(&c.Mid), moneyOrNil(&c.High)
		} else {
			reason := strings.TrimSuffix(p.WhyCost, ".")
			v.HorizonLowReason, v.HorizonReason, v.HorizonHighReason = reason, reason, reason
		}
		out = append(out, v)
	}
	return out
}

func (v *Estimate) choices(r *estimate.Result) {
	v.Choices = []EstimateChoice{}
	for i := range r.Choices {
		c := &r.Choices[i]
		row := EstimateChoice{
			Plan: v.Plans[c.Plan].Name, Currency: oneLine(c.Currency), WinShare: c.WinShare,
			Changes: []string{}, Totals: []EstimateTotal{},
		}
		for _, t := range c.Changes {
			row.Changes = append(row.Changes, v.turnText(&t))
		}
		for _, t := range c.Totals {
			total := EstimateTotal{Line: v.Lines[t.Line].Name, MonthlyCost: money(t.Monthly)}
			if h := t.Horizon; h != nil {
				total.HorizonLowCost, total.HorizonCost, total.HorizonHighCost = moneyOrNil(&h.Low), moneyOrNil(&h.Mid), moneyOrNil(&h.High)
			} else {
				reason := v.Plans[c.Plan].HorizonReason
				total.HorizonLowReason, total.HorizonReason, total.HorizonHighReason = reason, reason, reason
			}
			row.Totals = append(row.Totals, total)
		}
		row.Sentence = v.choiceText(&row, &v.Plans[c.Plan], c, r)
		v.Choices = append(v.Choices, row)
	}
}

// turnText says what would make another plan the cheapest.
func (v *Estimate) turnText(t *estimate.Turn) string {
	then := "no plan fits any more"
	if t.Plan != nil {
		then = v.Plans[*t.Plan].Name + " is the cheapest that fits"
	}
	switch {
	case t.What == estimate.TurnRestores:
		return fmt.Sprintf("at %.3g whole restores a year %s", t.At, then)
	case t.At >= 1:
		return fmt.Sprintf("at %.3g times the stored size %s", t.At, then)
	}
	return fmt.Sprintf("at %.3g of the stored size %s", t.At, then)
}

// choiceText says the cheapest plan that fits in a sentence.
func (v *Estimate) choiceText(row *EstimateChoice, p *EstimatePlan, c *estimate.Choice, r *estimate.Result) string {
	text := fmt.Sprintf("The cheapest plan that fits is %s: %s a month", row.Plan, units.Money(p.MonthlyCost, p.Currency))
	if p.HorizonCost == nil {
		text = fmt.Sprintf("Of the plans that hold today's versions the cheapest is %s: %s a month", row.Plan, units.Money(p.MonthlyCost, p.Currency))
	} else {
		text += fmt.Sprintf(", %s by %s", moneyRange(p), *v.Keep.HorizonEnd)
	}
	for i, t := range row.Totals {
		if i == 0 {
			text += fmt.Sprintf("; with the line %s %s a month", t.Line, units.Money(t.MonthlyCost, p.Currency))
		}
	}
	text += "."
	if c.RunnerUp != nil && p.HorizonCost != nil {
		text += fmt.Sprintf(" It is cheaper than %s in %s of the drawn futures.", v.Plans[*c.RunnerUp].Name, units.Share(c.WinShare))
	}
	return text
}

// moneyRange is a cost over the horizon, as a range where it is one.
func moneyRange(p *EstimatePlan) string {
	low, high := *p.HorizonLowCost, *p.HorizonHighCost
	if units.Money(low, p.Currency) == units.Money(high, p.Currency) {
		return units.Money(*p.HorizonCost, p.Currency)
	}
	return units.Money(low, "") + "to " + units.Money(high, p.Currency)
}

func newEstimateBacktest(b *estimate.Backtest) *EstimateBacktest {
	if b == nil {
		return nil
	}
	v := &EstimateBacktest{HiddenNights: b.Hidden, Scores: []EstimateScore{}, Reason: b.Why}
	for _, s := range b.Scores {
		row := EstimateScore{
			Question: s.Question, Words: backtestWords[s.Question], NominalShare: s.Nominal, Forecasts: s.Covered.All,
			Covered: s.Covered.Of, Below: s.Below, Above: s.Above, CoveredLowShare: s.Covered.Low, CoveredHighShare: s.Covered.High,
		}
		if s.Covered.All > 0 {
			row.CoveredShare = &s.Covered.Value
		}
		row.CoveredReason = because(row.CoveredShare, "the hidden nights hold no stretch of that length")
		v.Scores = append(v.Scores, row)
	}
	return v
}

var backtestWords = map[string]string{
	"next_night":   "what the next night sends",
	"next_week":    "what the next seven nights send",
	"stored_week":  "what is stored a week later",
	"stored_month": "what is stored 30 days later",
}
