package estimate

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"tidemark/report/engine"
)

// year is a generated stretch of nights with known lives: weekdays, weekends
// and month-ends of different size, weeks that hang together a little, new data
// that comes by the file and lives from a night to for ever, and a baseline that
// is replaced bit by bit.
func year(seed uint64, snapshots int) *Input {
	rng := rand.New(rand.NewPCG(seed, 1))
	first := time.Date(2025, 1, 7, 2, 0, 0, 0, time.UTC) // the night of Monday, 6 January
	in := &Input{Seed: seed, MeanChunkBytes: 64 << 10}
	life := func() int {
		switch u := rng.Float64(); {
		case u < 0.3:
			return 1
		case u < 0.6:
			return 1 + int(rng.ExpFloat64()*10)
		case u < 0.8:
			return 1 + int(rng.ExpFloat64()*60)
		}
		return 10_000
	}
	put := func(n int, bytes float64, days int) {
		packed := int64(bytes)
		in.Spans = append(in.Spans, Span{
			Alive: stays(n, min(n+days, snapshots+1)),
			Bytes: 2 * packed, Packed: packed, Chunks: 1 + packed/40_000, Sources: 1,
		})
	}
	for range 200 { // 1 TB, each part replaced after four years on average
		put(1, 5e9, 1+int(rng.ExpFloat64()*1400))
	}
	week := 1.0
	for n := 1; n <= snapshots; n++ {
		taken := first.AddDate(0, 0, n-1)
		in.Taken = append(in.Taken, taken)
		if n == 1 {
			continue
		}
		if n%7 == 1 {
			week = math.Exp(0.1 * rng.NormFloat64())
		}
		mean := map[string]float64{Weekday: 2e9, Weekend: 2e8, MonthEnd: 8e9}[Class(Night(taken))]
		total := mean * week * math.Exp(0.5*rng.NormFloat64()-0.125)
		for range 12 {
			put(n, total/12*rng.ExpFloat64(), life())
		}
	}
	live := liveBytes(in.Spans, snapshots, nil)
	sent := make([]int64, snapshots+1)
	for i := range in.Spans {
		sent[in.Spans[i].born()] += in.Spans[i].Packed
	}
	for n := 2; n <= snapshots; n++ {
		in.Nights = append(in.Nights, MeasuredNight{
			From: n - 1, To: n, Taken: in.Taken[n-1], Spanned: 1,
			UploadBytes: sent[n], NewBytes: 2 * sent[n], ScanSeconds: 600, CoveredShare: 1,
		})
	}
	in.All = Tree{
		Files: 200_000, SourceBytes: 2 * live[snapshots-1], UniqueBytes: 2 * live[snapshots-1],
		PackedBytes: live[snapshots-1], UniqueChunks: live[snapshots-1] / 40_000,
	}
	return in
}

// first keeps the first snapshots of a longer input.
func first(in *Input, snapshots int) *Input {
	out := *in
	out.Taken = in.Taken[:snapshots]
	out.Nights = in.Nights[:snapshots-1]
	out.Spans = upTo(in.Spans, snapshots)
	return &out
}

