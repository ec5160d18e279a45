package view

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// alertNights are invented summaries: so many weekday-like nights with about the
// same new data each, half of which is left when it is compressed.
func alertNights(n int) []logbook.Segment {
	var out []logbook.Segment
	day := time.Date(2026, 10, 1, 22, 0, 0, 0, berlin) // a Thursday
	for i := range n + 1 {
		if i > 0 {
			day = day.AddDate(0, 0, 1)
		}
		news := int64(100e6) + int64(i%5)*1e6
		s := logbook.Segment{
			Number: i + 1, Taken: day, Started: day,
			Coverage: logbook.Coverage{Files: 1000, ApparentBytes: 1e12, CoveredShare: 1},
			Figures: &logbook.Figures{
				Explain: logbook.ExplainTotals{Files: 1000, SourceBytes: 1e12, UniqueBytes: 9e11, CompressedBytes: 6e11},
				Types:   []logbook.SplitTotals{{Name: "dwg", NewBytes: news, NewPacked: news / 2}},
				Folders: []logbook.SplitTotals{{Name: "share/a", NewBytes: news * 6 / 10, NewPacked: news * 3 / 10}, {Name: "share/b", NewBytes: news * 4 / 10, NewPacked: news * 2 / 10}},
			},
		}
		if i > 0 {
			s.Figures.Change = &logbook.ChangeTotals{From: i, To: i + 1, Spanned: 1, TouchedFiles: 40, TouchedBytes: 3 * news, NewBytes: news, NewCompressedBytes: news / 2}
			s.Figures.Renamed = &logbook.RenamedTotals{Files: int64(i % 2)}
		}
		out = append(out, s)
	}
	return out
}

func alertOf(segments []logbook.Segment, change func(*AlertParts)) *Alert {
	p := AlertParts{Segments: segments, Alert: engine.Default().Alert}
	if len(segments) > 0 {
		p.Trend = measure.TrendOf(segments, measure.TrendOptions{})
		p.Now = segments[len(segments)-1].Started.Add(3 * time.Hour)
	}
	if change != nil {
		change(&p)
	}
	return NewAlert(p, Options{Units: units.SI})
}

func reason(v *Alert, m string) *AlertReason {
	for i := range v.Judged {
		if v.Judged[i].Measure == m {
			return &v.Judged[i]
		}
	}
	return nil
}

func checkAlert(t *testing.T, v *Alert, status AlertStatus, words ...string) {
	t.Helper()
	if v.Status != status {
		t.Errorf("status %s, want %s: %s", v.Status, status, v.Line)
	}
	for _, w := range words {
		if !strings.Contains(v.Line, w) {
			t.Errorf("no %q in %q", w, v.Line)
		}
	}
	if strings.ContainsAny(v.Line, "\n\r|") || !strings.HasPrefix(v.Line, strings.ToUpper(string(status))+": ") {
		t.Errorf("the line is %q", v.Line)
	}
	for _, w := range []string{"malware", "virus", "attack", "ransom"} {
		if strings.Contains(strings.ToLower(v.Line), w) {
			t.Errorf("a diagnosis: %q", v.Line)
		}
	}
	checkNulls(t, "alert", decoded(t, v))
	if v.Reasons == nil || v.Judged == nil {
		t.Error("a list is null")
	}
}

func TestAlertUsual(t *testing.T) {
	checkAlert(t, alertOf(alertNights(20), nil), StatusUsual, "nothing unusual", "new, usual ")
}

func TestAlertNeedsNights(t *testing.T) {
	checkAlert(t, alertOf(nil, nil), StatusUnknown, "no snapshot")
	checkAlert(t, alertOf(alertNights(0), nil), StatusUnknown, "second snapshot")
	checkAlert(t, alertOf(alertNights(3), nil), StatusUnknown, "2 nights of 7 that a score needs (5 more)")
	checkAlert(t, alertOf(alertNights(8), nil), StatusUsual)
	// What is known all the same outweighs what is not.
	few := alertNights(3)
	few[3].Coverage = logbook.Coverage{Files: 1000, ApparentBytes: 1e12, UnreadFiles: 400, UnreadBytes: 4e11, CoveredShare: 0.6}
	checkAlert(t, alertOf(few, nil), StatusCritical, "60.0 %", "400 files")
}

