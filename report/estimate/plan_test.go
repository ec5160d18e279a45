package estimate

import (
	"math"
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
)

// steady is a logbook whose store grows by just so many bytes a night under
// keep-everything, so that plans can be reckoned by hand.
func steady(nights int, start, nightly int64) *Input {
	first := time.Date(2025, 1, 7, 2, 0, 0, 0, time.UTC)
	in := &Input{Seed: 1, MeanChunkBytes: 1e6}
	in.Spans = append(in.Spans, Span{Alive: stays(1, nights+2), Bytes: start, Packed: start, Chunks: start / 1e6, Sources: 1})
	for n := 1; n <= nights+1; n++ {
		in.Taken = append(in.Taken, first.AddDate(0, 0, n-1))
		if n == 1 {
			continue
		}
		in.Spans = append(in.Spans, Span{Alive: stays(n, nights+2), Bytes: nightly, Packed: nightly, Chunks: nightly / 1e6, Sources: 1})
		in.Nights = append(in.Nights, MeasuredNight{
			From: n - 1, To: n, Taken: in.Taken[n-1], Spanned: 1, UploadBytes: nightly, NewBytes: nightly, CoveredShare: 1,
		})
	}
	live := start + int64(nights)*nightly
	in.All = Tree{Files: 10, SourceBytes: live, UniqueBytes: live, PackedBytes: live, UniqueChunks: live / 1e6}
	return in
}

func steadyNeeds(plans ...engine.Plan) *engine.Needs {
	return &engine.Needs{
		Zone: time.UTC, GoalShare: 0.9, Retention: &engine.Retention{Everything: true},
		Horizon: engine.Horizon{Months: 12}, Plans: plans, Restore: engine.Restore{ParallelRequests: 1},
	}
}

