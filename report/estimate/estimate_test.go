package estimate

import (
	"math"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

func reasons(r *Result) map[string]Refusal {
	out := map[string]Refusal{}
	for _, x := range r.Refused {
		out[x.Question] = x
	}
	return out
}

// sentence: one, with its full stop.
var sentence = regexp.MustCompile(`^[^\n]+[^.]\.$`)

func checkRefusals(t *testing.T, r *Result) {
	t.Helper()
	if r.Refused == nil {
		t.Error("the refusals are nil, not empty")
	}
	seen := map[string]bool{}
	for _, x := range r.Refused {
		if x.Question == "" || seen[x.Question] || !sentence.MatchString(x.Reason) || x.NightsNeeded < 0 {
			t.Errorf("refusal %+v", x)
		}
		if x.NightsNeeded > 0 && x.NightsNeeded <= r.Nights-r.Spanned && !strings.HasPrefix(x.Question, "keep.horizon") {
			t.Errorf("%s needs %d nights of %d", x.Question, x.NightsNeeded, r.Nights)
		}
		seen[x.Question] = true
	}
}

// What is answered and what is refused grows with the nights. The numbers come
// from order statistics: the median's smallest and largest value cover it with
// 1 − 2·½ⁿ ≥ 0.8 from 4 nights on, the nine-in-ten quantile with 1 − 0.9ⁿ − 0.1ⁿ
// from 16; a miss in ten can be told from none from 9 on.
func TestAnswersGrowWithNights(t *testing.T) {
	whole := year(3, 394)
	needs := testNeeds()
	for _, c := range []struct {
		nights  int
		refused string
	}{
		{0, "keep.horizon nightly seed.change"},
		{1, "keep.horizon nightly.median nightly.month nightly.next_30 nightly.p90 nightly.smallest_up usual.month-end usual.weekday usual.weekend"},
		{5, "keep.horizon nightly.month nightly.next_30 nightly.p90 nightly.smallest_up usual.month-end usual.weekday usual.weekend"},
		{9, "keep.horizon nightly.month nightly.next_30 nightly.p90 usual.month-end usual.weekend"},
		{14, "keep.horizon nightly.month nightly.next_30 nightly.p90 usual.month-end usual.weekend"}, // no month-end yet
		{28, "keep.horizon nightly.next_30 usual.month-end"},
		{60, "nightly.next_30 usual.month-end"},
		{120, "usual.month-end"},
		{160, ""},
	} {
		r := Estimate(first(whole, c.nights+1), needs)
		checkRefusals(t, r)
		want := map[string]bool{}
		for _, q := range strings.Fields(c.refused) {
			want[q] = true
		}
		got := reasons(r)
		for q, x := range got {
			if !want[q] {
				t.Errorf("%d nights: refused %s: %s", c.nights, q, x.Reason)
			}
		}
		for q := range want {
			if _, ok := got[q]; !ok {
				t.Errorf("%d nights: %s is answered", c.nights, q)
			}
		}
		if r.Nights != c.nights || r.Snapshots != c.nights+1 {
			t.Errorf("%d nights: %d", c.nights, r.Nights)
		}
	}
	// The numbers of nights needed.
	r := reasons(Estimate(first(whole, 6), needs))
	for q, want := range map[string]int{
		"nightly.p90": 16, "nightly.smallest_up": 9, "keep.horizon": 14, "nightly.month": 14, "nightly.next_30": 120,
		"usual.weekend":   5 + 14,  // Saturday, 11 January, is the first: the fifth is Saturday the 25th
		"usual.month-end": 5 + 139, // the fifth month-end is Friday, 30 May
	} {
		if r[q].NightsNeeded != want {
			t.Errorf("%s needs %d nights, want %d", q, r[q].NightsNeeded, want)
		}
	}
	r = reasons(Estimate(first(whole, 15), needs)) // up to Monday, 20 January; the month ends on Friday, the 31st
	if got := r["nightly.month"]; got.NightsNeeded != 14+11 || !strings.Contains(got.Reason, "month-end") {
		t.Errorf("%+v", got)
	}
}

// The k-of-m rows of the project's outside checks: 5 nights → next 0.83, all of
// 30 0.14; 28 → 0.48; 120 → 0.80; largest of 29 bounds the p90 with .95290.
func TestPromise(t *testing.T) {
	for n, want := range map[int][2]float64{5: {0.8333, 0.1429}, 28: {0.9655, 0.4828}, 120: {0.9917, 0.80}} {
		p := promise(n)
		if math.Abs(p.NextWithinLargest-want[0]) > 5e-5 || math.Abs(p.AllWithinLargest-want[1]) > 5e-5 || p.AllNeeds != 120 || p.LargestBoundsP90Needs != 29 {
			t.Errorf("%d nights: %+v, want %v", n, p, want)
		}
	}
	if p := promise(29); math.Abs(p.LargestBoundsP90-0.95290) > 5e-6 {
		t.Errorf("largest of 29: %v", p.LargestBoundsP90)
	}
	if p := promise(0); p.NextWithinLargest != 0 || p.AllWithinLargest != 0 {
		t.Errorf("no nights: %+v", p)
	}
}

func TestOnlyBaseline(t *testing.T) {
	in := first(year(1, 30), 1)
	r := Estimate(in, testNeeds())
	checkRefusals(t, r)
	l := r.Lines[0]
	if l.Nightly != nil || l.Seed == nil || l.Seed.ChangeKnown || l.Restore == nil {
		t.Fatalf("line %+v", l)
	}
	if l.Seed.Low.Nights != l.Seed.High.Nights || l.Seed.Mid.NightlyBytes != 0 || l.Seed.Mid.Never {
		t.Errorf("first upload %+v", l.Seed)
	}
	if r.Keep == nil || r.Keep.NowBytes != StoredBytes(in.Spans, []int{1}, testNeeds().Profile) || len(r.Keep.Horizon) != 0 || r.Keep.WhyHorizon == "" {
		t.Errorf("keep %+v", r.Keep)
	}
	for _, p := range r.Plans {
		if p.HorizonCost != nil || p.WhyCost == "" || p.FitsShare != nil {
			t.Errorf("plan %+v", p)
		}
	}
	if b := RunBacktest(in, testNeeds(), 0); b.Why == "" || len(b.Scores) != 0 {
		t.Errorf("backtest %+v", b)
	}
}

func TestOneNight(t *testing.T) {
	r := Estimate(first(year(1, 30), 2), testNeeds())
	checkRefusals(t, r)
	n := r.Lines[0].Nightly
	if n == nil || len(n.Runs) != 1 || n.Median != nil || n.P90 != nil || n.SmallestUp != nil || n.WhySmallest == "" || n.Longest == nil {
		t.Fatalf("%+v", n)
	}
	if n.Fits.All != 1 || n.Fits.High != 1 || n.Fits.Low <= 0 || n.Fits.Low >= 1 {
		t.Errorf("share %+v", n.Fits)
	}
}

func TestNeedsWithoutAnything(t *testing.T) {
	needs := &engine.Needs{Zone: time.UTC, GoalShare: 0.9, Horizon: engine.Horizon{Months: 12}, Restore: engine.Restore{ParallelRequests: 1}}
	r := Estimate(year(1, 61), needs)
	checkRefusals(t, r)
	got := reasons(r)
	for _, q := range []string{"seed", "nightly", "restore"} {
		if _, ok := got[q]; !ok {
			t.Errorf("%s is answered without a line", q)
		}
	}
	if len(r.Lines) != 0 || len(r.Plans) != 0 || !r.Keep.Assumed || !r.Keep.Policy.All {
		t.Errorf("%+v", r)
	}
	needs.Lines = []engine.Line{{Name: "up only", UpBitsPerSecond: 1e6, Efficiency: 1}}
	r = Estimate(year(1, 61), needs)
	if _, ok := reasons(r)["restore"]; !ok || r.Lines[0].Restore != nil {
		t.Error("restored without a down rate")
	}
}

func TestLineThatSendsNothing(t *testing.T) {
	needs := testNeeds()
	needs.Lines[0].Limits = []engine.Limit{{Days: everyDay, From: 0, To: daySeconds}}
	r := Estimate(year(1, 61), needs)
	checkRefusals(t, r)
	n := r.Lines[0].Nightly
	if !r.Lines[0].Seed.Mid.Never || n.Median != nil || n.P90 != nil || n.SmallestUp != nil || n.Longest != nil || n.FitsNights != 0 {
		t.Errorf("%+v", n)
	}
	if n.Limits[0].FitsNights == 0 {
		t.Errorf("without the limit: %+v", n.Limits[0])
	}
	for _, f := range []float64{n.Fits.Value, n.Fits.Low, n.Fits.High, n.Backlog.Value} {
		if math.IsNaN(f) || f < 0 || f > 1 {
			t.Errorf("share %v", f)
		}
	}
}

func TestHorizonInThePast(t *testing.T) {
	in := year(1, 61)
	for _, day := range []time.Time{
		time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC),
		dateOf(Night(in.Taken[60])).utc(), // the last night itself
	} {
		needs := testNeeds()
		needs.Horizon = engine.Horizon{Date: day}
		r := Estimate(in, needs)
		checkRefusals(t, r)
		if x := reasons(r)["keep.horizon"]; !strings.Contains(x.Reason, day.Format(time.DateOnly)) || x.NightsNeeded != 0 {
			t.Errorf("%+v", x)
		}
		if r.Keep.NowBytes == 0 || len(r.Keep.Horizon) != 0 {
			t.Errorf("keep %+v", r.Keep)
		}
	}
	needs := testNeeds()
	needs.Horizon = engine.Horizon{Date: dateOf(Night(in.Taken[60])).next(1).utc()}
	if r := Estimate(in, needs); len(r.Keep.Horizon) != 1 {
		t.Errorf("tomorrow: %+v", r.Keep.Horizon)
	}
}