// The score is the published one: 0.6745·(x − median)/MAD (Iglewicz & Hoaglin; the
// constant from memory), computed here by hand.
func TestAlertNewBytes(t *testing.T) {
	segments := alertNights(16) // the 17th snapshot's night is a Saturday …
	segments = append(segments, alertNights(18)[17:19]...)
	last := &segments[18]
	if c := measure.DayClass(logbook.Night(last.Taken)); c != measure.Weekday {
		t.Fatalf("the last night is a %s", c)
	}
	last.Figures.Change.NewBytes = 180e6
	v := alertOf(segments, nil)
	// 12 weekdays before: median and MAD lie near 102 MB and 1 MB, so the floor of
	// 10.2 MB (a tenth of the median) counts.
	r := reason(v, MeasureNewBytes)
	median := *r.Median
	if want := 0.6745 * (180e6 - median) / max(0.1*median, 10e6); r.Score == nil || *r.Score < want-1e-9 || *r.Score > want+1e-9 {
		t.Errorf("score %v, want %v", r.Score, want)
	}
	checkAlert(t, v, StatusWarning, "is unusual", "180 MB new", "weekday nights", "share/a")
	if len(v.Reasons) != 1 || v.Reasons[0].Folders[0].Raw != "share/a" || len(v.Reasons[0].Folders) != 2 {
		t.Errorf("reasons %+v", v.Reasons)
	}
	last.Figures.Change.NewBytes = 400e6
	checkAlert(t, alertOf(segments, nil), StatusCritical)
	// Equal nights and no floor at all: any more is unusual, and no number says how far.
	for i := range segments[1:18] {
		segments[i+1].Figures.Change.NewBytes = 100e6
	}
	none := func(p *AlertParts) { p.Alert.FloorShare, p.Alert.FloorBytes = 0, 0 }
	last.Figures.Change.NewBytes = 100e6 + 1
	v = alertOf(segments, none)
	checkAlert(t, v, StatusWarning)
	if r := reason(v, MeasureNewBytes); r.Score != nil {
		t.Errorf("a score of %v out of no spread", *r.Score)
	}
	// With the floor the same stir is usual.
	checkAlert(t, alertOf(segments, nil), StatusUsual)
}

// A class of day with too few nights is compared with a wider one, is at most a
// warning by that, and what the class itself has brought before is no news.
func TestAlertWidens(t *testing.T) {
	sunday := alertNights(10)[:11] // night 10 is Sunday, 11 October
	if d := logbook.Night(sunday[10].Taken); d.Weekday() != time.Sunday {
		t.Fatalf("the last night is a %s", d.Weekday())
	}
	sunday[10].Figures.Change.NewBytes = 900e6
	v := alertOf(sunday, nil)
	checkAlert(t, v, StatusWarning, "too few of its own class")
	if r := reason(v, MeasureNewBytes); *r.Score < engine.Default().Alert.CriticalScore {
		t.Errorf("score %v", *r.Score)
	}
	sunday[3].Figures.Change.NewBytes = 880e6 // the Sunday before
	v = alertOf(sunday, nil)
	checkAlert(t, v, StatusUsual, "which brought as much before")
}

// A step over several dates is compared with nothing but such steps.
func TestAlertNeverDivides(t *testing.T) {
	segments := alertNights(20)
	last := &segments[20]
	last.Taken, last.Figures.Change.Spanned = last.Taken.AddDate(0, 0, 2), 3
	last.Started = last.Taken
	last.Figures.Change.NewBytes = 300e6
	v := alertOf(segments, nil)
	checkAlert(t, v, StatusUnknown, "covers 3 dates and is not divided", "0 nights of 7")
	if !v.TooYoung() {
		t.Error("a step that only time can judge calls somebody")
	}
	// Without any nights to know better by, that is not known.
	first := alertNights(1)
	first[1].Taken, first[1].Figures.Change.Spanned = first[0].Taken.Add(time.Hour), 0
	checkAlert(t, alertOf(first, nil), StatusUnknown, "within the baseline's own date")
	// Where nobody scans on weekends, Mondays are judged by Mondays.
	var office []logbook.Segment
	for _, s := range alertNights(70) {
		if d := logbook.Night(s.Taken).Weekday(); d != time.Saturday && d != time.Sunday {
			s.Number = len(office) + 1
			if d == time.Monday {
				s.Figures.Change.NewBytes = 300e6
			}
			office = append(office, s)
		}
	}
	for logbook.Night(office[len(office)-1].Taken).Weekday() != time.Monday {
		office = office[:len(office)-1]
	}
	v = alertOf(office, nil)
	checkAlert(t, v, StatusUsual, "300 MB new, usual 300 MB (always 300 MB)")
	office[len(office)-1].Figures.Change.NewBytes = 900e6
	checkAlert(t, alertOf(office, nil), StatusCritical, "900 MB new, usual 300 MB")
}

