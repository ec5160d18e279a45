package measure

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// trendSegment is an invented summary.
func trendSegment(n int, taken time.Time, spanned int, news int64) logbook.Segment {
	return logbook.Segment{
		Number: n, Taken: taken, Started: taken,
		Coverage: logbook.Coverage{Files: 100, ApparentBytes: 1e9, CoveredShare: 1},
		Work:     logbook.Work{ElapsedSeconds: 60, ReadBytes: news},
		Figures: &logbook.Figures{
			Explain: logbook.ExplainTotals{Files: 100, SourceBytes: 1e9, UniqueBytes: 9e8, UniqueChunks: 9000, References: 10000, CompressedBytes: 6e8},
			Change: &logbook.ChangeTotals{
				From: n - 1, To: n, Spanned: spanned, TouchedFiles: 10, TouchedBytes: 3 * news, ChangedFiles: 8, ChangedBytes: 2 * news,
				NewChunks: 5, NewBytes: news, NewCompressedBytes: news / 2, NewReferences: 7, ReturningBytes: 3, FreedBytes: 4,
				Causes: []logbook.CauseTotals{{Cause: string(Edited), Files: 8, Bytes: 2 * news, NewBytes: news}},
			},
			Types:   []logbook.SplitTotals{{Name: "dwg", Files: 100, SourceBytes: 1e9, NewBytes: news, NewPacked: news / 2}},
			Folders: []logbook.SplitTotals{{Name: "a/b", Files: 100, SourceBytes: 1e9, NewBytes: news, NewPacked: news / 2}},
			Renamed: &logbook.RenamedTotals{Files: 2, Folders: []logbook.RenamedFolder{{Name: "a/b", Files: 2}}},
		},
	}
}

// at is 22:00 of a day of October 2026, which began on a Thursday.
func octoberNight(day int) time.Time {
	return time.Date(2026, 10, day, 22, 0, 0, 0, time.FixedZone("", 2*3600))
}

func TestTrendAddsUpWithinADate(t *testing.T) {
	segments := []logbook.Segment{
		trendSegment(1, octoberNight(1), 0, 0),
		trendSegment(2, octoberNight(1).Add(time.Hour), 0, 50),    // more of the baseline's date
		trendSegment(3, octoberNight(2), 1, 1000),                 // Friday …
		trendSegment(4, octoberNight(2).Add(4*time.Hour), 0, 400), // … 02:00 on Saturday is Friday still
		trendSegment(5, octoberNight(5), 3, 9000),                 // Monday: the weekend was missed
		trendSegment(6, octoberNight(6), 1, 700),
	}
	profile := &engine.Profile{PerChunkBytes: 10, PerReferenceBytes: 1, PerFileBytes: 100}
	got := TrendOf(segments, TrendOptions{Options: Options{Profile: profile}})
	if len(got.Nights) != 4 {
		t.Fatalf("%d nights", len(got.Nights))
	}
	for i, want := range []struct {
		from, to, spanned int
		news              int64
		aside             Aside
		class, date       string
	}{
		{1, 2, 0, 50, AsideSpanned, Weekday, "2026-10-01"},
		{2, 4, 1, 1400, "", Weekday, "2026-10-02"},
		{4, 5, 3, 9000, AsideSpanned, Weekday, "2026-10-05"},
		{5, 6, 1, 700, "", Weekday, "2026-10-06"},
	} {
		n := got.Nights[i]
		if n.From != want.from || n.To != want.to || n.Spanned != want.spanned || n.NewBytes != want.news || n.Aside != want.aside ||
			n.Counts != (want.aside == "") || n.Class != want.class || n.Date.Format(time.DateOnly) != want.date {
			t.Errorf("night %d: %+v", i, n)
		}
	}
	joined := got.Nights[1]
	if joined.TouchedBytes != 3*1400 || joined.ChangedFiles != 16 || joined.NewCompressedBytes != 700 || joined.RenamedFiles != 4 ||
		joined.ReturningBytes != 6 || joined.FreedBytes != 8 || joined.ScanSeconds != 120 {
		t.Errorf("the sums of a date: %+v", joined)
	}
	if want := int64(700 + 2*(5*10+7*1+8*100)); joined.UploadBytes != want {
		t.Errorf("upload %d, want %d", joined.UploadBytes, want)
	}
	if want := int64(6e8 + 9000*10 + 10000*1 + 100*100); joined.StoredBytes != want {
		t.Errorf("stored %d, want %d", joined.StoredBytes, want)
	}
	if len(joined.Types) != 1 || joined.Types[0].NewBytes != 1400 || joined.Types[0].SourceBytes != 1e9 || joined.Causes[0].Files != 16 ||
		joined.Renamed[0].Files != 4 {
		t.Errorf("splits of a date: %+v", joined)
	}
	// The segments are the logbook's own: nothing was added to them.
	if segments[2].Figures.Types[0].NewBytes != 1000 || segments[2].Figures.Renamed.Folders[0].Files != 2 || segments[2].Figures.Change.Causes[0].Files != 8 {
		t.Error("the summaries were changed")
	}
	if len(got.Usual) != 1 || got.Usual[0].Nights != 2 || got.Usual[0].Median != 1050 {
		t.Errorf("usual %+v", got.Usual)
	}
	if got.Weekdays[time.Friday].Nights != 1 || got.Weekdays[time.Monday].Nights != 0 {
		t.Errorf("weekdays %+v", got.Weekdays)
	}
}