// TestCoverage measures, on 200 generated years, how often the truth lies inside
// the 80 % intervals of forecasts. Each bar has its binomial interval beside it in
// the log; the test fails only where the measured coverage itself is outside 70 to 90 %.
func TestCoverage(t *testing.T) {
	policy := Policy{Daily: 7, Weekly: 4, Monthly: 12}
	type question struct {
		measured, ahead int
		what            string
	}
	counts := map[question][3]int{} // within, below, above
	var order []question
	count := func(q question, truth, low, high float64) {
		c, seen := counts[q]
		if !seen {
			order = append(order, q)
		}
		switch {
		case truth < low:
			c[1]++
		case truth > high:
			c[2]++
		default:
			c[0]++
		}
		counts[q] = c
	}
	for seed := range uint64(200) {
		whole := year(seed, 394)
		days := whole.days()
		loads := whole.loads(testNeeds())
		for _, measured := range []int{28, 120} {
			part := first(whole, measured+1)
			g := newGrowth(part.Spans, part.days(), nil)
			// As far as a forecast reaches, or the generated nights do.
			aheads := []int{7, 30, 90, min(ForecastReach*measured, len(days)-1-measured)}
			var targets []int
			for _, ahead := range aheads {
				targets = append(targets, days[measured]+ahead)
			}
			f := g.forecast(policy, targets, seed)
			for i, ahead := range aheads {
				p := f.point(i)
				n := measured + 1 + ahead
				truth := StoredBytes(upTo(whole.Spans, n), numbers(policy.kept(days[:n])), nil)
				count(question{measured, ahead, "stored"}, float64(truth), float64(p.Low), float64(p.High))
			}
			s := newSampler(loadSteps(part.loads(testNeeds())))
			for _, ahead := range []int{7, 30} {
				truth := 0.0
				for k := range ahead {
					truth += loads[measured+k].Bytes
				}
				r, _ := forecastSum(s, newRand(seed, "sum"), days[measured]+1, ahead)
				count(question{measured, ahead, "upload"}, truth, r.Low, r.High)
			}
			low, high, _, ok := NextNight(part.loads(testNeeds()), Class(loads[measured].Night))
			if !ok {
				t.Fatal("no interval for the next night")
			}
			count(question{measured, 1, "next night"}, loads[measured].Bytes, low, high)
		}
	}
	for _, q := range order {
		c := counts[q]
		s := shareOf(c[0], c[0]+c[1]+c[2])
		t.Logf("%-10s %3d nights measured, %3d ahead: covered %.3f (80 %% interval %.3f to %.3f), below %d, above %d",
			q.what, q.measured, q.ahead, s.Value, s.Low, s.High, c[1], c[2])
		if s.Value < 0.70 || s.Value > 0.90 {
			t.Errorf("%s, %d ahead from %d: coverage %.3f is outside 0.70 to 0.90", q.what, q.ahead, q.measured, s.Value)
		}
	}
}

func year365(b testing.TB) (*Input, *engine.Needs) {
	in := year(7, 366)
	return in, testNeeds()
}

func testNeeds() *engine.Needs {
	return &engine.Needs{
		Zone: time.UTC, GoalShare: 0.9,
		Lines: []engine.Line{{
			Name: "office", UpBitsPerSecond: 20e6, DownBitsPerSecond: 100e6, Efficiency: 0.94,
			Limits: []engine.Limit{{Days: [7]bool{false, true, true, true, true, true, false}, From: 7 * 3600, To: 18 * 3600, BitsPerSecond: 2e6}},
		}},
		Window:    &engine.Window{From: 20 * 3600, To: 6 * 3600},
		Retention: &engine.Retention{Daily: 7, Weekly: 4, Monthly: 12},
		Profile:   &engine.Profile{PerChunkBytes: 64, PerFileBytes: 200},
		Restore:   engine.Restore{RequestDelaySeconds: 0.05, ParallelRequests: 8, DiskBytesPerSecond: 150e6, PerFileSeconds: 0.001, HumanDelaySeconds: 1800, PerYear: 2},
		Plans: []engine.Plan{
			{Name: "metered", PricePerTBMonth: 6, DownloadPricePerTB: 10, MinimumStorageDays: 90, Currency: "EUR"},
			{Name: "box 2 TB", CapacityBytes: 2e12, MonthlyPrice: 10, Currency: "EUR"},
			{Name: "box 1 TB", CapacityBytes: 1e12, MonthlyPrice: 4, Currency: "EUR"},
			{Name: "by hand", CapacityBytes: 4e12, Currency: "EUR"},
		},
		Horizon: engine.Horizon{Months: 24},
	}
}

func BenchmarkEstimateYear(b *testing.B) {
	in, needs := year365(b)
	// 200,000 spans: the same year cut into many files' histories.
	rng := rand.New(rand.NewPCG(1, 2))
	for len(in.Spans) < 200_000 {
		from := 1 + rng.IntN(366)
		in.Spans = append(in.Spans, Span{
			Alive: stays(from, from+1+rng.IntN(367-from)),
			Bytes: 1 << 20, Packed: 1 << 19, Chunks: 16, Source: rng.IntN(256), Sources: 1,
		})
	}
	b.ResetTimer()
	for b.Loop() {
		Estimate(in, needs)
	}
}
