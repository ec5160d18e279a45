package view

import (
	"strings"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

func inventedChurn() *measure.Churn {
	return &measure.Churn{
		From: 1, To: 11, Nights: 10,
		Change: &measure.Change{ChangeTotals: logbook.ChangeTotals{NewBytes: 10_000_000}},
		Folders: []measure.ChurnFolder{
			{Label: "share", Path: []byte("thumbs"), Nights: 10, ChangedBytes: 1_000_000, NewBytes: 950_000, GoneBytes: 900_000},
			{Label: "share", Path: []byte("kept"), Nights: 10, ChangedBytes: 1_000_000, NewBytes: 950_000, GoneBytes: 100_000},
			{Label: "share", Path: []byte("base"), Nights: 10, ChangedBytes: 9_000_000, NewBytes: 2_000_000, GoneBytes: 1_900_000},
			{Label: "share", Path: []byte("once"), Nights: 2, ChangedBytes: 1_000_000, NewBytes: 1_000_000, GoneBytes: 1_000_000},
			{Label: "other", Path: []byte("thumbs"), Nights: 10, ChangedBytes: 9_000_000, NewBytes: 1_000_000},
		},
	}
}

func leaveOut(label, path string, nights int, nightly int64) measure.Fix {
	return measure.Fix{Kind: measure.LeaveOut, Label: label, Path: []byte(path), Nights: nights, NightlyBytes: nightly, NightlyCompressedBytes: -1, Within: -1}
}

// Only what looks made from other data is suggested to be left out; every folder
// measured is listed with what it costs.
func TestFixesSuggestOnlyWhatLooksMade(t *testing.T) {
	fixes := []measure.Fix{
		leaveOut("share", "base", 10, 200_000),
		leaveOut("other", "thumbs", 10, 100_000),
		leaveOut("share", "once", 2, 100_000),
		leaveOut("share", "kept", 10, 95_000),
		leaveOut("share", "thumbs", 10, 94_000),
		{Kind: measure.StopRewriting, Label: "share", Path: []byte("thumbs/a"), Nights: 9, NightlyBytes: 50_000, NightlyCompressedBytes: 1, AtMost: true, Within: 4},
		{Kind: measure.WritePlain, Label: "share", Path: []byte("base/<b>\n.gz"), Nights: 9, NightlyBytes: 40_000, NightlyCompressedBytes: 1, AtMost: true, Within: 0},
	}
	v := NewFixes(inventedChurn(), fixes, Options{})
	var got []string
	for _, f := range v.Fixes {
		got = append(got, f.Path.Raw)
	}
	if strings.Join(got, "|") != "share/thumbs|share/thumbs/a|share/base/<b>\n.gz" {
		t.Fatalf("suggested: %q", got)
	}
	if len(v.Folders) != 5 {
		t.Errorf("%d folders with their cost", len(v.Folders))
	}
	if w := v.Fixes[1].Within; w == nil || *w != 0 {
		t.Errorf("what lies within the first suggestion: %v", w)
	}
	if w := v.Fixes[2].Within; w != nil {
		t.Errorf("within a folder that is not suggested: %d", *w)
	}
	if v.Fixes[0].NightlyCompressedBytes != nil || v.Fixes[0].NightlyCompressedReason == "" {
		t.Error("not measured became a figure")
	}
	if text := v.Fixes[2].Suggestion; strings.Contains(text, "\n") || !strings.Contains(text, `\n`) {
		t.Errorf("a name is not escaped: %q", text)
	}
	if !strings.Contains(v.Answer, "94.0 kB") || !strings.Contains(v.Answer, "9.4 %") {
		t.Errorf("answer: %s", v.Answer)
	}
}

// After one or two nights nothing is known to stay or to go.
func TestFixesOfFewNights(t *testing.T) {
	c := inventedChurn()
	c.Nights = 2
	if v := NewFixes(c, []measure.Fix{leaveOut("share", "thumbs", 2, 94_000)}, Options{}); len(v.Fixes) != 0 {
		t.Errorf("suggested: %+v", v.Fixes)
	}
}

func night0(date string, bytes int64, spanned int) TrendRow {
	return TrendRow{Date: date, NewBytes: &bytes, Spanned: spanned}
}

// Months are counted here by hand.
func TestMonths(t *testing.T) {
	v := &Report{Trend: &Trend{}}
	if v.months() != nil {
		t.Error("few nights became months")
	}
	for i := range shownNights {
		v.Trend.Nights = append(v.Trend.Nights, night0(time.Date(2026, 1, 1+i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), int64(i), 1))
	}
	v.Trend.Nights = append(v.Trend.Nights, night0("2026-04-09", 7, 3), TrendRow{Date: "2026-04-10", Spanned: 1})
	got := v.months()
	want := []ReportMonth{
		{Month: "2026-01", Nights: 31, MedianNew: 15, LowNew: 0, HighNew: 30},
		{Month: "2026-02", Nights: 28, MedianNew: 44, LowNew: 31, HighNew: 58}, // of 44 and 45 the mean, cut to whole bytes
		{Month: "2026-03", Nights: 31, MedianNew: 74, LowNew: 59, HighNew: 89},
		{Month: "2026-04", Nights: 2, MedianNew: 90, LowNew: 90, HighNew: 91},
	}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%+v, want %+v", got[i], want[i])
		}
	}
}