// What was stopped, not read or not computed is shown and does not count.
func TestTrendSetsAside(t *testing.T) {
	var segments []logbook.Segment
	for day := 1; day <= 7; day++ {
		segments = append(segments, trendSegment(day, octoberNight(day), 1, 100))
	}
	segments[1].Partial = true // and so the night after it, which catches up
	segments[3].Coverage.CoveredShare = 0.98
	segments[4].Figures = nil
	segments[5].Figures.Renamed = nil
	segments[6].Figures.Change.NewCompressedBytes = -1
	segments[6].Figures.Explain.CompressedBytes = -1
	got := TrendOf(segments, TrendOptions{})
	var asides []Aside
	for _, n := range got.Nights {
		asides = append(asides, n.Aside)
	}
	if want := []Aside{AsideStopped, AsideStopped, AsideUncovered, AsideUnknown, "", ""}; !slices.Equal(asides, want) {
		t.Errorf("asides %q, want %q", asides, want)
	}
	if n := got.Nights[3]; n.Measured || n.NewBytes != 0 || n.UploadBytes != -1 || n.StoredBytes != -1 || n.RenamedFiles != -1 {
		t.Errorf("without figures: %+v", n)
	}
	if n := got.Nights[4]; n.RenamedFiles != -1 || n.NewBytes != 100 {
		t.Errorf("by an older version: %+v", n)
	}
	if n := got.Nights[5]; n.UploadBytes != -1 || n.StoredBytes != -1 || n.NewBytes != 100 {
		t.Errorf("without compression: %+v", n)
	}
	if got := TrendOf(segments, TrendOptions{LeastCovered: 0.9}); got.Nights[2].Aside != "" {
		t.Errorf("98 %% are enough where 90 %% are asked for: %+v", got.Nights[2])
	}
	if only := TrendOf(segments[:1], TrendOptions{}); len(only.Nights) != 0 || len(only.Usual) != 0 || len(only.Growth) != 0 {
		t.Errorf("one snapshot: %+v", only)
	}
}