// A horizon too far for the nights ends where the nights reach.
func TestHorizonTooFar(t *testing.T) {
	r := Estimate(first(year(3, 60), 29), testNeeds()) // 28 nights, two years
	x := reasons(r)["keep.horizon"]
	end := time.Date(2025, 2, 3, 0, 0, 0, 0, time.UTC)
	if want := end.AddDate(0, 0, 28*ForecastReach); !r.Keep.HorizonEnd.Equal(want) {
		t.Errorf("ends on %v, want %v", r.Keep.HorizonEnd, want)
	}
	if want := int(math.Ceil(730.0 / ForecastReach)); x.NightsNeeded != want {
		t.Errorf("%+v, want %d nights", x, want)
	}
	for i := range r.Keep.Horizon {
		p := r.Keep.Horizon[i]
		if p.Low > p.High || p.Mid != nil && (*p.Mid < p.Low || *p.Mid > p.High) {
			t.Errorf("%+v", p)
		}
	}
}

// Beyond the longest age seen there are two scenarios and no estimate: with
// yearly versions alone all that was new since the last one must live on for
// months to be in the newest.
func TestScenarios(t *testing.T) {
	needs := testNeeds()
	needs.Retention = &engine.Retention{Yearly: 3}
	needs.Horizon = engine.Horizon{Date: time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC)}
	r := Estimate(first(year(3, 61), 61), needs)
	last := r.Keep.Horizon[len(r.Keep.Horizon)-1]
	if !last.Date.Equal(needs.Horizon.Date) || !last.Scenario || last.Mid != nil || last.Low >= last.High {
		t.Errorf("%+v", last)
	}
	if r.Keep.Survival.Longest() != 59 {
		t.Errorf("longest age seen: %d", r.Keep.Survival.Longest())
	}
	// Keeping everything asks nothing of lifetimes.
	needs.Retention = &engine.Retention{Everything: true}
	for _, p := range Estimate(first(year(3, 61), 61), needs).Keep.Horizon {
		if p.Scenario || p.Mid == nil {
			t.Errorf("%+v", p)
		}
	}
}