func TestAlertCompressedShare(t *testing.T) {
	segments := alertNights(20)
	last := segments[20].Figures
	// The folder's new data turned to noise under an ending that was never there: the
	// type has no past, its folder has.
	last.Types = []logbook.SplitTotals{{Name: "q7x", NewBytes: 60e6, NewPacked: 60e6}}
	last.Folders[0] = logbook.SplitTotals{Name: "share/a", NewBytes: 60e6, NewPacked: 60e6}
	v := alertOf(segments, nil)
	checkAlert(t, v, StatusWarning, "share/a compresses to 100 % of its size, usual 50.0 %")
	for _, r := range v.Judged {
		if r.Measure == MeasureCompressedShare && r.Of.Raw == "q7x" {
			t.Errorf("a type without a past was judged: %+v", r)
		}
	}
	// In the same files: the type's own past tells.
	last.Types = []logbook.SplitTotals{{Name: "dwg", NewBytes: 60e6, NewPacked: 60e6}}
	checkAlert(t, alertOf(segments, nil), StatusWarning, ".dwg files compresses to 100 %")
	// Too little to matter: below the floor of bytes nothing is said.
	last.Types[0] = logbook.SplitTotals{Name: "dwg", NewBytes: 9e6, NewPacked: 9e6}
	last.Folders[0] = logbook.SplitTotals{Name: "share/a", NewBytes: 9e6, NewPacked: 9e6}
	checkAlert(t, alertOf(segments, nil), StatusUsual)
	// Not measured is not "did not compress".
	last.Types[0] = logbook.SplitTotals{Name: "dwg", NewBytes: 60e6, NewPacked: -1}
	last.Folders[0] = logbook.SplitTotals{Name: "share/a", NewBytes: 60e6, NewPacked: -1}
	checkAlert(t, alertOf(segments, nil), StatusUsual)
}

func TestAlertRenamed(t *testing.T) {
	segments := alertNights(20)
	segments[20].Figures.Renamed = &logbook.RenamedTotals{Files: 300, Folders: []logbook.RenamedFolder{{Name: "share/a", Files: 280}, {Name: "share/b", Files: 20}}}
	checkAlert(t, alertOf(segments, nil), StatusCritical, "300 files given another name or ending", "share/a 280 files")
	// Summaries of an older version did not count them: that is not zero.
	for i := range segments {
		segments[i].Figures.Renamed = nil
	}
	v := alertOf(segments, nil)
	checkAlert(t, v, StatusUsual)
	if reason(v, MeasureRenamedFiles) != nil {
		t.Error("what was not counted was judged")
	}
}

func TestAlertNothingTouched(t *testing.T) {
	segments := alertNights(20)
	c := segments[20].Figures.Change
	c.TouchedFiles, c.TouchedBytes, c.NewBytes, c.NewCompressedBytes = 0, 0, 0, 0
	checkAlert(t, alertOf(segments, nil), StatusWarning, "not one file was touched", "is the right tree measured?")
	segments[15].Figures.Change.TouchedFiles = 0 // it has happened before
	checkAlert(t, alertOf(segments, nil), StatusUsual)
}