// The promise of a usual range against the plain meaning: of n+1 values in random
// order, how often does the last lie between the r-th smallest and the r-th largest
// of the others? All orders of n+1 ranks are equally likely, so this counts exactly.
func TestUsualRangeKeepsItsPromise(t *testing.T) {
	for n := 2; n <= 60; n++ {
		values := make([]float64, n)
		for i := range values {
			values[i] = float64(i + 1)
		}
		u := UsualValues(values)
		inside := 0
		for next := range n + 1 { // the next value's rank among all: it falls before value next+1
			x := float64(next) + 0.5
			if u.Low < x && x < u.High {
				inside++
			}
		}
		if got := float64(inside) / float64(n+1); got < u.Coverage-1e-9 || got > u.Coverage+1e-9 {
			t.Errorf("%d nights: %v promised, %v kept", n, u.Coverage, got)
		}
		if n >= 9 && u.Coverage < usualShare-1e-9 {
			t.Errorf("%d nights promise only %v", n, u.Coverage)
		}
		narrower := u.Low + 1 // one value further in on both sides would promise too little
		if promised := float64(n+1-2*int(narrower)) / float64(n+1); n >= 9 && promised >= usualShare {
			t.Errorf("%d nights: the range could be narrower and still promise %v", n, promised)
		}
	}
	if u := UsualValues([]float64{5}); u.Coverage != 0 || u.Median != 5 || u.Nights != 1 {
		t.Errorf("one night: %+v", u)
	}
	// The largest of 5 covers the next with 5/6 (Wilks 1941), the smallest takes away
	// another sixth.
	if u := UsualValues([]float64{3, 1, 2, 5, 4}); u.Low != 1 || u.High != 5 || u.Coverage < 0.6666 || u.Coverage > 0.6667 {
		t.Errorf("five nights: %+v", u)
	}
}

func TestTrendGrowth(t *testing.T) {
	var segments []logbook.Segment
	for day := 1; day <= 20; day++ {
		s := trendSegment(day, octoberNight(day), 1, 100)
		s.Figures.Explain.CompressedBytes = 6e8 + int64(day)*1_000_000
		if day == 11 {
			s.Figures.Explain.CompressedBytes = 9e9 // one wild night does not carry the line
		}
		segments = append(segments, s)
	}
	got := TrendOf(segments, TrendOptions{})
	if len(got.Growth) != 2 || got.Growth[0].Of != "stored_bytes" {
		t.Fatalf("growth %+v", got.Growth)
	}
	if g := got.Growth[0]; g.PerDay < 0.99e6 || g.PerDay > 1.01e6 || g.Low > 1e6 || g.High < 1e6 || g.Nights != 19 || g.Confidence < 0.9 {
		t.Errorf("stored: %+v", g)
	}
	if g := got.Growth[1]; g.PerDay != 0 {
		t.Errorf("source: %+v", g)
	}
}

// The last working day of every month of thirty years, against a slow search.
func TestDayClass(t *testing.T) {
	working := func(d time.Time) bool { return d.Weekday() != time.Saturday && d.Weekday() != time.Sunday }
	for d := utcDate(2010, 1, 1); d.Year() < 2040; d = d.AddDate(0, 0, 1) {
		last := utcDate(d.Year(), int(d.Month())+1, 1)
		for last = last.AddDate(0, 0, -1); !working(last); last = last.AddDate(0, 0, -1) {
		}
		want := Weekday
		switch {
		case !working(d):
			want = Weekend
		case d.Equal(last):
			want = MonthEnd
		}
		if got := DayClass(d); got != want {
			t.Fatalf("%s: %s, want %s", d.Format("2006-01-02 Monday"), got, want)
		}
	}
	// A zone in which a day has no midnight does not shift the date.
	if got := DayClass(time.Date(2026, 10, 30, 23, 59, 0, 0, time.FixedZone("", -11*3600))); got != MonthEnd {
		t.Errorf("Friday, 30 October 2026: %s", got)
	}
}

// slowRenamed counts by the definition, pair by pair.
func slowRenamed(prev, cur mNight) (n int64) {
	without := func(name string) string { return string(stemOf([]byte(name))) }
	last := func(name string) string { return string(lastName([]byte(name))) }
	for _, name := range namesOf(cur) {
		f := cur[name]
		if _, was := prev[name]; was {
			continue
		}
		ending, left, kept := false, false, false
		for _, old := range namesOf(prev) {
			if _, still := cur[old]; still {
				continue
			}
			g := prev[old]
			if without(old) == name || old == without(name) || without(old) == without(name) {
				ending = true
			}
			if g.contents() == f.contents() {
				left = true
				kept = kept || last(old) == last(name)
			}
		}
		if ending || left && !kept {
			n++
		}
	}
	return n
}