func TestSameInputSameResult(t *testing.T) {
	in, needs := year(5, 91), testNeeds()
	a, b := Estimate(in, needs), Estimate(in, needs)
	if !reflect.DeepEqual(a, b) {
		t.Error("two estimates of the same input differ")
	}
	// Order of spans does not matter.
	for i, j := 0, len(in.Spans)-1; i < j; i, j = i+1, j-1 {
		in.Spans[i], in.Spans[j] = in.Spans[j], in.Spans[i]
	}
	c := Estimate(in, needs)
	if c.Keep.NowBytes != a.Keep.NowBytes || !reflect.DeepEqual(c.Keep.History, a.Keep.History) {
		t.Error("the order of the spans matters")
	}
}

// A step over several dates is played, but is in no quantile; steps within one
// date are one night.
func TestSpannedAndTwice(t *testing.T) {
	in := steady(20, 100e9, 1e9)
	for i := range in.Taken { // a gap of three dates before the sixth snapshot, two scans on one date after it
		switch {
		case i >= 7:
			in.Taken[i] = in.Taken[i].AddDate(0, 0, 1)
		case i == 6:
			in.Taken[i] = in.Taken[i].AddDate(0, 0, 1)
		case i == 5:
			in.Taken[i] = in.Taken[i].AddDate(0, 0, 2)
		}
	}
	for i := range in.Nights {
		in.Nights[i].Taken = in.Taken[i+1]
		in.Nights[i].Spanned = dateOf(Night(in.Taken[i+1])).number() - dateOf(Night(in.Taken[i])).number()
	}
	needs := testNeeds()
	needs.Lines[0].Limits = nil
	r := Estimate(in, needs)
	n := r.Lines[0].Nightly
	if r.Nights != 19 || r.Spanned != 1 || n.Ordinary != 18 || n.Spanned != 1 || len(n.Runs) != 19 {
		t.Fatalf("nights %d, spanned %d; played %d, of them ordinary %d", r.Nights, r.Spanned, len(n.Runs), n.Ordinary)
	}
	if run := n.Runs[4]; run.Spanned != 3 || run.Bytes != 2e9 {
		t.Errorf("the spanned night with the second scan of its date: %+v", run)
	}
	if n.Fits.All != 19 {
		t.Errorf("share of %d", n.Fits.All)
	}
}

