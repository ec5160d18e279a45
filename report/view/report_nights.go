package view

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"tidemark/report/stats"
)

// shownNights is how many nights a report shows one by one. The months before
// them are shown as months.
const shownNights = 92

// ReportMonth is what the nights of a calendar month brought.
type ReportMonth struct {
	Month     string `json:"month"` // 2026-10
	Nights    int    `json:"nights"`
	MedianNew int64  `json:"median_new_bytes"`
	LowNew    int64  `json:"low_new_bytes"` // the smallest and …
	HighNew   int64  `json:"high_new_bytes"`
	Unusual   int    `json:"unusual"`
}

// lastNights are the nights that a report shows one by one.
func (v *Report) lastNights() []TrendRow {
	if v.Trend == nil {
		return nil
	}
	n := v.Trend.Nights
	return n[max(0, len(n)-shownNights):]
}

// months adds the nights of each calendar month up; nil where every night is
// shown by itself. Nights without figures, and steps over several dates, are not
// among them.
func (v *Report) months() []ReportMonth {
	if v.Trend == nil || len(v.Trend.Nights) <= shownNights {
		return nil
	}
	var out []ReportMonth
	var values []float64
	end := func() {
		if len(values) == 0 {
			return
		}
		m := &out[len(out)-1]
		median, _ := stats.Median(values)
		m.MedianNew, m.LowNew, m.HighNew = int64(median), int64(slices.Min(values)), int64(slices.Max(values))
	}
	for i := range v.Trend.Nights {
		n := &v.Trend.Nights[i]
		if n.NewBytes == nil || n.Spanned != 1 {
			continue
		}
		month := n.Date[:len("2006-01")]
		if len(out) == 0 || out[len(out)-1].Month != month {
			end()
			out, values = append(out, ReportMonth{Month: month}), values[:0]
		}
		m := &out[len(out)-1]
		m.Nights++
		if n.Unusual {
			m.Unusual++
		}
		values = append(values, float64(*n.NewBytes))
	}
	end()
	return out
}

// judged asks of each night shown what an alert would have said then, from the
// nights before it alone.
func judged(shown int, p TrendParts, f Facts, o Options) []*Alert {
	nights := p.Trend.Nights
	var out []*Alert
	for i := max(0, len(nights)-shown); i < len(nights); i++ {
		then := *p.Trend
		then.Nights = nights[:i+1]
		out = append(out, NewAlert(AlertParts{Segments: f.Segments[:nights[i].To], Trend: &then, Alert: p.Alert}, o))
	}
	return out
}

// stoodOut names the nights among those shown that an alert spoke of, in order.
func (v *Report) stoodOut(alerts []*Alert) []ReportNight {
	out := []ReportNight{}
	for _, a := range alerts {
		if a.Status != StatusWarning && a.Status != StatusCritical {
			continue
		}
		for i := range v.Nights {
			n := &v.Nights[i]
			if n.To != a.Snapshot {
				continue
			}
			less := slices.ContainsFunc(a.Reasons, func(r AlertReason) bool {
				return r.Measure == MeasureCoveredShare && (r.Status == StatusWarning || r.Status == StatusCritical)
			})
			out = append(out, ReportNight{
				To: n.To, Date: n.Date, Words: n.Weekday + " " + n.Date + ": " + evidence(a),
				Unusual: n.Unusual, Unread: less, Mark: strconv.Itoa(len(out) + 1),
			})
		}
	}
	return out
}

// evidence is what made a night stand out, the worst first.
func evidence(a *Alert) string {
	var parts []string
	more := 0
	for i := range a.Reasons {
		r := &a.Reasons[i]
		switch {
		case r.Status != StatusWarning && r.Status != StatusCritical:
			continue // it could not be judged
		case len(parts) == 2:
			more++
			continue
		}
		text := strings.TrimSuffix(r.Evidence, ".")
		var where []string
		for _, f := range r.Folders {
			where = append(where, FolderText(f.Raw)+" ("+f.Words+")")
		}
		if len(where) > 0 {
			// The folders are those with most new data, whatever the sign is: one
			// folder's compression says nothing of what the others bring.
			lead := "; most of it in "
			if r.Measure == MeasureCompressedShare {
				lead = "; the night's new data lay mostly in "
			}
			text += lead + listed(where)
		}
		if len(parts) > 0 {
			text = upperFirst(text)
		}
		parts = append(parts, text+".")
	}
	if more > 0 {
		parts = append(parts, Plural(int64(more), "further sign")+".")
	}
	return strings.Join(parts, " ")
}

// Day is a night's date at midnight UTC, for places on an axis.
func (r *TrendRow) Day() time.Time {
	t, err := time.Parse(time.DateOnly, r.Date)
	if err != nil {
		return r.Taken
	}
	return t
}
