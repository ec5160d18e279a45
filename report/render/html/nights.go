package html

import (
	"fmt"
	"strconv"
	"time"

	"tidemark/report/render/html/chart"
	"tidemark/report/units"
	"tidemark/report/view"
)

// nightsSection shows what each night brought, beside what is usual.
func nightsSection(v *view.Report) section {
	s := section{ID: "nights", Title: "The nights"}
	t := v.Trend
	if t == nil || len(t.Nights) == 0 {
		s.Missing = v.TrendReason
		return s
	}
	s.Lead = []string{t.Answer}
	s.Blocks = append(s.Blocks, block{Chart: nightsPicture(v), Marks: nightMarks(v)}, block{Table: usualTable(v)})
	if len(v.Months) > 0 {
		s.Blocks = append(s.Blocks, block{Chart: monthsPicture(v)})
	}
	s.Notes = t.Notes
	return s
}

func bytesOr(u units.System, n *int64) string {
	if n == nil {
		return "not measured"
	}
	return u.Bytes(*n)
}

func nightsPicture(v *view.Report) *picture {
	u, rows := v.Units, v.Nights
	usual := map[string]view.UsualRow{}
	for _, r := range v.Trend.Usual {
		usual[r.DayClass] = r
	}
	first := rows[0].Day()
	place := func(t time.Time) float64 { return t.Sub(first).Hours() / 24 }
	var nights []chart.Night
	scale := chart.Scale{Name: round(u)}
	top, usualTop := 0.0, 0.0
	twin := table{Caption: "Night by night", Summary: "The nights as a table", Head: head(name("Night"), least(num("Touched")), num("New"), num("To upload"), words("Remarks"))}
	for i := range rows {
		r := &rows[i]
		n := chart.Night{Day: place(r.Day()), Inner: -1, Mark: v.Mark(r), Partly: r.Partial || r.CoveredShare < 1 || r.UnreadFolders > 0}
		if i > 0 {
			for gap := 1; gap <= min(r.Missed, 400); gap++ {
				nights = append(nights, chart.Night{Day: n.Day - float64(gap), Gap: true, Words: "no scan"})
			}
		}
		if r.NewBytes == nil {
			n.Gap = true
		} else {
			n.Top, n.Value = float64(*r.NewBytes), u.Bytes(*r.NewBytes)
		}
		if r.NewCompressedBytes != nil {
			n.Inner = float64(*r.NewCompressedBytes)
		}
		if c := usual[r.DayClass]; c.LowNewBytes != nil && c.HighNewBytes != nil {
			n.Low, n.High = float64(*c.LowNewBytes), float64(*c.HighNewBytes)
			usualTop = max(usualTop, n.High)
		}
		top = max(top, n.Top)
		n.Words = fmt.Sprintf("%s %s: %s new", r.Weekday, r.Date, bytesOr(u, r.NewBytes))
		nights = append(nights, n)
		night := under(name(r.Date), r.Weekday)
		remarks := r.Remarks
		if n.Mark != "" {
			remarks = joined(n.Mark+": stood out", remarks)
		}
		twin.Rows = append(twin.Rows, cells(night, least(num(bytesOr(u, r.TouchedBytes))), num(bytesOr(u, r.NewBytes)), num(bytesOr(u, r.UploadBytes)), words(remarks)))
	}
	// One huge night must not make the others invisible: it is cut off, and says so.
	cut, less, gaps := false, false, false
	for _, n := range nights {
		less, gaps = less || n.Partly, gaps || n.Gap
	}
	if usualTop > 0 && top > 4*usualTop {
		top, cut = 2.5*usualTop, true
	}
	scale.Lines, scale.Max = chart.NiceScale(top, base(u))
	sub := "New bytes; the dark part of a bar is what they compress to."
	if cut {
		sub += " Bars with a break go on beyond the picture."
	}
	if less {
		sub += " Dots below a night: not everything could be read."
	}
	if gaps {
		sub += " A dotted line: no scan, or no figures."
	}
	p := draw("nights-chart", nightsCaption(v), sub, twin, func(s chart.Size, by string) string {
		every := 1
		if s.Width < 500 {
			every = 2
		}
		return chart.Nights(s, nights, dayMarks(first, rows[len(rows)-1].Day(), every), scale, by)
	})
	p.Key = []key{{chart.Second, "new"}, {chart.Main, "the same, compressed"}}
	if usualTop > 0 {
		p.Key = append(p.Key, key{chart.Band, "usual for such a night"})
	}
	for _, n := range nights {
		if n.Mark != "" {
			p.Key = append(p.Key, key{chart.Alarm, "stood out"})
			break
		}
	}
	return p
}