// First-seen data is a first upload of its own, not a night's change.
func TestFirstSeenIsNotChange(t *testing.T) {
	in := steady(30, 100e9, 1e9)
	joined := Span{Alive: stays(10, 32), Bytes: 500e9, Packed: 500e9, FirstSeen: true}
	in.Spans = append(in.Spans, joined)
	g := newGrowth(in.Spans, in.days(), nil)
	for _, s := range g.sampler.steps {
		if s.value[0] != 1e9 || s.value[1] != 1e9 {
			t.Errorf("night of day %d: new %v, net %v", s.day, s.value[0], s.value[1])
		}
	}
}

func TestNightsOf(t *testing.T) {
	at := time.Date(2025, 6, 3, 2, 0, 0, 0, time.UTC)
	segments := []logbook.Segment{
		{Number: 1, Taken: at, Figures: &logbook.Figures{}},
		{
			Number: 2, Taken: at.AddDate(0, 0, 1), Work: logbook.Work{ElapsedSeconds: 12}, Coverage: logbook.Coverage{CoveredShare: 0.5},
			Figures: &logbook.Figures{Change: &logbook.ChangeTotals{
				Spanned: 1, NewBytes: 1000, NewCompressedBytes: 600, FirstSeenNewBytes: 250, NewChunks: 10, NewReferences: 20, ChangedFiles: 3,
			}},
		},
		{Number: 3, Taken: at.AddDate(0, 0, 2)},
		{
			Number: 4, Taken: at.AddDate(0, 0, 3),
			Figures: &logbook.Figures{Change: &logbook.ChangeTotals{Spanned: 1, NewBytes: 7, NewCompressedBytes: -1}},
		},
	}
	p := &engine.Profile{PerChunkBytes: 5, PerReferenceBytes: 2, PerFileBytes: 20}
	nights, missing := NightsOf(segments, p)
	if missing != 1 || len(nights) != 2 {
		t.Fatalf("%d nights, %d missing", len(nights), missing)
	}
	want := MeasuredNight{
		From: 1, To: 2, Taken: segments[1].Taken, Spanned: 1, UploadBytes: 750, // its 250 first-seen bytes are in no figure of the summary
		NewBytes: 1000, ScanSeconds: 12, CoveredShare: 0.5,
	}
	if nights[0] != want || nights[0].upload() != 750 {
		t.Errorf("%+v, want %+v", nights[0], want)
	}
	if nights[1].UploadBytes != -1 || nights[1].upload() != 7 {
		t.Errorf("not measured: %+v", nights[1])
	}
	p.Compression = engine.None
	if nights, _ := NightsOf(segments, p); nights[0].UploadBytes != 1150 {
		t.Errorf("uncompressed: %d", nights[0].UploadBytes)
	}
	spans := SpansOf([]measure.Lifetime{{Alive: stays(1, 3), Bytes: 5, Packed: 4, Chunks: 2, Source: 1, FirstSeen: true}})
	if len(spans) != 1 || spans[0].Stored(nil) != 4 || spans[0].gone() != 3 || !spans[0].FirstSeen || spans[0].files() != 1 {
		t.Errorf("spans %+v", spans)
	}
	if got := TakenOf(segments); len(got) != 4 || !got[3].Equal(segments[3].Taken) {
		t.Errorf("taken %v", got)
	}
}

