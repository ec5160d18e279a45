package view

import (
	"fmt"
	"strings"
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
)

const (
	reasonNoFigures = "the figures of this night were not computed when it was scanned"
	reasonUncounted = "the version that scanned this night did not count it"
	reasonOneNight  = "a range needs two nights at least"
)

// NewTrend makes the view of a trend.
func NewTrend(p TrendParts, f Facts, o Options) *Trend {
	t := p.Trend
	v := &Trend{
		Schema:    "tidemark.trend/1",
		Snapshots: len(f.Segments),
		Baseline:  t.Baseline.Taken,
		Nights:    make([]TrendRow, 0, len(t.Nights)),
		Usual:     make([]UsualRow, 0, len(t.Usual)),
		Weekdays:  []WeekdayRow{},
		Growth:    make([]GrowthRow, 0, len(t.Growth)),
		Units:     o.Units,
	}
	high := map[string]float64{}
	for _, u := range t.Usual {
		v.Usual = append(v.Usual, usualRow(u))
		high[u.Class] = u.High
	}
	for i := range t.Nights {
		v.Most = max(v.Most, t.Nights[i].NewBytes)
	}
	shares := newShareHistory()
	for i := range t.Nights {
		n := &t.Nights[i]
		row := trendRow(n)
		row.judged(&judge{
			AlertParts: AlertParts{Alert: p.Alert}, view: &Alert{}, units: o.Units,
			night: n, before: t.Nights[:i], shares: shares,
		})
		shares.add(n)
		row.Bar, row.BarHigh = share(n.NewBytes, v.Most), high[n.Class]/float64(max(v.Most, 1))
		row.Remarks = remarks(&row)
		v.Nights = append(v.Nights, row)
	}
	v.Weekdays = weekdayRows(t.Weekdays)
	for _, g := range t.Growth {
		v.Growth = append(v.Growth, GrowthRow{
			Of: g.Of, DailyBytes: int64(g.PerDay), LowDailyBytes: int64(g.Low), HighDailyBytes: int64(g.High),
			ConfidenceShare: g.Confidence, Nights: g.Nights,
		})
	}
	v.Answer = v.answer()
	v.Notes = v.notes(p, f, o)
	return v
}

// judged fills in what an alert would have said of night i when it was the newest.
func (row *TrendRow) judged(j *judge) {
	j.newBytes()
	row.Score, row.ScoreReason = j.view.Judged[0].Score, j.view.Judged[0].ScoreReason
	j.nothingTouched()
	j.compressed()
	j.renamed()
	row.Reasons = []AlertReason{}
	for _, r := range j.view.Judged {
		if r.Status == StatusWarning || r.Status == StatusCritical {
			row.Reasons = append(row.Reasons, r)
		}
	}
	row.Unusual = len(row.Reasons) > 0
}

func newBytesOf(n *measure.TrendNight) float64 { return float64(n.NewBytes) }

func trendRow(n *measure.TrendNight) TrendRow {
	row := TrendRow{
		From: n.From, To: n.To, Taken: n.Taken,
		Date: n.Date.Format(time.DateOnly), Weekday: n.Date.Weekday().String(),
		Spanned: n.Spanned, Missed: max(n.Spanned-1, 0), DayClass: n.Class,
		FirstSeenBytes: n.FirstSeenBytes,
		Partial:        n.Partial, CoveredShare: n.CoveredShare,
		UnreadFiles: n.UnreadFiles, UnreadBytes: n.UnreadBytes, UnreadFolders: n.UnreadFolders,
		ScanSeconds: n.ScanSeconds, Counts: n.Counts, Aside: n.Aside,
	}
	known := func(value int64, reason string) (*int64, string) {
		switch {
		case !n.Measured:
			return nil, reasonNoFigures
		case value < 0:
			return nil, reason
		}
		return &value, ""
	}
	row.TouchedBytes, row.TouchedReason = known(n.TouchedBytes, "")
	row.ChangedBytes, row.ChangedReason = known(n.ChangedBytes, "")
	row.NewBytes, row.NewReason = known(n.NewBytes, "")
	row.NewCompressedBytes, row.NewCompressedReason = known(n.NewCompressedBytes, reasonNoCompression)
	row.UploadBytes, row.UploadReason = known(n.UploadBytes, reasonNoCompression)
	row.StoredBytes, row.StoredReason = known(n.StoredBytes, reasonNoCompression)
	row.SourceBytes, row.SourceReason = known(n.SourceBytes, "")
	row.RenamedFiles, row.RenamedReason = known(n.RenamedFiles, reasonUncounted)
	switch {
	case !n.Measured:
		row.CompressionReason = reasonNoFigures
	case n.CompressedBytes < 0:
		row.CompressionReason = reasonNoCompression
	default:
		row.CompressionRatio = ratio(n.UniqueBytes, n.CompressedBytes)
		row.CompressionReason = because(row.CompressionRatio, reasonNoStored)
	}
	return row
}

func usualRow(u measure.Usual) UsualRow {
	row := UsualRow{DayClass: u.Class, Nights: u.Nights, MedianNewBytes: some(int64(u.Median + 0.5))}
	if u.Coverage == 0 {
		row.LowReason, row.HighReason, row.RangeReason = reasonOneNight, reasonOneNight, reasonOneNight
		return row
	}
	coverage := u.Coverage
	row.LowNewBytes, row.HighNewBytes, row.RangeShare = some(int64(u.Low)), some(int64(u.High)), &coverage
	return row
}

func weekdayRows(days [7]measure.Usual) []WeekdayRow {
	rows := []WeekdayRow{}
	most := 0.0
	for _, u := range days {
		most = max(most, u.Median)
	}
	for i := range days {
		day := time.Weekday((i + 1) % 7)
		if u := days[day]; u.Nights > 0 {
			rows = append(rows, WeekdayRow{
				Weekday: day.String(), Nights: u.Nights, MedianNewBytes: int64(u.Median + 0.5), Bar: u.Median / max(most, 1),
			})
		}
	}
	return rows
}

// remarks are what a reader of a row must not miss.
func remarks(r *TrendRow) string {
	var list []string
	if r.Unusual {
		list = append(list, "unusual: "+reasonWords(r.Reasons))
	}
	switch {
	case r.Spanned > 1:
		list = append(list, fmt.Sprintf("over %d dates", r.Spanned))
	case r.Spanned < 1:
		list = append(list, "the baseline's own date")
	}
	if r.To-r.From > 1 {
		list = append(list, fmt.Sprintf("%d scans", r.To-r.From))
	}
	switch {
	case r.Aside == measure.AsideUnknown:
		list = append(list, "not measured")
	case r.Partial:
		list = append(list, "partial: a scan was stopped")
	}
	if r.CoveredShare < 1 {
		list = append(list, units.Share(r.CoveredShare)+" read")
	} else if r.UnreadFolders > 0 {
		list = append(list, Plural(r.UnreadFolders, "folder")+" not opened")
	}
	if r.FirstSeenBytes > 0 {
		list = append(list, "first-seen data, not counted")
	}
	return strings.Join(list, ", ")
}
