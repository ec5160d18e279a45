package view

import (
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

func trendOf(segments []logbook.Segment) *Trend {
	return NewTrend(TrendParts{Trend: measure.TrendOf(segments, measure.TrendOptions{}), Alert: engine.Default().Alert}, Facts{Segments: segments}, Options{Units: units.SI})
}

func TestTrendView(t *testing.T) {
	segments := alertNights(20)
	segments[20].Figures.Change.NewBytes = 500e6
	segments[12].Figures = nil
	segments[13].Figures.Change.NewCompressedBytes = -1
	segments[14].Figures.Explain.CompressedBytes = -1
	segments[15].Figures.Renamed = nil
	v := trendOf(segments)
	checkNulls(t, "trend", decoded(t, v))
	if len(v.Nights) != 20 || v.Snapshots != 21 {
		t.Fatalf("%d nights of %d snapshots", len(v.Nights), v.Snapshots)
	}
	last := v.Nights[19]
	if !last.Unusual || last.Bar != 1 || last.Date != "2026-10-21" || last.Weekday != "Wednesday" || last.Remarks != "unusual: much new" {
		t.Errorf("the last night: %+v", last)
	}
	if r := last.Reasons; len(r) != 1 || r[0].Measure != MeasureNewBytes || *r[0].Value != 500e6 {
		t.Errorf("its reasons: %+v", last.Reasons)
	}
	for _, r := range v.Nights[:19] {
		if r.Unusual {
			t.Errorf("%s: %s", r.Date, r.Remarks)
		}
	}
	if r := v.Nights[11]; r.NewBytes != nil || r.StoredBytes != nil || r.Score != nil || r.Remarks != "not measured" {
		t.Errorf("without figures: %+v", r)
	}
	if r := v.Nights[12]; r.NewBytes == nil || r.UploadBytes != nil || r.StoredBytes == nil {
		t.Errorf("a night without compression: %+v", r)
	}
	if r := v.Nights[13]; r.StoredBytes != nil || r.CompressionRatio != nil {
		t.Errorf("a tree without compression: %+v", r)
	}
	if r := v.Nights[15]; *r.CompressionRatio != 1.5 {
		t.Errorf("unique to compressed: %v", *r.CompressionRatio)
	}
	// The figures of the night and those of an alert at its time are the same.
	a := alertOf(segments, nil)
	if *last.Score != *reason(a, MeasureNewBytes).Score {
		t.Errorf("score %v, the alert's is %v", *last.Score, *reason(a, MeasureNewBytes).Score)
	}
	if !strings.Contains(v.Answer, "Unusual: 2026-10-21 (much new).") {
		t.Errorf("answer %q", v.Answer)
	}
	if len(v.Weekdays) != 7 || v.Weekdays[0].Weekday != "Monday" || v.Weekdays[6].Weekday != "Sunday" {
		t.Errorf("week %+v", v.Weekdays)
	}
}

func TestTrendGapsAndCoverage(t *testing.T) {
	segments := alertNights(10)
	for i := 5; i < len(segments); i++ { // two nights were missed
		segments[i].Taken = segments[i].Taken.AddDate(0, 0, 2)
	}
	segments[5].Figures.Change.Spanned = 3
	segments[8].Coverage = logbook.Coverage{Files: 10, ApparentBytes: 1e9, UnreadFiles: 2, UnreadBytes: 1e7, CoveredShare: 0.99}
	segments[9].Partial = true
	segments[3].Figures.Change.FirstSeenBytes = 7
	v := trendOf(segments)
	if r := v.Nights[4]; r.Missed != 2 || r.Spanned != 3 || r.Counts || !strings.Contains(r.Remarks, "over 3 dates") || r.Score != nil {
		t.Errorf("after the gap: %+v", r)
	}
	if !strings.Contains(v.Answer, "on 2 dates no scan was taken") {
		t.Errorf("answer %q", v.Answer)
	}
	for i, words := range map[int]string{7: "99.0 % read", 8: "partial", 9: "partial", 2: "first-seen data, not counted"} {
		if r := v.Nights[i]; !strings.Contains(r.Remarks, words) {
			t.Errorf("night %d: %q, want %q", i, r.Remarks, words)
		}
	}
	checkNulls(t, "trend", decoded(t, v))
	only := trendOf(segments[:1])
	if len(only.Nights) != 0 || !strings.Contains(only.Answer, "Only the baseline") {
		t.Errorf("one snapshot: %+v", only)
	}
	checkNulls(t, "trend", decoded(t, only))
	if m := decoded(t, only); m["nights"] == nil || m["usual"] == nil || m["weekdays"] == nil || m["growth"] == nil || m["notes"] == nil {
		t.Errorf("a list is null: %v", m)
	}
}

// The first sentence says what a night brings, however few there are.
func TestTrendAnswersFirst(t *testing.T) {
	one := alertNights(1)
	if got, want := trendOf(one).Answer, "The night of 2026-10-02 brought 101 MB of new data; what is usual takes more nights to tell."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	one[1].Figures.Change.Spanned, one[1].Taken = 3, one[1].Taken.AddDate(0, 0, 2)
	if got, want := trendOf(one).Answer, "The step over 3 dates up to the night of 2026-10-04 brought 101 MB of new data; what is usual takes more nights to tell; on 2 dates no scan was taken."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	one[1].Figures = nil
	if got, want := trendOf(one).Answer, "What a night brings is not known yet: none has figures; on 2 dates no scan was taken."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := trendOf(alertNights(9)).Answer; !strings.HasPrefix(got, "A usual weekday night brings 10") || !strings.Contains(got, ". 9 nights with figures from 2026-10-02 to 2026-10-10.") {
		t.Errorf("%q", got)
	}
}

func TestTrendThousandNights(t *testing.T) {
	v := trendOf(alertNights(1000))
	if len(v.Nights) != 1000 || v.Nights[999].Score == nil || len(v.Answer) > 600 {
		t.Errorf("%d nights, %q", len(v.Nights), v.Answer)
	}
	if last, _ := time.Parse(time.DateOnly, v.Nights[999].Date); last.Sub(time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)) != 1000*24*time.Hour {
		t.Errorf("the last is %s", v.Nights[999].Date)
	}
}

func BenchmarkNewTrend(b *testing.B) {
	segments := alertNights(1000)
	for b.Loop() {
		trendOf(segments)
	}
}