func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

func nightsCaption(v *view.Report) string {
	rows := v.Nights
	if len(rows) == 1 {
		return "What the night brought"
	}
	return fmt.Sprintf("What each night brought, %s to %s", rows[0].Day().Format("2 January"), rows[len(rows)-1].Day().Format("2 January 2006"))
}

// dayMarks names the Mondays below a chart, or the months where there are many.
func dayMarks(first, last time.Time, every int) []chart.DayMark {
	var out []chart.DayMark
	days := int(last.Sub(first).Hours()/24 + 0.5)
	count := 0
	for d := 0; d <= days; d++ {
		at := first.AddDate(0, 0, d)
		if days > 70*2/every && at.Day() != 1 || days <= 70*2/every && at.Weekday() != time.Monday {
			continue
		}
		if count++; days > 35 && days <= 140/every && count%(2*every) != 1 {
			continue
		}
		out = append(out, chart.DayMark{Day: float64(d), Words: at.Format("2 Jan")})
	}
	if len(out) == 0 {
		out = append(out, chart.DayMark{Day: 0, Words: first.Format("Mon 2 Jan")})
	}
	return out
}

func base(u units.System) float64 {
	if u == units.IEC {
		return 1024
	}
	return 1000
}

// nightMarks names the nights that stood out.
func nightMarks(v *view.Report) (out []mark) {
	for _, n := range v.StoodOut {
		out = append(out, mark{n.Mark, n.Words})
	}
	return out
}

func usualTable(v *view.Report) *table {
	u := v.Units
	t := &table{Caption: "What is usual", Head: head(name("Kind of night"), num("Nights"), num("New, median"), num("Range"), least(num("Covers")))}
	for _, r := range v.Trend.Usual {
		between, share := "no range yet", "–"
		if r.LowNewBytes != nil && r.HighNewBytes != nil {
			between = u.Bytes(*r.LowNewBytes) + " to " + u.Bytes(*r.HighNewBytes)
		}
		if r.RangeShare != nil {
			share = units.Share(*r.RangeShare)
		}
		t.Rows = append(t.Rows, cells(name(r.DayClass), num(strconv.Itoa(r.Nights)), num(bytesOr(u, r.MedianNewBytes)), num(between), least(num(share))))
	}
	return t
}

// monthsPicture shows the long way back.
func monthsPicture(v *view.Report) *picture {
	u := v.Units
	series := chart.Series{Ink: chart.Main, Dots: true}
	var marks []chart.Mark
	twin := table{Caption: "Month by month", Summary: "The months as a table", Head: head(name("Month"), num("Nights"), num("New, median"), num("Smallest"), num("Largest"))}
	top := 0.0
	for i, m := range v.Months {
		top = max(top, float64(m.MedianNew))
		series.Points = append(series.Points, chart.Point{
			X: float64(i), Y: float64(m.MedianNew), Low: float64(m.LowNew), High: float64(m.HighNew),
			Words: fmt.Sprintf("%s: median %s", m.Month, u.Bytes(m.MedianNew)),
		})
		twin.Rows = append(twin.Rows, cells(name(m.Month), num(strconv.Itoa(m.Nights)), num(u.Bytes(m.MedianNew)), num(u.Bytes(m.LowNew)), num(u.Bytes(m.HighNew))))
	}
	lines, most := chart.NiceScale(2.5*top, base(u))
	for i := range series.Points { // the band stops at the top
		series.Points[i].High = min(series.Points[i].High, most)
	}
	p := draw("months-chart", "Month by month: new bytes of a night", "The line is the median night, the band reaches from the smallest to the largest (cut off at the top).", twin,
		func(s chart.Size, by string) string {
			every := max(1, len(v.Months)/int(s.Width/95)+1)
			marks = nil
			for i, m := range v.Months {
				if i%every == 0 {
					marks = append(marks, chart.Mark{At: float64(i), Words: m.Month})
				}
			}
			return chart.Lines{Series: []chart.Series{series}, X: marks, Y: chart.Scale{Max: most, Lines: lines, Name: round(u)}}.Draw(s, by)
		})
	p.Key = []key{{chart.Main, "median night"}, {chart.Band, "smallest to largest"}}
	return p
}