// The month's transfer against the cap.
func TestMonths(t *testing.T) {
	in := steady(80, 100e9, 1e9) // nights of 7 January to 27 March
	needs := testNeeds()
	needs.Lines[0].TransferCapBytes = 27e9
	n := Estimate(in, needs).Lines[0].Nightly
	var got []Month
	for _, m := range n.Months {
		m.First = m.First.UTC()
		got = append(got, m)
	}
	month := func(m time.Month) time.Time { return time.Date(2025, m, 1, 0, 0, 0, 0, time.UTC) }
	want := []Month{
		{First: month(1), Nights: 25, Days: 31, Bytes: 25e9},
		{First: month(2), Nights: 28, Days: 28, Bytes: 28e9, OverCap: true, Complete: true},
		{First: month(3), Nights: 27, Days: 31, Bytes: 27e9},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("months %+v\nwant %+v", got, want)
	}
	// The next whole month is April: thirty nights of 1 GB.
	if math.Abs(n.NextMonth.Low-30e9) > 1 || math.Abs(n.NextMonth.High-30e9) > 1 || n.OverCapShare != 1 {
		t.Errorf("next month %+v, over the cap %v", n.NextMonth, n.OverCapShare)
	}
}

// TestBacktest: on generated years the scores are near what is promised, and
// the truth that is compared with is the exact one.
func TestBacktest(t *testing.T) {
	in, needs := year365(t)
	b := RunBacktest(in, needs, 0)
	if b.Hidden != 182 || b.Why != "" || len(b.Scores) != 4 {
		t.Fatalf("%+v", b)
	}
	for _, s := range b.Scores {
		t.Logf("%s: %d of %d covered (80 %% interval %.2f to %.2f), below %d, above %d", s.Question, s.Covered.Of, s.Covered.All, s.Covered.Low, s.Covered.High, s.Below, s.Above)
		if s.Covered.All == 0 || s.Covered.Of+s.Below+s.Above != s.Covered.All || s.Nominal != Confidence {
			t.Errorf("%+v", s)
		}
	}
	if got := b.Scores[0].Covered; got.All != 182 || got.Value < 0.70 || got.Value > 0.90 {
		t.Errorf("next night: %+v", got)
	}
	// A steady tree is forecast without a miss.
	for _, s := range RunBacktest(steady(60, 1e12, 1e9), steadyNeeds(), 30).Scores {
		if s.Covered.Of != s.Covered.All || s.Covered.All == 0 {
			t.Errorf("steady: %+v", s)
		}
	}
	if b := RunBacktest(in, needs, 360); b.Why == "" || len(b.Scores) != 0 || b.Hidden != 365-ForecastEnough {
		t.Errorf("hiding nearly all: %+v", b)
	}
}

func TestMoreKept(t *testing.T) {
	in := year(2, 61)
	needs := testNeeds()
	r := Estimate(in, needs)
	days := in.days()
	base := Policy{Daily: 7, Weekly: 4, Monthly: 12}
	for _, m := range r.Keep.More {
		p := base
		switch m.Rule {
		case "daily":
			p.Daily++
		case "weekly":
			p.Weekly++
		case "monthly":
			p.Monthly++
		}
		want := StoredBytes(in.Spans, numbers(p.kept(days)), needs.Profile) - r.Keep.NowBytes
		if m.Bytes != want || m.Known != (m.Rule != "monthly") {
			t.Errorf("%+v, want %d", m, want)
		}
	}
	if len(r.Keep.More) != 3 {
		t.Errorf("%+v", r.Keep.More)
	}
	if len(r.Keep.History) != 61 || r.Keep.History[60] != r.Keep.NowBytes {
		t.Errorf("history ends with %d, now %d", r.Keep.History[60], r.Keep.NowBytes)
	}
}

func TestCappedVersions(t *testing.T) {
	in := steady(30, 100e9, 1e9)
	// Each night's gigabyte is gone the night after: n versions take n − 1 GB more than the newest.
	for i := range in.Spans[1:] {
		s := &in.Spans[i+1]
		s.Alive = stays(s.Alive[0].From, s.Alive[0].From+1)
	}
	in.Spans = append(in.Spans, Span{Alive: stays(1, 2), Packed: 1e9}) // the first snapshot is as large as the rest
	needs := steadyNeeds()
	needs.Retention = &engine.Retention{Last: 20, CapBytes: 105e9}
	r := Estimate(in, needs)
	if r.Keep.NowBytes != 105e9 || len(r.Keep.Kept) != 5 || r.Keep.Kept[4].Snapshot != 31 {
		t.Errorf("now %d in %d versions", r.Keep.NowBytes, len(r.Keep.Kept))
	}
	for _, p := range r.Keep.Horizon {
		if p.High > 105e9 || p.Low < 100e9 {
			t.Errorf("%+v", p)
		}
	}
	needs.Retention.CapBytes = 1e9 // less than the newest version alone, which stays
	if r := Estimate(in, needs); len(r.Keep.Kept) != 1 || r.Keep.NowBytes != 101e9 {
		t.Errorf("now %d in %d versions", r.Keep.NowBytes, len(r.Keep.Kept))
	}
}