func TestAlertCoverage(t *testing.T) {
	for _, c := range []struct {
		share  float64
		status AlertStatus
	}{{1, StatusUsual}, {0.995, StatusUsual}, {0.98, StatusWarning}, {0.89, StatusCritical}} {
		segments := alertNights(20)
		segments[20].Coverage.CoveredShare = c.share
		segments[20].Coverage.UnreadFiles = 3
		asked := false
		v := alertOf(segments, func(p *AlertParts) {
			p.Unread = func() ([]measure.UnreadFolder, error) {
				asked = true
				return []measure.UnreadFolder{{Name: "share/a", Files: 10, Bytes: 1e9, UnreadFiles: 3, UnreadBytes: 2e8}}, nil
			}
		})
		checkAlert(t, v, c.status)
		if asked != (c.status != StatusUsual) {
			t.Errorf("%v: the entries were read: %t", c.share, asked)
		}
		if c.status != StatusUsual && !strings.Contains(v.Line, "[share/a 3 files, 200 MB unread]") {
			t.Errorf("%v: %s", c.share, v.Line)
		}
	}
	segments := alertNights(20)
	segments[20].Partial = true
	checkAlert(t, alertOf(segments, nil), StatusWarning, "stopped before its end")
}

func TestAlertAge(t *testing.T) {
	segments := alertNights(20)
	for hours, want := range map[float64]AlertStatus{3: StatusUsual, 29.9: StatusUsual, 30: StatusWarning, 54: StatusCritical, -2: StatusUnknown} {
		v := alertOf(segments, func(p *AlertParts) {
			p.Now = segments[20].Started.Add(time.Duration(hours * float64(time.Hour)))
		})
		checkAlert(t, v, want)
	}
	// A scan that was stopped is no good scan.
	segments[20].Partial = true
	v := alertOf(segments, func(p *AlertParts) { p.Now = segments[20].Started.Add(10 * time.Hour) })
	if r := reason(v, MeasureGoodScanAge); *r.Value != 34*3600 || r.Status != StatusWarning {
		t.Errorf("age %v, %s", *r.Value, r.Status)
	}
	// An earlier snapshot has no age.
	if v := alertOf(alertNights(20), func(p *AlertParts) { p.Now = time.Time{} }); reason(v, MeasureGoodScanAge) != nil {
		t.Error("an earlier snapshot was given an age")
	}
}

// Days to a forecast date count from the newest snapshot. What the clock says is told
// apart, and only a measured size makes a plan full.
func TestAlertPlan(t *testing.T) {
	taken := alertNights(20)[20].Taken
	in := func(days int) *time.Time {
		d := estimate.Night(taken).AddDate(0, 0, days)
		return &d
	}
	plan := &engine.Plan{Name: "shed\n", Current: true, CapacityBytes: 2e9}
	planOf := func(full *estimate.FullRange, fits bool) *PlanFull {
		return NewPlanFull(plan, &estimate.Result{
			Keep: &estimate.Keep{NowBytes: 2.5e9}, Plans: []estimate.Plan{{Name: plan.Name, FitsNow: fits, Full: full}},
		}, taken)
	}
	of := func(now time.Time, p *PlanFull) *Alert {
		return alertOf(alertNights(20), func(a *AlertParts) {
			a.Plan = p
			if !now.IsZero() {
				a.Now = now
			}
		})
	}
	for _, c := range []struct {
		days   int
		status AlertStatus
	}{{90, StatusUsual}, {89, StatusWarning}, {29, StatusCritical}} {
		v := of(time.Time{}, planOf(&estimate.FullRange{Early: *in(c.days - 9), Mid: in(c.days), Late: in(c.days + 9)}, true))
		checkAlert(t, v, c.status)
		r := reason(v, MeasurePlanFull)
		want := fmt.Sprintf("is forecast to be full between %s and %s (80 %% interval), as likely before as after %s, %d d after the newest snapshot",
			dateText(*in(c.days - 9)), dateText(*in(c.days + 9)), dateText(*in(c.days)), c.days)
		if *r.Value != float64(c.days) || !strings.Contains(r.Evidence, want) || strings.Contains(v.Line, "is unusual") {
			t.Errorf("%d days: %v, %s, want %s", c.days, *r.Value, v.Line, want)
		}
	}
	// Half a year later nothing was measured since: the same days, and no word of "is full".
	forecast := &estimate.FullRange{Early: *in(91), Mid: in(100), Late: in(109)}
	v := of(taken.AddDate(0, 0, 200), planOf(forecast, true))
	checkAlert(t, v, StatusCritical, "the last good scan began", dateText(*in(109))+" has passed since the last scan")
	if r := reason(v, MeasurePlanFull); *r.Value != 100 || r.Status != StatusWarning || strings.Contains(v.Line, "is full") || strings.Contains(v.Line, "is unusual") {
		t.Errorf("%v %s: %s", *r.Value, r.Status, v.Line)
	}
	if r := reason(of(taken.AddDate(0, 0, 95), planOf(forecast, true)), MeasurePlanFull); !strings.Contains(r.Evidence, dateText(*in(91))+" has passed") {
		t.Error(r.Evidence)
	}
	if r := reason(of(time.Time{}, planOf(&estimate.FullRange{Early: *in(5), Mid: in(20)}, true)), MeasurePlanFull); !strings.Contains(r.Evidence, "full on "+dateText(*in(5))+" at the earliest") {
		t.Error(r.Evidence)
	}
	v = of(time.Time{}, planOf(&estimate.FullRange{Early: *in(0), Mid: in(0), Late: in(0)}, false))
	checkAlert(t, v, StatusCritical, `plan "shed\n" is full: 2.50 GB are kept, and it takes 2.00 GB`)
	// Beside an unusual night the plan comes after it.
	segments := alertNights(20)
	segments[20].Figures.Change.NewBytes = 800e6
	v = alertOf(segments, func(p *AlertParts) { p.Plan = planOf(&estimate.FullRange{Early: *in(5), Mid: in(20)}, true) })
	checkAlert(t, v, StatusCritical, "is unusual: 800 MB new", "; besides, plan ")
	v = of(time.Time{}, &PlanFull{Name: "shed", Reason: "too few nights"})
	checkAlert(t, v, StatusUsual)
	if r := reason(v, MeasurePlanFull); r.Value != nil || r.ValueReason != "too few nights" {
		t.Errorf("%+v", r)
	}
}