// 40 nights of 1 GB on 460 GB: 500 GB on 15 February, and 1 GB more each night.
func TestPlansByHand(t *testing.T) {
	in := steady(40, 460e9, 1e9)
	needs := steadyNeeds(
		engine.Plan{Name: "small", CapacityBytes: 600e9, MonthlyPrice: 3, Currency: "EUR"},
		engine.Plan{Name: "large", CapacityBytes: 4e12, MonthlyPrice: 8, Currency: "EUR"},
		engine.Plan{Name: "metered", PricePerTBMonth: 10, DownloadPricePerTB: 20, Currency: "EUR"},
		engine.Plan{Name: "minimum", PricePerTBMonth: 10, MinimumBilledBytes: 1e12, Currency: "EUR"},
		engine.Plan{Name: "full", CapacityBytes: 400e9, MonthlyPrice: 1, Currency: "EUR"},
		engine.Plan{Name: "elsewhere", MonthlyPrice: 1, Currency: "CHF"},
	)
	needs.Restore.PerYear = 2
	out := Estimate(in, needs)
	if out.Keep.NowBytes != 500e9 {
		t.Fatalf("stored now %d", out.Keep.NowBytes)
	}
	end := out.Keep.Horizon[len(out.Keep.Horizon)-1]
	if want := time.Date(2026, 2, 15, 0, 0, 0, 0, time.UTC); !end.Date.Equal(want) || !out.Keep.HorizonEnd.Equal(want) {
		t.Errorf("the forecast ends on %v, want %v", end.Date, want)
	}
	if *end.Mid != 865e9 || end.Low != 865e9 || end.High != 865e9 || end.Scenario {
		t.Errorf("after 365 nights %+v, want 865 GB", end)
	}
	byName := map[string]Plan{}
	var order []string
	for _, p := range out.Plans {
		byName[p.Name] = p
		order = append(order, p.Name)
	}
	// Fitting first, then by currency as they come in the file, then by cost; what is full today is last.
	if got := strings.Join(order, " "); got != "large metered minimum elsewhere small full" {
		t.Errorf("order: %s", got)
	}
	months := 365 / monthDays
	for name, want := range map[string]struct{ monthly, horizon float64 }{
		"large": {8, 8 * months},
		// 0.5 to 0.865 TB on a straight line, and two restores a year of 0.5 TB.
		"metered": {5, 10*(0.5+0.865)/2*months + 2*months/12*0.5*20},
		"minimum": {10, 10 * months},
		"small":   {3, 3 * months},
	} {
		p := byName[name]
		if math.Abs(p.MonthlyCost-want.monthly) > 1e-9 {
			t.Errorf("%s: %v a month, want %v", name, p.MonthlyCost, want.monthly)
		}
		for _, got := range []float64{p.HorizonCost.Low, p.HorizonCost.Mid, p.HorizonCost.High, p.StorageCost + p.DownloadCost + p.RequestCost} {
			if math.Abs(got-want.horizon) > 1e-6 {
				t.Errorf("%s: %v over the horizon, want %v", name, got, want.horizon)
			}
		}
	}
	small := byName["small"]
	if small.Fits || !small.FitsNow || *small.FitsShare != 0 || small.Full == nil {
		t.Fatalf("small: %+v", small)
	}
	// 600 GB is reached a hundred nights on.
	want := time.Date(2025, 5, 26, 0, 0, 0, 0, time.UTC)
	if !small.Full.Early.Equal(want) || !small.Full.Mid.Equal(want) || !small.Full.Late.Equal(want) {
		t.Errorf("small is full on %v to %v, want %v", small.Full.Early, small.Full.Late, want)
	}
	if full := byName["full"]; full.FitsNow || full.Fits || !full.Full.Early.Equal(out.Last) {
		t.Errorf("full: %+v", full)
	}
	if large := byName["large"]; !large.Fits || *large.FitsShare != 1 || large.Full != nil || large.WhyFull == "" {
		t.Errorf("large: %+v", large)
	}

	if len(out.Choices) != 2 || out.Plans[out.Choices[0].Plan].Currency != "EUR" || out.Plans[out.Choices[1].Plan].Name != "elsewhere" {
		t.Fatalf("choices %+v", out.Choices)
	}
	c := out.Choices[0]
	if c.RunnerUp == nil || c.WinShare != 1 {
		t.Errorf("choice %+v", c)
	}
	if out.Choices[1].RunnerUp != nil || out.Choices[1].WinShare != 1 {
		t.Errorf("a single offer: %+v", out.Choices[1])
	}
	// Large costs 8 a month, metered 6.825 and 1.667 for restores: large is cheapest.
	// Metered overtakes it where fewer restores or less stored cost as much: at
	// 0.942 of the bytes (8/8.4917), at 1.41 restores a year (1.175/0.8333).
	if out.Plans[c.Plan].Name != "large" {
		t.Fatalf("cheapest is %s", out.Plans[c.Plan].Name)
	}
	found := map[string][]float64{}
	for _, turn := range c.Changes {
		if turn.Plan == nil {
			found[turn.What+" none"] = append(found[turn.What+" none"], turn.At)
			continue
		}
		found[turn.What+" "+out.Plans[*turn.Plan].Name] = append(found[turn.What+" "+out.Plans[*turn.Plan].Name], turn.At)
	}
	near := func(key string, want float64) {
		got := found[key]
		if len(got) != 1 || math.Abs(got[0]-want) > 0.002*want {
			t.Errorf("turn on %s at %v, want %v (all: %v)", key, got, want, found)
		}
	}
	near("stored metered", 8/(6.825+2.0/12*0.5*20))
	near("restores metered", (8-6.825)/(0.5*20/12))
	// Beyond four times 865 GB the large plan is full; with a minimum billed of 1 TB
	// both metered offers then cost the same storage, so the one without downloads to pay is cheaper.
	near("stored minimum", 4e12/865e9)
}

func TestEarlyDeletionBound(t *testing.T) {
	in := steady(40, 460e9, 1e9)
	plan := engine.Plan{Name: "metered", PricePerTBMonth: 10, MinimumStorageDays: 90, Currency: "EUR", Current: true}
	needs := steadyNeeds(plan)
	if got := Estimate(in, needs).Plans[0]; got.EarlyDeletionBound != 0 {
		t.Errorf("nothing is ever deleted, and yet %v", got.EarlyDeletionBound)
	}
	needs.Retention = &engine.Retention{Daily: 30}
	// 365 GB new, each gone after 30 days at the soonest and billed for 60 more.
	got := Estimate(in, needs).Plans[0]
	if want := 0.365 * 10 * 60 / monthDays; math.Abs(got.EarlyDeletionBound-want) > 1e-9 {
		t.Errorf("bound %v, want %v", got.EarlyDeletionBound, want)
	}
	if math.Abs(got.HorizonCost.High-got.EarlyDeletionBound-got.HorizonCost.Mid) > 1e-6 || got.HorizonCost.Low > got.HorizonCost.Mid {
		t.Errorf("cost %+v", got.HorizonCost)
	}
	needs.Plans[0].MinimumStorageDays = 30
	if got := Estimate(in, needs).Plans[0]; got.EarlyDeletionBound != 0 {
		t.Errorf("kept long enough, and yet %v", got.EarlyDeletionBound)
	}
}