// What could not be read is in the first sentence, and a label from the file
// system is inert in the title.
func TestReportSaysWhatIsMissing(t *testing.T) {
	at := time.Date(2026, 10, 2, 1, 30, 0, 0, time.UTC)
	f := Facts{Params: chunk.Params{Method: chunk.Gear, Average: 65536}, Segments: []logbook.Segment{{
		Number: 1, Taken: at, Partial: true,
		Scope:    logbook.Scope{Roots: []logbook.Root{{Label: "a\x1b\u202e"}, {Label: "b"}, {Label: "c"}}},
		Coverage: logbook.Coverage{Files: 10, UnreadFiles: 2, UnreadBytes: 50, ApparentBytes: 200, CoveredShare: 0.75},
	}}}
	e := NewExplain(inventedExplain(), f, Options{})
	v := NewReport(ReportParts{Made: at, Explain: e, ChangeReason: ReasonOneSnapshot, TrendReason: ReasonOneSnapshot, EstimateReason: ReasonNoNeeds}, f, Options{})
	if !strings.Contains(v.Answer[0], "at most 75.0 % of the bytes") {
		t.Errorf("unread bytes are hidden: %s", v.Answer[0])
	}
	if v.Answer[1] != ReasonOneSnapshot || v.Answer[2] != ReasonNoNeeds {
		t.Errorf("answer: %q", v.Answer)
	}
	if v.Title != `What really changes in a\x1b\u202e, b and c` {
		t.Errorf("title: %q", v.Title)
	}
	if v.AlertReason == "" || v.StoodOut == nil {
		t.Error("an absent answer has no reason, or a list is null")
	}
}

// Nights that were unusual and nights on which too little was read are told apart; a
// night may be both.
func TestReportSaysWhatStoodOut(t *testing.T) {
	unusual, less, both, still := ReportNight{Date: "2026-10-02", Unusual: true}, ReportNight{Date: "2026-10-03", Unread: true}, ReportNight{Date: "2026-10-04", Unusual: true, Unread: true}, ReportNight{Date: "2026-10-05"}
	for _, c := range []struct {
		stood []ReportNight
		shown int
		want  string
	}{
		{nil, 3, "; none was unusual"},
		{nil, 2, "; none of the last 2 nights was unusual"},
		{[]ReportNight{unusual}, 3, "; the one of 2026-10-02 was unusual"},
		{[]ReportNight{unusual, both}, 2, "; 2 of the last 2 nights were unusual; on that of 2026-10-04 not everything could be read"},
		{[]ReportNight{unusual, less, both}, 3, "; 2 nights were unusual; on 2 not everything could be read"},
		{[]ReportNight{less, still}, 3, "; none was unusual; on that of 2026-10-03 not everything could be read; on that of 2026-10-05 not one file was touched"},
	} {
		v := &Report{Trend: &Trend{Nights: make([]TrendRow, 3)}, Nights: make([]TrendRow, c.shown), StoodOut: c.stood}
		if got := v.stoodOutWords(true); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