func TestRenamedAgainstPairs(t *testing.T) {
	dir := t.TempDir()
	runs := 0
	any := false
	rapid.Check(t, func(r *rapid.T) {
		runs++
		names := []string{"a/x.dwg", "a/x.dwg.q", "a/x.old", "a/x", "a/d/x.dwg", "a/d/y.dwg", "b/x.dwg", "a/.x", "a/.x.dwg", "a/y.", "a/y"}
		night := func() mNight {
			n := mNight{}
			for _, name := range names {
				if rapid.Bool().Draw(r, "there") {
					tokens := []string{}
					if k := rapid.IntRange(0, 3).Draw(r, "contents"); k > 0 {
						tokens = append(tokens, "c"+string(rune('0'+k)))
					}
					n[name] = mFile{tokens: tokens, mtime: 5}
				}
			}
			return n
		}
		nights := []mNight{night(), night(), night()}
		b := book(t, fmt.Sprintf("%s/%d", dir, runs), nights)
		var sum int64
		for i := 1; i < len(nights); i++ {
			want := slowRenamed(nights[i-1], nights[i])
			sum += want
			any = any || want > 0
			kept := b.Segments()[i].Figures.Renamed
			if kept == nil || kept.Files != want {
				r.Fatalf("night %d: %+v, want %d files\n%v\n%v", i, kept, want, namesOf(nights[i-1]), namesOf(nights[i]))
			}
			var inFolders int64
			for _, f := range kept.Folders {
				inFolders += f.Files
			}
			if inFolders != want {
				r.Fatalf("night %d: folders add up to %d of %d", i, inFolders, want)
			}
		}
		c, err := ChangeBetween(t.Context(), b, 1, 3, Options{})
		must(t, err)
		if c.Renamed.Files != sum {
			r.Fatalf("both nights: %d, want %d", c.Renamed.Files, sum)
		}
	})
	if !any {
		t.Error("no night had a renamed file: the check checked nothing")
	}
}

// A folder that gets another name leaves the names in it as they are.
func TestRenamedFolderIsNoRenamedFile(t *testing.T) {
	before := mNight{"a/old/1.jpg": {tokens: []string{"c1"}}, "a/old/2.jpg": {tokens: []string{"c2"}}, "a/log": {tokens: []string{"c3"}}}
	after := mNight{"a/new/1.jpg": {tokens: []string{"c1"}}, "a/new/2.jpg": {tokens: []string{"c2"}}, "a/log.1": {tokens: []string{"c3"}}, "a/log": {tokens: []string{"c4"}}}
	noise := mNight{"a/new/1.jpg.q7x": {tokens: []string{"c8"}}, "a/new/2.jpg.q7x": {tokens: []string{"c9"}}, "a/log.1": {tokens: []string{"c3"}}, "a/log": {tokens: []string{"c4"}}}
	b := book(t, t.TempDir(), []mNight{before, after, noise, after})
	for i, want := range []int64{0, 2, 2} {
		if got := b.Segments()[i+1].Figures.Renamed.Files; got != want {
			t.Errorf("night %d: %d files, want %d", i+1, got, want)
		}
	}
	if got := b.Segments()[2].Figures.Renamed.Folders; len(got) != 1 || got[0].Name != "a/new" || got[0].Files != 2 {
		t.Errorf("folders %+v", got)
	}
}

// thousand are the summaries of a thousand nights with full splits.
func thousand() []logbook.Segment {
	r := rand.New(rand.NewPCG(1, 2))
	var segments []logbook.Segment
	for n := range 1001 {
		s := trendSegment(n+1, octoberNight(1).AddDate(0, 0, n), min(n, 1), 1e6+r.Int64N(1e6))
		for k := range keptSplits - 1 {
			row := logbook.SplitTotals{Name: "a/folder " + string(rune('a'+k)), Files: 5, SourceBytes: 1e6, NewBytes: 1000, NewPacked: r.Int64N(1000)}
			s.Figures.Folders, s.Figures.Types = append(s.Figures.Folders, row), append(s.Figures.Types, row)
		}
		segments = append(segments, s)
	}
	return segments
}

func BenchmarkTrendOf(b *testing.B) {
	segments := thousand()
	for b.Loop() {
		TrendOf(segments, TrendOptions{})
	}
}