func TestRequestCost(t *testing.T) {
	in := steady(40, 460e9, 1e9)
	needs := steadyNeeds(engine.Plan{Name: "asked", PricePerMillionRequest: 5, Currency: "EUR"})
	needs.Restore.PerYear = 1
	years := 365 / 365.2425
	// 1 MB chunks: half a million for the first upload, 365,000 new, half a million a restore.
	want := (0.5 + 0.365 + 0.5*years) * 5
	if got := Estimate(in, needs).Plans[0].RequestCost; math.Abs(got-want) > 1e-6 {
		t.Errorf("requests cost %v, want %v", got, want)
	}
	needs.Plans[0].Current = true // the first upload is paid for
	if got := Estimate(in, needs).Plans[0].RequestCost; math.Abs(got-(want-2.5)) > 1e-6 {
		t.Errorf("requests cost %v, want %v", got, want-2.5)
	}
	needs.Profile = &engine.Profile{BundleBytes: 10e6}
	if got := Estimate(in, needs).Plans[0].RequestCost; math.Abs(got-(want-2.5)/10) > 1e-6 {
		t.Errorf("bundled: %v, want %v", got, (want-2.5)/10)
	}
}

func TestFreePlan(t *testing.T) {
	out := Estimate(steady(40, 460e9, 1e9), steadyNeeds(engine.Plan{Name: "own shelf", CapacityBytes: 4e12, Currency: "EUR"}))
	if p := out.Plans[0]; !p.Fits || p.MonthlyCost != 0 || p.HorizonCost.High != 0 {
		t.Errorf("%+v", p)
	}
	if len(out.Choices) != 1 {
		t.Errorf("choices %+v", out.Choices)
	}
}

// What is full today is full whatever is to come: that takes no forecast.
func TestFullToday(t *testing.T) {
	in := first(year(1, 30), 3)
	needs := testNeeds()
	needs.Plans = []engine.Plan{{Name: "small", CapacityBytes: 1e9, MonthlyPrice: 1, Currency: "EUR"}, {Name: "large", CapacityBytes: 9e15, MonthlyPrice: 1, Currency: "EUR"}}
	r := Estimate(in, needs)
	today := Night(in.Taken[2])
	for _, p := range r.Plans {
		switch p.Name {
		case "small":
			if p.Fits || p.Full == nil || !p.Full.Early.Equal(today) || p.Full.Mid == nil || !p.Full.Mid.Equal(today) || p.WhyFull != "" {
				t.Errorf("%+v", p)
			}
		case "large":
			if !p.Fits || p.Full != nil || p.WhyFull == "" || p.HorizonCost != nil {
				t.Errorf("%+v", p)
			}
		}
	}
}

// A line's price is in no plan's cost; it is said with the line, over the same
// time as the plans' costs, and in the sum of both.
func TestLinePrice(t *testing.T) {
	in := first(year(1, 100), 61)
	needs := testNeeds()
	needs.Horizon = engine.Horizon{Months: 12}
	needs.Plans = []engine.Plan{{Name: "flat", MonthlyPrice: 7, Currency: "EUR"}}
	without := Estimate(in, needs)
	needs.Lines = append(needs.Lines, needs.Lines[0], needs.Lines[0])
	needs.Lines[0].MonthlyPrice, needs.Lines[0].Currency = 45, "EUR"
	needs.Lines[1].MonthlyPrice, needs.Lines[1].Currency = 60, "CHF" // can not be added to EUR
	r := Estimate(in, needs)
	if a, b := without.Plans[0], r.Plans[0]; a.MonthlyCost != 7 || b.MonthlyCost != 7 || *a.HorizonCost != *b.HorizonCost {
		t.Errorf("the plan costs %v without a priced line and %v with one", a, b)
	}
	months := r.Keep.HorizonEnd.Sub(r.Last).Hours() / 24 / (365.2425 / 12)
	for i, want := range []float64{45, 60, 0} {
		l := r.Lines[i]
		if l.MonthlyPrice != want || l.HorizonPrice == nil || math.Abs(*l.HorizonPrice-want*months) > 1e-6 {
			t.Errorf("line %d: %v a month, %v in all, want %v and %v", i, l.MonthlyPrice, l.HorizonPrice, want, want*months)
		}
	}
	totals := r.Choices[0].Totals
	if len(totals) != 1 || totals[0].Line != 0 || totals[0].Monthly != 52 || math.Abs(totals[0].Horizon.Mid-52*months) > 1e-6 {
		t.Errorf("store and line: %+v", totals)
	}
	if len(without.Choices[0].Totals) != 0 {
		t.Errorf("a line without a price: %+v", without.Choices[0].Totals)
	}
}
