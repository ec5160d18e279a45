package estimate

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func nightsTo(last time.Time, n int) []time.Time {
	out := make([]time.Time, n)
	for i := range out {
		out[i] = last.AddDate(0, 0, i-n+1)
	}
	return out
}

// The retention row of the project's outside checks, counted by hand: nightly
// snapshots up to 2025-12-31, a day of ISO week 2026-W01.
func TestKeptCount(t *testing.T) {
	last := time.Date(2025, 12, 31, 0, 0, 0, 0, time.UTC)
	if y, w := last.ISOWeek(); y != 2026 || w != 1 {
		t.Fatalf("ISO week %d-W%02d", y, w)
	}
	nights := nightsTo(last, 800)
	kept := Policy{Daily: 7, Weekly: 4, Monthly: 12}.Kept(nights)
	if len(kept) != 20 {
		t.Errorf("%d kept, want 20", len(kept))
	}
	var dates []string
	for _, i := range kept {
		dates = append(dates, nights[i].Format("01-02"))
	}
	want := "[01-31 02-28 03-31 04-30 05-31 06-30 07-31 08-31 09-30 10-31 11-30 12-14 12-21 12-25 12-26 12-27 12-28 12-29 12-30 12-31]"
	if got := fmt.Sprint(dates); got != want {
		t.Errorf("kept %v\nwant %v", got, want)
	}
}

// slowKept is the obvious twin: it names each bucket by what the library's calendar says.
func slowKept(p Policy, nights []time.Time) []int {
	keep := map[int]bool{}
	n := len(nights)
	for i := range nights {
		if p.All || i >= n-max(1, p.Last) {
			keep[i] = true
		}
	}
	for _, rule := range []struct {
		count int
		name  func(time.Time) string
	}{
		{p.Daily, func(t time.Time) string { return t.Format("2006-01-02") }},
		{p.Weekly, func(t time.Time) string { y, w := t.ISOWeek(); return fmt.Sprint(y, "W", w) }},
		{p.Monthly, func(t time.Time) string { return t.Format("2006-01") }},
		{p.Yearly, func(t time.Time) string { return t.Format("2006") }},
	} {
		newest := map[string]int{}
		var order []string
		for i := n - 1; i >= 0; i-- {
			name := rule.name(nights[i])
			if _, seen := newest[name]; !seen {
				newest[name] = i
				order = append(order, name)
			}
		}
		for k, name := range order {
			if k < rule.count {
				keep[newest[name]] = true
			}
		}
	}
	var out []int
	for i := range nights {
		if keep[i] {
			out = append(out, i)
		}
	}
	return out
}

func genPolicy(rt *rapid.T) Policy {
	count := func(name string, most int) int { return rapid.IntRange(0, most).Draw(rt, name) }
	return Policy{
		All:  count("all", 9) == 0,
		Last: count("last", 4), Daily: count("daily", 9), Weekly: count("weekly", 6), Monthly: count("monthly", 14), Yearly: count("yearly", 3),
	}
}

// genNights makes ascending dates with gaps and with two snapshots on some.
func genNights(rt *rapid.T, most int) []time.Time {
	at := time.Date(rapid.IntRange(1999, 2030).Draw(rt, "year"), 12, rapid.IntRange(1, 31).Draw(rt, "day"), 0, 0, 0, 0, time.UTC)
	out := make([]time.Time, rapid.IntRange(1, most).Draw(rt, "nights"))
	for i := range out {
		out[i] = at
		step := rapid.SampledFrom([]int{0, 1, 1, 1, 1, 1, 1, 2, 3, 9, 40}).Draw(rt, "step")
		at = at.AddDate(0, 0, step)
	}
	return out
}

func TestKeptAgainstNames(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p, nights := genPolicy(rt), genNights(rt, 120)
		if got, want := p.Kept(nights), slowKept(p, nights); !slices.Equal(got, want) {
			rt.Fatalf("%+v keeps %v, want %v", p, got, want)
		}
	})
}

// TestKeptNightAfterNight: what is kept was kept on every night before, so that
// applying the policy each night and once at the end are the same.
func TestKeptNightAfterNight(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p, nights := genPolicy(rt), genNights(rt, 60)
		var before []int
		for n := 1; n <= len(nights); n++ {
			kept := p.Kept(nights[:n])
			for _, i := range kept {
				if i != n-1 && !slices.Contains(before, i) {
					rt.Fatalf("%+v: snapshot %d comes back on night %d", p, i, n)
				}
			}
			before = kept
		}
	})
}

func TestClass(t *testing.T) {
	for day, want := range map[string]string{
		"2025-05-29": Weekday, "2025-05-30": MonthEnd, "2025-05-31": Weekend, // the 31st is a Saturday
		"2025-12-31": MonthEnd, "2025-12-30": Weekday, "2024-02-29": MonthEnd, "2025-02-28": MonthEnd,
		"2025-06-29": Weekend, "2025-06-30": MonthEnd, "2025-08-29": MonthEnd,
	} {
		night, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		if got := Class(night); got != want {
			t.Errorf("%s is %s, want %s", day, got, want)
		}
	}
	// Every month has one month-end, and it is never a weekend.
	ends := map[string]int{}
	for _, night := range nightsTo(time.Date(2030, 12, 31, 0, 0, 0, 0, time.UTC), 4018) { // 2020 … 2030
		if Class(night) == MonthEnd {
			ends[night.Format("2006-01")]++
		}
	}
	for month, n := range ends {
		if n != 1 {
			t.Errorf("%s has %d month-ends", month, n)
		}
	}
	if len(ends) != 132 {
		t.Errorf("%d months, want 132", len(ends))
	}
}

func TestNight(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	for _, c := range []struct {
		taken time.Time
		want  string
	}{
		{time.Date(2025, 6, 7, 1, 0, 0, 0, zone), "2025-06-06"}, // Saturday at one measures Friday
		{time.Date(2025, 6, 6, 23, 0, 0, 0, zone), "2025-06-06"},
		{time.Date(2025, 6, 6, 11, 59, 59, 0, zone), "2025-06-05"},
		{time.Date(2025, 6, 6, 12, 0, 0, 0, zone), "2025-06-06"},
		{time.Date(1969, 12, 31, 13, 0, 0, 0, time.UTC), "1969-12-31"},
	} {
		if got := Night(c.taken).Format(time.DateOnly); got != c.want {
			t.Errorf("%v is the night of %s, want %s", c.taken, got, c.want)
		}
	}
}
