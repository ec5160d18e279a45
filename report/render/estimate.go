package render

import (
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"

	"tidemark/report/units"
	"tidemark/report/view"
)

// EstimateText prints the answers for a person.
func EstimateText(w io.Writer, v *view.Estimate) error {
	p := &page{}
	p.paragraph("", v.Answer)
	p.line("")
	for _, d := range v.Details {
		p.paragraph("  · ", d)
	}
	measured := view.Plural(int64(v.Nights), "night") + " measured, the last on " + v.LastNight
	if v.Spanned > 0 {
		measured += fmt.Sprintf(" (%d over a single date, as quantiles and forecasts need)", v.Nights-v.Spanned)
	}
	if v.Nights == 0 {
		measured = "only the baseline measured, on " + v.LastNight
	}
	p.line("")
	p.paragraph("", fmt.Sprintf("Rests on %s; local times in %s.", measured, name(v.Zone)))
	estimateLines(p, v)
	estimateSeed(p, v)
	estimateNightly(p, v)
	estimateMonths(p, v)
	estimateRestore(p, v)
	estimateKeep(p, v)
	estimatePlans(p, v)
	estimateBacktest(p, v)
	open := "Not answered yet"
	if v.Spanned > 0 {
		open += fmt.Sprintf("; nights that count here: the %d over a single date", v.Nights-v.Spanned)
	}
	estimateList(p, open, refusedLines(v))
	estimateList(p, "Assumed, not measured", v.Assumed)
	p.notes(v.Notes)
	return p.flush(w)
}

func estimateList(p *page, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.line("\n%s", title)
	for _, l := range lines {
		p.paragraph("  · ", l)
	}
}

func refusedLines(v *view.Estimate) []string {
	var out []string
	for _, r := range v.Refused {
		out = append(out, capital(r.Reason))
	}
	return out
}

// secondsOr prints a duration, or a dash where there is none.
func secondsOr(s *float64) string {
	if s == nil {
		return "–"
	}
	return units.Seconds(*s)
}

func countOr(n *int) string {
	if n == nil {
		return "never"
	}
	return units.Count(int64(*n))
}

func estimateLines(p *page, v *view.Estimate) {
	t := table{head: []string{"up", "down", "payload", "", "a month", ""}}
	for i := range v.Lines {
		l := &v.Lines[i]
		down, share, price := "–", "as given", "–"
		if l.DownBitsPerSecond > 0 {
			down = units.Rate(float64(l.DownBitsPerSecond))
		}
		if l.EfficiencyDerived {
			share = "from frame sizes"
		}
		if l.MonthlyCost > 0 {
			price = units.Money(l.MonthlyCost, l.Currency)
		}
		t.row(units.Rate(float64(l.UpBitsPerSecond)), down, units.Share(l.EfficiencyShare), share, price, name(l.Name))
	}
	t.print(p, "Lines")
}

func estimateSeed(p *page, v *view.Estimate) {
	if len(v.Lines) == 0 || v.Lines[0].Seed.Start == nil {
		return
	}
	t := table{head: []string{"to send", "new a night", "a night can send", "takes", "ends in night", "at least", "at most", ""}}
	for i := range v.Lines {
		l := &v.Lines[i]
		s := &l.Seed
		takes := "never"
		if s.Seconds != nil {
			takes = units.Seconds(*s.Seconds)
		}
		mark := ""
		if s.OverCap {
			mark = " (beyond the line's cap in some month)"
		}
		t.row(v.Units.Bytes(s.UploadBytes), optional(v.Units, s.NightlyBytes), v.Units.Bytes(s.WindowBytes), takes,
			countOr(s.Nights), countOr(s.LowNights), countOr(s.HighNights), name(l.Name)+mark)
	}
	t.print(p, "First upload, begun "+v.Lines[0].Seed.Start.Format("Monday 2006-01-02 15:04"))
}

func estimateNightly(p *page, v *view.Estimate) {
	if v.Nights == 0 || len(v.Lines) == 0 {
		return
	}
	t := table{head: []string{"in time", "half within", "nine of ten within", "longest", "begin with backlog", "smallest line", ""}}
	for i := range v.Lines {
		n := &v.Lines[i].Nightly
		if n.FitsShare == nil {
			continue
		}
		t.row(fmt.Sprintf("%d of %d", n.Fits, n.Nights), secondsOr(n.MedianSeconds), secondsOr(n.P90Seconds), secondsOr(n.LongestSeconds),
			units.Share(*n.BacklogShare), rateOr(n.SmallestUp), name(v.Lines[i].Name))
	}
	t.print(p, "Nightly run: the measured nights played on each line, scan first")
	for i := range v.Lines {
		if late := v.Lines[i].Nightly.Late(); late != "" {
			p.paragraph("  ", "Not in time on "+name(v.Lines[i].Name)+": the night of "+late+".")
		}
	}
	first := &v.Lines[0].Nightly
	if first.MedianLowSeconds != nil && first.MedianHighSeconds != nil {
		p.paragraph("  ", fmt.Sprintf("On %s %s to %s of all such nights end in time, and half of them within %s to %s (80 %% intervals).",
			name(v.Lines[0].Name), units.Share(*first.FitsLowShare), units.Share(*first.FitsHighShare),
			units.Seconds(*first.MedianLowSeconds), units.Seconds(*first.MedianHighSeconds)))
	}
	p.paragraph("  ", fmt.Sprintf("\"Smallest line\" is the least upload rate at which %s of the nights end in time, all else as it is.", units.Share(first.GoalShare)))
	if v.Promise.Nights > 0 {
		p.paragraph("  ", fmt.Sprintf("However much nights differ, as long as they come in no particular order: the next asks no more than the largest so far with a chance of %s, and none of the next 30 asks more with one of %s.",
			units.Share(v.Promise.NextWithinShare), units.Share(v.Promise.MonthWithinShare)))
	}
	estimateClasses(p, v)
	estimateLimits(p, v)
}

