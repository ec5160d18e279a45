package html

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"tidemark/report/render/html/chart"
	"tidemark/report/units"
	"tidemark/report/view"
)

// shown is a name of the needs file, made safe.
func shown(text string) string { return units.EscapeName([]byte(text)) }

// round names the round values of an axis: "6 MB", not "6.00 MB".
func round(u units.System) func(float64) string {
	return func(f float64) string {
		number, unit, ok := strings.Cut(u.Bytes(int64(f)), " ")
		if ok && strings.Contains(number, ".") {
			number = strings.TrimRight(strings.TrimRight(number, "0"), ".")
		}
		return number + " " + unit
	}
}

const (
	mostLines = 3  // that are drawn
	mostRuns  = 31 // nights that are drawn
)

// lineSection sets the nights against the clock.
func lineSection(v *view.Report) section {
	s := section{ID: "line", Title: "Line and window"}
	e := v.Estimate
	if e == nil {
		s.Missing = v.EstimateReason
		return s
	}
	if len(e.Lines) == 0 {
		s.Missing = "The needs file names no line: add a [[lines]] table with its up and down rates, and the measured nights are played on it."
		return s
	}
	s.Lead = append([]string{e.Answer}, e.Details[:min(len(e.Lines), len(e.Details))]...)
	for i := range e.Lines[:min(len(e.Lines), mostLines)] {
		if p := clockPicture(&e.Lines[i], i, e); p != nil {
			s.Blocks = append(s.Blocks, block{Chart: p})
		}
	}
	s.Blocks = append(s.Blocks, block{Table: lineTable(e)})
	if t := restoreTable(e, v.Units); t != nil {
		s.Blocks = append(s.Blocks, block{Table: t})
	}
	return s
}

// clockPicture shows when each night's run would have ended.
func clockPicture(l *view.EstimateLine, at int, e *view.Estimate) *picture {
	runs := l.Nightly.Runs
	if len(runs) == 0 {
		return nil
	}
	runs = runs[max(0, len(runs)-mostRuns):]
	first := runs[0]
	opens := first.Start
	k := chart.Clock{Closes: first.Deadline.Sub(opens).Hours(), Window: "window opens " + opens.Format("15:04"), Closed: "closes " + first.Deadline.Format("15:04")}
	k.Max = k.Closes
	twin := table{Caption: "When each night's run would have ended", Summary: "The nights as a table", Head: head(name("Night"), num("To send"), least(num("Left from before")), num("Takes"), words("Ends"))}
	longest := 0.0 // hours
	for _, r := range runs {
		if r.Seconds != nil {
			longest = max(longest, min(*r.Seconds/3600, 24))
		} else {
			longest = 24
		}
	}
	k.Max = max(k.Max, longest)
	// Runs that are short beside the window are looked at from near.
	near := longest*8 < k.Closes
	if near {
		k.Max = max(longest*1.5, 1.0/60)
		k.Window, k.Closed = "the window is open until "+first.Deadline.Format("15:04"), ""
	}
	step := 4.0 // hours
	for _, h := range []float64{1.0 / 60, 2.0 / 60, 5.0 / 60, 10.0 / 60, 0.25, 0.5, 1, 2} {
		if k.Max/h <= 7 {
			step = h
			break
		}
	}
	k.Max = math.Ceil(k.Max*1.02/step) * step
	for i, r := range runs {
		run := chart.Run{To: k.Max, Late: !r.Fits, Goes: true}
		takes, ends := "does not end", "not before the next night's run"
		if r.Seconds != nil {
			run.To = *r.Seconds / 3600
			run.Goes = run.To > k.Max
			takes = units.Seconds(*r.Seconds)
		}
		if r.End != nil {
			ends = r.End.Format("2006-01-02 15:04")
		}
		if !r.Fits {
			ends += ", too late"
		}
		run.Words = fmt.Sprintf("night of %s: %s, %s", r.Night, takes, ends)
		if day, err := time.Parse(time.DateOnly, r.Night); err == nil && (day.Weekday() == time.Monday || len(runs) <= 10 || i == 0 && len(runs) < 14) {
			run.Name = day.Format("2 Jan")
		}
		k.Runs = append(k.Runs, run)
		twin.Rows = append(twin.Rows, cells(name(r.Night), num(e.Units.Bytes(r.UploadBytes)), least(num(e.Units.Bytes(r.BacklogBytes))), num(takes), words(ends)))
	}
	for h := 0.0; h <= k.Max+1e-9; h += step {
		k.Hours = append(k.Hours, chart.Mark{At: h, Words: opens.Add(time.Duration(math.Round(h*3600)) * time.Second).Format("15:04")})
	}
	sub := fmt.Sprintf("%s up. Each bar is one measured night: its scan, then its upload.", units.Rate(float64(l.UpBitsPerSecond)))
	if near {
		sub += " Only the beginning of the window is drawn."
	}
	id := "line-" + strconv.Itoa(at+1)
	p := draw(id, "The nightly run over "+shown(l.Name), sub, twin, func(s chart.Size, by string) string { return k.Draw(s, by) })
	p.Key = []key{{chart.Main, "in time"}}
	for _, r := range runs {
		if !r.Fits {
			p.Key = append(p.Key, key{chart.Alarm, "too late"})
			break
		}
	}
	p.Key = append(p.Key, key{chart.Band, "window"})
	return p
}

