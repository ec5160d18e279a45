package view

import (
	"fmt"

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
	v.Keep.Exact = p.Trees != nil && p.Trees.Exact(p.Needs.Profile)
	v.Plans = newEstimatePlans(r, p.Needs)
	v.choices(r)
	for _, x := range r.Refused {
		row := EstimateRefusal{Question: x.Question, Reason: upperFirst(oneLine(x.Reason))}
		if x.NightsNeeded > 0 {
			row.NightsNeeded = &x.NightsNeeded
		}
		row.NightsReason = because(row.NightsNeeded, "more nights would not answer it")
		v.Refused = append(v.Refused, row)
	}
	v.Backtest = newEstimateBacktest(p.Backtest)
	v.Answer, v.Details = v.answer()+v.planText(), v.details()
	v.Notes = v.notes(&p, f, o)
	return v
}

// answer is the verdict on the first line, which the admin would ask first.
func (v *Estimate) answer() string {
	if len(v.Lines) == 0 {
		return "No line is named, so no upload and no restore can be estimated: only what is kept."
	}
	l := &v.Lines[0]
	n := &l.Nightly
	switch {
	case l.Seed.Never != nil && *l.Seed.Never:
		return fmt.Sprintf("The line %s is too slow: its first upload never ends.%s", l.Name, v.instead())
	case v.Nights == 0:
		return fmt.Sprintf("Over the line %s the first upload ends in night %d if nothing changes meanwhile; more can be told once nights are measured.", l.Name, *l.Seed.Nights)
	case *n.FitsShare < n.GoalShare:
		return fmt.Sprintf("The line %s is too slow for the nightly run: %s inside the window, and %s are meant to.%s",
			l.Name, ended(n), units.Share(n.GoalShare), v.instead())
	case n.SmallestUp == nil:
		return fmt.Sprintf("Too early to say whether the line %s is enough; so far it is: %s inside the window.", l.Name, ended(n))
	}
	return fmt.Sprintf("The line %s is enough for nights like the measured ones: %s inside the window%s.", l.Name, ended(n), skipped(n))
}

// planText says when the plan in use is forecast to be full, "" where it is not.
func (v *Estimate) planText() string {
	for i := range v.Plans {
		p := &v.Plans[i]
		switch {
		case !p.Current:
		case !p.FitsNow:
			return fmt.Sprintf(" The plan in use, %s, is full: %s are kept, and it takes %s.", p.Name, v.Units.Bytes(*v.Keep.NowBytes), v.Units.Bytes(p.CapacityBytes))
		case p.FullEarly != nil:
			late := ""
			if p.FullLate != nil {
				late = *p.FullLate
			}
			return fmt.Sprintf(" The plan in use, %s, is forecast to be full %s.", p.Name, fullBetween(*p.FullEarly, late))
		}
	}
	return ""
}

// spannedWords says how many of the nights are no single ones.
func (v *Estimate) spannedWords() string {
	switch v.Spanned {
	case 0:
		return ""
	case 1:
		return " (one of them a step over several dates)"
	}
	return fmt.Sprintf(" (%d of them steps over several dates)", v.Spanned)
}

// meanwhile says that what is new while a first upload lasts is sent with it.
func (v *Estimate) meanwhile(s *EstimateSeed) string {
	switch {
	case s.NightlyBytes == nil:
		return " if nothing changes meanwhile"
	case *s.NightlyBytes == 0:
		return ""
	case s.HighNights != nil && *s.HighNights == 1:
		return fmt.Sprintf(" with the %s that the night adds", v.Units.Bytes(*s.NightlyBytes))
	}
	return fmt.Sprintf(" with the %s that each night adds", v.Units.Bytes(*s.NightlyBytes))
}