func rateOr(bits *int64) string {
	if bits == nil {
		return "–"
	}
	return units.Rate(float64(*bits))
}

func estimateClasses(p *page, v *view.Estimate) {
	t := table{head: []string{"nights", "half within", "half send up to", ""}}
	for _, c := range v.Nightly.ByClass {
		t.row(units.Count(int64(c.Nights)), secondsOr(c.MedianSeconds), optional(v.Units, c.MedianBytes), c.DayClass)
	}
	t.print(p, "By class of day, over "+name(v.Lines[0].Name))
}

func estimateLimits(p *page, v *view.Estimate) {
	t := table{head: []string{"in time without", "half within", "smallest line", ""}}
	for i := range v.Lines {
		n := &v.Lines[i].Nightly
		for _, l := range n.Limits {
			t.row(fmt.Sprintf("%d of %d", l.FitsNights, n.Nights), secondsOr(l.MedianSeconds), rateOr(l.SmallestUp),
				name(v.Lines[i].Name)+", "+l.Limit)
		}
	}
	t.print(p, "What each limit costs: the same nights without it")
}

func estimateMonths(p *page, v *view.Estimate) {
	if len(v.Lines) == 0 {
		return
	}
	t := table{head: []string{"nights", "sent", ""}}
	for _, m := range v.Nightly.Months {
		words := m.Month
		if !m.Complete {
			words += ", not the whole month"
		}
		t.row(units.Count(int64(m.Nights)), v.Units.Bytes(m.UploadBytes), words)
	}
	t.print(p, "Sent by month")
	for i := range v.Lines {
		n := &v.Lines[i].Nightly
		if i == 0 && n.NextMonthBytes != nil {
			p.paragraph("  ", fmt.Sprintf("A whole month to come: %s to %s.", v.Units.Bytes(*n.NextMonthLowBytes), v.Units.Bytes(*n.NextMonthHighBytes)))
		}
		if n.OverCapShare != nil {
			p.paragraph("  ", fmt.Sprintf("It goes beyond the cap of %s on %s in %s of the drawn months.", v.Units.Bytes(n.CapBytes), name(v.Lines[i].Name), units.Share(*n.OverCapShare)))
		}
	}
}

var bottleneckWords = map[string]string{
	"line": "line", "requests": "requests", "disk": "disk", "files": "number of files",
}

func estimateRestore(p *page, v *view.Estimate) {
	if len(v.Lines) == 0 {
		return
	}
	t := table{head: []string{"takes", "at most", "waits for", "fetches", "files", ""}}
	row := func(f *view.EstimateFetched, label string) {
		t.row(units.Seconds(f.Started), units.Seconds(f.StartedHigh), bottleneckWords[f.Bottleneck], v.Units.Bytes(f.DownloadBytes), units.Count(f.Files), label)
	}
	for i := range v.Lines {
		l := &v.Lines[i]
		if l.Restore.All == nil {
			continue
		}
		row(l.Restore.All, "everything, over "+name(l.Name))
	}
	if first := &v.Lines[0].Restore; first.All != nil {
		for i := range first.Paths {
			row(&first.Paths[i], name(first.Paths[i].Raw))
		}
		for i := range first.Shown {
			row(&first.Shown[i], view.FolderText(first.Shown[i].Raw))
		}
	}
	t.print(p, "Restore, once it is started")
	if first := &v.Lines[0].Restore; first.All != nil {
		text := "Each by itself, with what it shares with others; single trees over " + name(v.Lines[0].Name) + "."
		if first.HumanDelaySeconds > 0 {
			text += " Add " + units.Seconds(first.HumanDelaySeconds) + " until somebody starts it."
		}
		if hidden := first.Hidden; hidden > 0 {
			text += " " + view.Plural(int64(hidden), "smaller folder") + " not shown; --restore LABEL/PATH asks for any."
		}
		p.paragraph("  ", text)
	}
}

