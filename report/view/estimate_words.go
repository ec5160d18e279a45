package view

import (
	"fmt"
	"strings"

	"tidemark/report/units"
)

// NewEstimate makes the view of an estimate.
func NewEstimate(p EstimateParts, f Facts, o Options) *Estimate {
	r := p.Result
	v := &Estimate{
		Schema: "tidemark.estimate/1", Snapshots: r.Snapshots, Nights: r.Nights, Spanned: r.Spanned,
		LastNight: dateText(r.Last), Zone: p.Needs.Zone.String(), Lines: []EstimateLine{},
		Promise: EstimatePromise{r.Promise.Nights, r.Promise.NextWithinLargest, r.Promise.AllWithinLargest, r.Promise.AllNeeds},
		Refused: []EstimateRefusal{}, Assumed: append([]string{}, r.Assumed...), Units: o.Units,
	}
	for i := range v.Assumed {
		v.Assumed[i] = oneLine(v.Assumed[i])
	}
	w := whyOf(r.Refused)
	for i := range r.Lines {
		v.Lines = append(v.Lines, newEstimateLine(&r.Lines[i], &p.Needs.Lines[i], r, p.Trees, o))
	}
	if len(v.Lines) > 0 {
		v.Seed, v.Nightly, v.Restore = v.Lines[0].Seed, v.Lines[0].Nightly, v.Lines[0].Restore
	} else {
		v.Seed, v.Nightly, v.Restore = noLine()
	}
	v.Keep = newEstimateKeep(r.Keep, w, o)
	v.Plans = newEstimatePlans(r, p.Needs)
	v.choices(r)
	for _, x := range r.Refused {
		row := EstimateRefusal{Question: x.Question, Reason: oneLine(x.Reason)}
		if x.NightsNeeded > 0 {
			row.NightsNeeded = &x.NightsNeeded
		}
		row.NightsReason = because(row.NightsNeeded, "more nights would not answer it")
		v.Refused = append(v.Refused, row)
	}
	v.Backtest = newEstimateBacktest(p.Backtest)
	v.Answer = v.answer(&p)
	v.Notes = v.notes(&p, f, o)
	return v
}

// answer says the whole in a few sentences, line by line, then store and plan.
func (v *Estimate) answer(p *EstimateParts) string {
	var say []string
	add := func(format string, args ...any) { say = append(say, fmt.Sprintf(format, args...)) }
	if len(v.Lines) == 0 {
		add("Without a line in a needs file no upload and no restore can be estimated.")
	}
	for i := range v.Lines {
		add("%s", v.lineText(&v.Lines[i]))
	}
	if k := &v.Keep; k.NowBytes != nil {
		text := fmt.Sprintf("What is kept (%s) takes %s today", k.Policy, v.Units.Bytes(*k.NowBytes))
		if n := len(k.Horizon); n > 0 {
			last := k.Horizon[n-1]
			text += fmt.Sprintf(" and %s on %s", v.between(last.LowBytes, last.HighBytes), last.Date)
		} else {
			text += "; how it grows can not be told yet"
		}
		add("%s.", text)
	}
	for i := range v.Choices {
		add("%s", v.Choices[i].Sentence)
	}
	if len(v.Plans) > 0 && len(v.Choices) == 0 {
		add("None of the plans holds what is kept.")
	}
	return strings.Join(say, " ")
}

func (v *Estimate) between(low, high int64) string {
	a, z := v.Units.Bytes(low), v.Units.Bytes(high)
	if a == z {
		return a
	}
	return "between " + a + " and " + z
}

// lineText answers whether a line is enough.
func (v *Estimate) lineText(l *EstimateLine) string {
	text := fmt.Sprintf("Over %s (%s up) the first upload of %s ", l.Name, units.Rate(float64(l.UpBitsPerSecond)), v.Units.Bytes(l.Seed.UploadBytes))
	switch s := &l.Seed; {
	case s.Never != nil && *s.Never:
		text += "never ends: the line sends less than changes"
	case s.HighNights == nil:
		text += fmt.Sprintf("takes %s, or never ends where nights are as busy as the busiest", Plural(int64(*s.Nights), "night"))
	case *s.LowNights == *s.HighNights:
		text += fmt.Sprintf("ends in night %d, after %s", *s.Nights, units.Seconds(*s.Seconds))
	default:
		text += fmt.Sprintf("takes %d to %d nights", *s.LowNights, *s.HighNights)
	}
	n := &l.Nightly
	if n.FitsShare == nil {
		return text + "."
	}
	of := fmt.Sprintf("%d of the %d measured nights", n.Fits, n.Nights)
	switch {
	case n.Nights == 1 && n.Fits == 1:
		of = "the one measured night"
	case n.Nights == 1:
		of = "not even the one measured night"
	case n.Fits == n.Nights:
		of = fmt.Sprintf("all %d measured nights", n.Nights)
	case n.Fits == 0:
		of = fmt.Sprintf("none of the %d measured nights", n.Nights)
	}
	text += fmt.Sprintf("; %s would have ended inside the window", of)
	switch {
	case n.P90Seconds != nil:
		text += fmt.Sprintf(", nine of ten within %s", units.Seconds(*n.P90Seconds))
	case n.LongestSeconds != nil:
		text += fmt.Sprintf(", the longest after %s", units.Seconds(*n.LongestSeconds))
	}
	text += "."
	if l.Restore.AllSeconds != nil {
		text += fmt.Sprintf(" Getting everything back takes %s.", secondsBetween(*l.Restore.LowSeconds, *l.Restore.HighSeconds))
	}
	return text
}

func secondsBetween(low, high float64) string {
	a, z := units.Seconds(low), units.Seconds(high)
	if a == z {
		return a
	}
	return a + " to " + z
}

func (v *Estimate) notes(p *EstimateParts, f Facts, o Options) []string {
	n := notes{units: o.Units}
	if !p.Given {
		n.add("No needs file is given: tidemark estimate --example prints one with comments to start from (--needs FILE).")
	}
	if s := f.segment(v.Snapshots); s != nil {
		n.coverage(s.Number, s.Partial, s.Coverage)
	}
	if v.Nightly.Partial > 0 {
		n.add("On %s not everything could be read: what those nights send is too low, and what they missed is counted on the night that could read it.", Plural(int64(v.Nightly.Partial), "night"))
	}
	if v.Spanned > 0 {
		n.add("%s over several dates: what they send counts in replays and sums, in no quantile.", steps(v.Spanned))
	}
	n.overhead(o.Profile)
	if v.Keep.BridgedShare > 0 {
		n.add("%s of what was new went away and came back; it counts as living in between, which errs on the long side.", units.Share(v.Keep.BridgedShare))
	}
	n.add("Intervals are 80 %%: one in five is expected to miss. They speak of nights like the measured ones, not of new staff, new machines, or an attack that rewrites everything.")
	n.add("An estimate is no backup and proves none: only a restore that was tried does. Prices are those of the needs file; taxes, set-up fees and contract terms are not in them. Whether this data may lie with that provider and in that country (privacy, data location, trade secrets) is for the reader to check.")
	n.unmeasured()
	return n.lines
}

func steps(n int) string {
	if n == 1 {
		return "1 step is"
	}
	return fmt.Sprintf("%d steps are", n)
}