func secondsOr(s *float64, none string) string {
	if s == nil {
		return none
	}
	return units.Seconds(*s)
}

func lineTable(e *view.Estimate) *table {
	t := &table{Caption: "The lines side by side", Head: head(name("Line"), num("First upload ends in night"), num("In time"), least(num("Half take at most")), least(num("Nine of ten")), num("Smallest rate that would do"))}
	for i := range e.Lines {
		l := &e.Lines[i]
		seed, smallest, fits := "never", "not known yet", "not known yet"
		if l.Seed.Nights != nil {
			seed = strconv.Itoa(*l.Seed.Nights)
			if l.Seed.LowNights != nil && l.Seed.HighNights != nil && *l.Seed.LowNights != *l.Seed.HighNights {
				seed = fmt.Sprintf("%d (%d to %d)", *l.Seed.Nights, *l.Seed.LowNights, *l.Seed.HighNights)
			}
		}
		if l.Nightly.SmallestUp != nil {
			smallest = units.Rate(float64(*l.Nightly.SmallestUp))
		}
		if l.Nightly.FitsShare != nil {
			fits = fmt.Sprintf("%d of %d", l.Nightly.Fits, l.Nightly.Nights)
		}
		t.Rows = append(t.Rows, cells(under(name(shown(l.Name)), units.Rate(float64(l.UpBitsPerSecond))+" up"), num(seed), num(fits),
			least(num(secondsOr(l.Nightly.MedianSeconds, "not known yet"))), least(num(secondsOr(l.Nightly.P90Seconds, "not known yet"))), num(smallest)))
	}
	return t
}

// restoreTable says how long it takes to get everything back.
func restoreTable(e *view.Estimate, u units.System) *table {
	l := &e.Lines[0]
	if l.Restore.AllSeconds == nil {
		return nil
	}
	t := &table{Caption: "Getting it back over " + shown(l.Name) + ", once somebody has started it", Head: head(name("What"), num("To fetch"), num("Takes"), least(num("At least")), least(num("At most")), words("Waits for"))}
	add := func(label string, f *view.EstimateFetched) {
		wait := l.Restore.HumanDelaySeconds // is in every figure
		t.Rows = append(t.Rows, cells(name(label), num(u.Bytes(f.DownloadBytes)), num(units.Seconds(f.Seconds-wait)),
			least(num(units.Seconds(f.LowSeconds-wait))), least(num(units.Seconds(f.HighSeconds-wait))), words(waitsFor(f.Bottleneck))))
	}
	if l.Restore.All != nil {
		add("everything", l.Restore.All)
	}
	for i := range l.Restore.Shown {
		add(view.FolderText(l.Restore.Shown[i].Raw), &l.Restore.Shown[i])
	}
	return t
}

func waitsFor(bottleneck string) string {
	switch bottleneck {
	case "line":
		return "the line"
	case "requests":
		return "answers to requests"
	case "disk":
		return "the disk"
	case "files":
		return "making files"
	}
	return bottleneck
}

// keepSection shows what is kept and what it costs.
func keepSection(v *view.Report) section {
	s := section{ID: "keep", Title: "Retention and plan"}
	e := v.Estimate
	if e == nil {
		s.Missing = v.EstimateReason
		return s
	}
	s.Lead = e.Details[min(len(e.Lines), len(e.Details)):]
	if p := keepPicture(v); p != nil {
		s.Blocks = append(s.Blocks, block{Chart: p})
	} else if e.Keep.Why != "" {
		s.Missing = e.Keep.Why
	}
	if len(e.Plans) == 0 {
		s.Blocks = append(s.Blocks, block{Text: []string{"The needs file names no plan: add [[plans]] tables with capacity and price to see whether, and until when, each of them fits."}})
		return s
	}
	s.Blocks = append(s.Blocks, block{Table: planTable(e)})
	return s
}