// instead names the first other line that would do.
func (v *Estimate) instead() string {
	for i := 1; i < len(v.Lines); i++ {
		l := &v.Lines[i]
		if s := l.Seed.Never; s != nil && !*s && l.Nightly.FitsShare != nil && *l.Nightly.FitsShare >= l.Nightly.GoalShare {
			return fmt.Sprintf(" The line %s would be enough.", l.Name)
		}
	}
	return ""
}

// ended counts the nights that end in time.
func ended(n *EstimateNightly) string {
	switch {
	case n.Nights == 1 && n.Fits == 1:
		return "the one measured night ends"
	case n.Nights == 1:
		return "the one measured night does not end"
	case n.Fits == n.Nights:
		return fmt.Sprintf("all %d measured nights end", n.Nights)
	case n.Fits == 0:
		return fmt.Sprintf("none of the %d measured nights ends", n.Nights)
	case n.Fits == 1:
		return fmt.Sprintf("1 of the %d measured nights ends", n.Nights)
	}
	return fmt.Sprintf("%d of the %d measured nights end", n.Fits, n.Nights)
}

// skipped says why the only night that did not end in time could not: no line
// helps where the clocks leave the window out.
func skipped(n *EstimateNightly) string {
	late := ""
	for i := range n.Runs {
		switch r := &n.Runs[i]; {
		case r.Fits:
		case late != "" || !r.Skipped:
			return ""
		default:
			late = r.Night
		}
	}
	if late == "" {
		return ""
	}
	return "; that of " + late + " has none, since the clocks go forward over it"
}

// details says the whole, line by line, then store and plan.
func (v *Estimate) details() []string {
	say := []string{}
	for i := range v.Lines {
		say = append(say, v.lineText(&v.Lines[i]))
	}
	if k := &v.Keep; k.NowBytes != nil {
		text := fmt.Sprintf("What is kept (%s) takes %s today", k.Policy, v.Units.Bytes(*k.NowBytes))
		if n := len(k.Horizon); n > 0 {
			last := k.Horizon[n-1]
			text += fmt.Sprintf(" and %s on %s", v.between(last.LowBytes, last.HighBytes), last.Date)
		} else {
			text += "; how it grows can not be told yet"
		}
		say = append(say, text+".")
	}
	for i := range v.Choices {
		say = append(say, v.Choices[i].Sentence)
	}
	if len(v.Plans) > 0 && len(v.Choices) == 0 {
		say = append(say, "None of the plans holds what is kept.")
	}
	return say
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
		text += fmt.Sprintf("ends in night %d, after %s%s", *s.Nights, units.Seconds(*s.Seconds), v.meanwhile(s))
	default:
		text += fmt.Sprintf("takes %d to %d nights%s", *s.LowNights, *s.HighNights, v.meanwhile(s))
	}
	if n := &l.Nightly; n.FitsShare != nil {
		text += fmt.Sprintf("; %s inside the window", ended(n))
		switch {
		case n.P90Seconds != nil:
			text += fmt.Sprintf(", nine of ten within %s", units.Seconds(*n.P90Seconds))
		case n.LongestSeconds != nil && n.Nights > 1:
			text += fmt.Sprintf(", the longest after %s", units.Seconds(*n.LongestSeconds))
		case n.LongestSeconds != nil:
			text += fmt.Sprintf(", after %s", units.Seconds(*n.LongestSeconds))
		}
		if late := n.Late(); late != "" && n.Fits > 0 && n.Nights-n.Fits <= 2 {
			text += "; late: " + late
		}
	}
	text += "."
	if r := l.Restore.All; r != nil {
		text += fmt.Sprintf(" Getting everything back takes %s once it is started.", secondsBetween(r.StartedLow, r.StartedHigh))
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
		n.add("On %s not everything could be read: what was sent then is counted too low, and what was missed falls on the night that could read it.", Plural(int64(v.Nightly.Partial), "night"))
	}
	if v.Spanned > 0 {
		n.add("%s over several dates: what was sent then counts in replays and sums, in no quantile.", steps(v.Spanned))
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