func estimateKeep(p *page, v *view.Estimate) {
	k := &v.Keep
	if k.NowBytes == nil {
		return
	}
	t := table{head: []string{"at least", "middle", "at most", ""}}
	now := v.Units.Bytes(*k.NowBytes)
	how := "exact"
	if !k.Exact {
		how = "in part estimated"
	}
	t.row(now, now, now, fmt.Sprintf("today, %s: %s", how, view.Plural(int64(len(k.Versions)), "version")))
	for _, h := range k.Shown {
		t.row(v.Units.Bytes(h.LowBytes), optional(v.Units, h.MidBytes), v.Units.Bytes(h.HighBytes), h.Date)
	}
	title := "Stored, keeping " + k.Policy
	if len(k.Shown) < len(k.Horizon) {
		title += fmt.Sprintf("; one date in %d, and the last (--json has all)", k.Every)
	}
	t.print(p, title)
	if k.Scenario {
		p.paragraph("  ", fmt.Sprintf("Where no middle is given: nothing measured is older than %s, and what lives longer is not known. \"At least\" supposes that all of it is gone then, \"at most\" that none is: named cases, no estimate.",
			view.Plural(int64(k.LongestDays), "day")))
	}
	more := table{head: []string{"more stored", ""}}
	for _, m := range k.More {
		if m.Bytes != nil {
			more.row(v.Units.Bytes(*m.Bytes), fmt.Sprintf("%s: %d instead of %d", m.Rule, m.Count, m.Count-1))
		}
	}
	more.print(p, "What one more version of each kind would have cost, "+how)
}

func estimatePlans(p *page, v *view.Estimate) {
	if len(v.Plans) == 0 {
		return
	}
	until := "to the horizon"
	if v.Keep.HorizonEnd != nil {
		until = "to " + *v.Keep.HorizonEnd
	}
	t := table{head: []string{"fits", "full", "a month", until, ""}}
	for i := range v.Plans {
		pl := &v.Plans[i]
		words := name(pl.Name)
		if pl.Current {
			words += " (in use)"
		}
		cost := "–"
		if pl.HorizonCost != nil {
			cost = units.Money(*pl.HorizonLowCost, pl.Currency)
			if high := units.Money(*pl.HorizonHighCost, pl.Currency); high != cost {
				cost += " – " + high
			}
		}
		t.row(fitsText(pl), fullText(pl), units.Money(pl.MonthlyCost, pl.Currency), cost, words)
	}
	t.print(p, "Plans, the store alone")
	lines := table{head: []string{"a month", until, ""}}
	for _, c := range v.Choices {
		for _, total := range c.Totals {
			cost := "–"
			if total.HorizonCost != nil {
				cost = units.Money(*total.HorizonLowCost, c.Currency)
				if high := units.Money(*total.HorizonHighCost, c.Currency); high != cost {
					cost += " – " + high
				}
			}
			lines.row(units.Money(total.MonthlyCost, c.Currency), cost, name(c.Plan)+" with the line "+name(total.Line))
		}
	}
	lines.print(p, "Store and line together")
	for _, c := range v.Choices {
		for _, change := range c.Changes {
			p.paragraph("  ", "What would change the choice: "+change+".")
		}
	}
	for i := range v.Plans {
		if e := v.Plans[i].EarlyCost; e >= 0.01 {
			p.paragraph("  ", fmt.Sprintf("The plan %s bills a least time: early deletion costs between nothing and %s, which is in its higher figure.",
				name(v.Plans[i].Name), units.Money(e, v.Plans[i].Currency)))
		}
	}
}

func fitsText(p *view.EstimatePlan) string {
	switch {
	case !p.FitsNow:
		return "no"
	case p.FitsShare == nil:
		return "today"
	case p.CapacityBytes == 0:
		return "no limit"
	case p.Fits:
		return "yes"
	}
	return "not to the end"
}

func fullText(p *view.EstimatePlan) string {
	switch {
	case p.FullEarly == nil:
		return "–"
	case p.FullLate != nil && *p.FullLate == *p.FullEarly:
		return *p.FullEarly
	case p.FullLate != nil:
		return *p.FullEarly + " – " + *p.FullLate
	}
	return "from " + *p.FullEarly
}

func estimateBacktest(p *page, v *view.Estimate) {
	b := v.Backtest
	if b == nil {
		return
	}
	t := table{head: []string{"forecasts", "held", "too high", "too low", "held (80 % interval)", ""}}
	for _, s := range b.Scores {
		if s.CoveredShare == nil {
			t.row("0", "–", "–", "–", "–", s.Words)
			continue
		}
		t.row(units.Count(int64(s.Forecasts)), units.Share(*s.CoveredShare), units.Count(int64(s.Below)), units.Count(int64(s.Above)),
			units.Share(s.CoveredLowShare)+" – "+units.Share(s.CoveredHighShare), s.Words)
	}
	title := fmt.Sprintf("Backtest: the last %s hidden, forecast, and compared; 80 %% should hold", view.Plural(int64(b.HiddenNights), "night"))
	if len(t.rows) == 0 {
		p.line("\nBacktest\n  None: %s.", b.Reason)
		return
	}
	t.print(p, title)
}

// capital begins a sentence with a large letter.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}