// keepPicture draws the stored size over time.
func keepPicture(v *view.Report) *picture {
	e, u := v.Estimate, v.Units
	k := &e.Keep
	if len(k.Horizon) == 0 || k.NowBytes == nil {
		return nil
	}
	from, err := time.Parse(time.DateOnly, e.LastNight)
	if err != nil {
		return nil
	}
	now := float64(*k.NowBytes)
	series := chart.Series{Ink: chart.Main, Points: []chart.Point{{Y: now, Low: now, High: now, Words: "today"}}}
	twin := table{Caption: "Stored size to come", Summary: "The dates as a table", Head: head(name("Date"), num("At least"), num("Middle"), num("At most"))}
	twin.Rows = append(twin.Rows, cells(name(e.LastNight), num(u.Bytes(*k.NowBytes)), num(u.Bytes(*k.NowBytes)), num(u.Bytes(*k.NowBytes))))
	top, scenario := now, false
	var last time.Time
	for _, h := range k.Horizon {
		day, err := time.Parse(time.DateOnly, h.Date)
		if err != nil {
			continue
		}
		last = day
		pt := chart.Point{X: day.Sub(from).Hours() / 24, Low: float64(h.LowBytes), High: float64(h.HighBytes), Hole: h.MidBytes == nil, Words: h.Date}
		mid := "not known"
		if h.MidBytes != nil {
			pt.Y, mid = float64(*h.MidBytes), u.Bytes(*h.MidBytes)
		}
		top, scenario = max(top, pt.High), scenario || h.Scenario
		series.Points = append(series.Points, pt)
		twin.Rows = append(twin.Rows, cells(name(h.Date), num(u.Bytes(h.LowBytes)), num(mid), num(u.Bytes(h.HighBytes))))
	}
	if len(series.Points) < 2 {
		return nil
	}
	var levels []chart.Level
	beyond := 0
	for i := range e.Plans {
		p := &e.Plans[i]
		switch cap := float64(p.CapacityBytes); {
		case cap == 0:
		case cap <= 2.2*top:
			levels = append(levels, chart.Level{Y: cap, Name: shown(p.Name) + " is full"})
		default:
			beyond++
		}
	}
	for _, l := range levels {
		top = max(top, l.Y*1.08)
	}
	sub := "The band holds 8 of 10 drawn futures."
	if scenario {
		sub = "The band: at first 8 of 10 drawn futures; beyond the longest age seen, from all of it going then to none of it going."
	}
	if beyond > 0 {
		sub += fmt.Sprintf(" %s more than is drawn here.", holds(beyond))
	}
	lines, most := chart.NiceScale(top, base(u))
	p := draw("keep-chart", "Stored size with "+k.Policy, sub, twin, func(s chart.Size, by string) string {
		return chart.Lines{
			Series: []chart.Series{series}, Levels: levels, X: monthMarks(from, last, s.Width),
			Y: chart.Scale{Max: most, Lines: lines, Name: round(u)},
		}.Draw(s, by)
	})
	p.Key = []key{{chart.Main, "middle"}, {chart.Band, "band"}}
	if len(levels) > 0 {
		p.Key = append(p.Key, key{chart.Alarm, "a plan is full"})
	}
	return p
}

func holds(plans int) string {
	if plans == 1 {
		return "One plan holds"
	}
	return strconv.Itoa(plans) + " plans hold"
}

// monthMarks names the first days of months.
func monthMarks(from, to time.Time, width float64) (out []chart.Mark) {
	months := int(to.Sub(from).Hours()/24/30.4) + 1
	every := max(1, int(float64(months)*80/width)+1)
	for _, nice := range []int{1, 2, 3, 6, 12, 24, 60, 120} {
		if nice >= every {
			every = nice
			break
		}
	}
	for day := time.Date(from.Year(), from.Month()+1, 1, 0, 0, 0, 0, time.UTC); !day.After(to); day = day.AddDate(0, 1, 0) {
		if (int(day.Month())-1+12*day.Year())%every == 0 {
			out = append(out, chart.Mark{At: day.Sub(from).Hours() / 24, Words: day.Format("Jan 2006")})
		}
	}
	if len(out) == 0 {
		out = append(out, chart.Mark{At: to.Sub(from).Hours() / 24, Words: to.Format("2 Jan 2006")})
	}
	return out
}

func planTable(e *view.Estimate) *table {
	t := &table{Caption: "The plans", Head: head(name("Plan"), words("Fits to the horizon"), least(words("Full")), num("A month, now"), num("To the horizon"))}
	for i := range e.Plans {
		p := &e.Plans[i]
		fits := "no"
		if p.Fits {
			fits = "yes"
		}
		if p.FitsShare != nil {
			fits += ", " + units.Share(*p.FitsShare) + " of futures"
		}
		full := "not before the horizon ends"
		switch {
		case p.FullOn != nil && p.FullEarly != nil && p.FullLate != nil:
			full = fmt.Sprintf("%s (%s to %s)", *p.FullOn, *p.FullEarly, *p.FullLate)
		case p.FullOn != nil:
			full = *p.FullOn
		case p.FullReason != "":
			full = p.FullReason
		}
		cost := "not known yet"
		if p.HorizonCost != nil {
			cost = units.Money(*p.HorizonCost, p.Currency)
			if p.HorizonLowCost != nil && p.HorizonHighCost != nil && *p.HorizonLowCost < *p.HorizonHighCost {
				cost = fmt.Sprintf("%s to %s", units.Money(*p.HorizonLowCost, p.Currency), units.Money(*p.HorizonHighCost, p.Currency))
			}
		}
		label := shown(p.Name)
		sub := ""
		if p.Current {
			sub = "in use now"
		}
		t.Rows = append(t.Rows, cells(under(name(label), sub), words(fits), least(words(full)), num(units.Money(p.MonthlyCost, p.Currency)), num(cost)))
	}
	return t
}