// Only that nights are too few is nobody's business in the morning.
func TestAlertTooYoung(t *testing.T) {
	for n, want := range map[int]bool{0: true, 3: true, 20: false} {
		if v := alertOf(alertNights(n), nil); v.TooYoung() != want {
			t.Errorf("%d nights: %v, %s", n, v.TooYoung(), v.Line)
		}
	}
	clock := alertOf(alertNights(3), func(p *AlertParts) { p.Now = p.Now.AddDate(0, 0, -9) })
	none := alertNights(20)
	none[20].Figures = nil
	for _, v := range []*Alert{clock, alertOf(none, nil), alertOf(nil, nil), UnknownAlert("no logbook")} {
		if v.Status != StatusUnknown || v.TooYoung() {
			t.Errorf("%s is taken for a young logbook", v.Line)
		}
	}
}

func TestAlertHostileNames(t *testing.T) {
	for _, hostile := range hostileTexts {
		segments := alertNights(20)
		for i := range segments {
			f := segments[i].Figures
			f.Folders[0].Name, f.Types[0].Name = "share/"+hostile, hostile
		}
		last := segments[20].Figures
		last.Change.NewBytes = 500e6
		last.Renamed = &logbook.RenamedTotals{Files: 300, Folders: []logbook.RenamedFolder{{Name: "share/" + hostile, Files: 300}}}
		last.Types[0].NewPacked = last.Types[0].NewBytes
		v := alertOf(segments, nil)
		checkAlert(t, v, StatusCritical)
		for _, r := range v.Line {
			if r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u202e' || r == '\u200b' {
				t.Errorf("%q: %q", hostile, v.Line)
			}
		}
	}
	if v := UnknownAlert("a\nb|c\x1b[2J"); strings.ContainsAny(v.Line, "\n|\x1b") {
		t.Errorf("%q", v.Line)
	}
}

// Names that attack what prints them.
var hostileTexts = []string{
	"line\nbreak", "\x1b[2Jclear", "c1\u009b31m", "bad\xff\xfe", "\u202egpj.exe", "zero\u200bwidth",
	"=1+1", "@SUM(A1)", `quote",comma`, `back\slash`, "<script>alert(1)</script>", "bar|'x'=9", `{a="b"} 1`,
}
