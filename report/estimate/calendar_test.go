package estimate

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // zones on machines without a zone database

	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

var everyDay = [7]bool{true, true, true, true, true, true, true}

func clock(h, m int) int { return h*3600 + m*60 }

// slowAt is the obvious twin of Calendar.At: it asks the clock on the wall and
// tries every rule, today's and yesterday's.
func slowAt(bits, efficiency float64, rules []Rule, t time.Time) float64 {
	h, m, s := t.Clock()
	inDay := h*3600 + m*60 + s
	today := int(t.Weekday())
	yesterday := (today + 6) % 7
	rate := bits
	for _, r := range rules {
		end := r.To
		if end <= r.From {
			end += 24 * 3600
		}
		if r.Days[today] && r.From <= inDay && inDay < end ||
			r.Days[yesterday] && r.From <= inDay+24*3600 && inDay+24*3600 < end {
			rate = math.Min(rate, r.BitsPerSecond)
		}
	}
	return rate * efficiency
}

// Zones with clock changes of an hour and of half an hour, a date left out
// (Apia, 2011-12-30), and none.
var testZones = []string{"UTC", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu"}

var testStarts = []time.Time{
	time.Date(2025, 3, 28, 0, 0, 0, 0, time.UTC),
	time.Date(2025, 10, 24, 0, 0, 0, 0, time.UTC),
	time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC),
	time.Date(2025, 4, 4, 0, 0, 0, 0, time.UTC),
	time.Date(2011, 12, 28, 0, 0, 0, 0, time.UTC),
}

func genRules(rt *rapid.T) []Rule {
	rules := make([]Rule, rapid.IntRange(0, 4).Draw(rt, "rules"))
	for i := range rules {
		for d := range 7 {
			rules[i].Days[d] = rapid.Bool().Draw(rt, "day")
		}
		rules[i].From = 60 * rapid.IntRange(0, 1439).Draw(rt, "from")
		rules[i].To = 60 * rapid.IntRange(0, 1440).Draw(rt, "to")
		rules[i].BitsPerSecond = float64(rapid.IntRange(0, 30).Draw(rt, "limit")) * 1e6
	}
	return rules
}

// TestCalendarAgainstMinutes holds rate, integral and solved end against a
// minute-stepping twin, over clock changes.
func TestCalendarAgainstMinutes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		z := zone(t, rapid.SampledFrom(testZones).Draw(rt, "zone"))
		rules := genRules(rt)
		const bits, efficiency = 20e6, 0.85
		c := NewCalendar(bits, efficiency, rules, z)
		from := rapid.SampledFrom(testStarts).Draw(rt, "start").Add(time.Duration(rapid.IntRange(0, 1440).Draw(rt, "minute")) * time.Minute).In(z)
		minutes := rapid.IntRange(1, 5*1440).Draw(rt, "minutes")

		want := 0.0
		bytes := float64(rapid.IntRange(0, 400).Draw(rt, "GB")) * 1e9
		var doneAt time.Time
		for m := range minutes {
			at := from.Add(time.Duration(m) * time.Minute)
			rate := slowAt(bits, efficiency, rules, at)
			if got := c.At(at); got != rate {
				rt.Fatalf("rate at %v: %v, want %v", at, got, rate)
			}
			before := want
			want += rate * 60 / 8
			if doneAt.IsZero() && want >= bytes {
				part := 0.0
				if bytes > before {
					part = (bytes - before) * 8 / rate
				}
				doneAt = at.Add(time.Duration(part * 1e9))
			}
		}
		to := from.Add(time.Duration(minutes) * time.Minute)
		if got := c.Integrate(from, to); math.Abs(got-want) > 1e-9*want+1 {
			rt.Fatalf("integral %v, want %v", got, want)
		}
		got, ok := c.Done(from, bytes, to)
		if ok != !doneAt.IsZero() {
			// Within a byte of the end rounding may decide.
			if math.Abs(want-bytes) > 1 {
				rt.Fatalf("done %v, the twin says %v", ok, doneAt)
			}
			return
		}
		if !ok {
			doneAt = to
		}
		if d := got.Sub(doneAt).Abs(); d > 10*time.Microsecond {
			rt.Fatalf("done at %v, want %v", got, doneAt)
		}
	})
}

// TestWindowAgainstMinutes: each end of a window is the first minute whose clock shows it or later.
func TestWindowAgainstMinutes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		z := zone(t, rapid.SampledFrom(testZones).Draw(rt, "zone"))
		night := rapid.SampledFrom(testStarts).Draw(rt, "start").AddDate(0, 0, rapid.IntRange(0, 4).Draw(rt, "day"))
		w := Window{60 * rapid.IntRange(0, 1439).Draw(rt, "from"), 60 * rapid.IntRange(0, 1439).Draw(rt, "to")}
		start, end := w.On(night, z)

		day := night
		if w.From < 12*3600 {
			day = day.AddDate(0, 0, 1)
		}
		endDay := day
		if w.To <= w.From {
			endDay = endDay.AddDate(0, 0, 1)
		}
		first := func(day time.Time, second int) time.Time {
			want := day.Add(time.Duration(second) * time.Second).Format("2006-01-02T15:04:05")
			for at := day.Add(-40 * time.Hour); ; at = at.Add(time.Minute) {
				if at.In(z).Format("2006-01-02T15:04:05") >= want {
					return at
				}
			}
		}
		if want := first(day, w.From); !start.Equal(want) {
			rt.Fatalf("%v on %v in %v starts %v, want %v", w, night, z, start, want.In(z))
		}
		if want := first(endDay, w.To); !end.Equal(want) {
			rt.Fatalf("%v on %v in %v ends %v, want %v", w, night, z, end, want.In(z))
		}
	})
}

// The rules of summer time in the European Union: directive 2000/84/EC, clocks
// change at 01:00 UTC on the last Sundays of March and October.
func TestClockChange(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	spring := time.Date(2025, 3, 29, 0, 0, 0, 0, time.UTC) // the night before the change
	autumn := time.Date(2025, 10, 25, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		w     Window
		night time.Time
		hours float64
	}{
		{"ordinary, across midnight", Window{clock(22, 0), clock(6, 0)}, spring.AddDate(0, 0, -7), 8},
		{"an hour less", Window{clock(22, 0), clock(6, 0)}, spring, 7},
		{"an hour more", Window{clock(22, 0), clock(6, 0)}, autumn, 9},
		{"does not exist", Window{clock(2, 10), clock(2, 50)}, spring, 0},
		{"half of it exists", Window{clock(1, 30), clock(2, 30)}, spring, 0.5},
		{"shown twice: the first", Window{clock(2, 10), clock(2, 50)}, autumn, 40.0 / 60},
		{"ends when first shown", Window{clock(22, 0), clock(2, 30)}, autumn, 4.5},
		{"day of 23 hours", Window{clock(0, 0), clock(0, 0)}, spring, 23},
		{"day of 25 hours", Window{clock(0, 0), clock(0, 0)}, autumn, 25},
	} {
		start, end := c.w.On(c.night, berlin)
		if got := end.Sub(start).Hours(); math.Abs(got-c.hours) > 1e-9 {
			t.Errorf("%s: %v h (%v to %v), want %v", c.name, got, start, end, c.hours)
		}
	}
}

func TestOverlappingRulesLowestWins(t *testing.T) {
	rules := []Rule{
		{Days: everyDay, From: clock(8, 0), To: clock(18, 0), BitsPerSecond: 5e6},
		{Days: everyDay, From: clock(12, 0), To: clock(13, 0), BitsPerSecond: 8e6},
		{Days: everyDay, From: clock(17, 0), To: clock(20, 0), BitsPerSecond: 1e6},
		{Days: everyDay, From: clock(23, 0), To: clock(1, 0), BitsPerSecond: 0},
		{Days: everyDay, From: clock(4, 0), To: clock(5, 0), BitsPerSecond: 100e6}, // above the line: no limit
	}
	c := NewCalendar(20e6, 1, rules, nil)
	for _, at := range []struct {
		h    int
		want float64
	}{{0, 0}, {1, 20e6}, {4, 20e6}, {9, 5e6}, {12, 5e6}, {17, 1e6}, {19, 1e6}, {20, 20e6}, {23, 0}} {
		if got := c.At(time.Date(2025, 6, 4, at.h, 30, 0, 0, time.UTC)); got != at.want {
			t.Errorf("%02d:30: %v, want %v", at.h, got, at.want)
		}
	}
}

// Link and units rows. 10 GB over 20 Mbit/s: 4000.0 s raw and 4248.6 s at
// 1448/1538, the payload share of RFC 6349 §4.1.1's frame with TCP timestamps.
// The rest is arithmetic of the trade, common practice, no source.
func TestLineArithmetic(t *testing.T) {
	start := time.Date(2025, 6, 4, 0, 0, 0, 0, time.UTC)
	seconds := func(bits, efficiency, bytes float64) float64 {
		done, ok := NewCalendar(bits, efficiency, nil, nil).Done(start, bytes, start.AddDate(1, 0, 0))
		if !ok {
			t.Fatal("not done within a year")
		}
		return done.Sub(start).Seconds()
	}
	for _, c := range []struct {
		name            string
		got, want, near float64
	}{
		{"10 GB over 20 Mbit/s, raw, s", seconds(20e6, 1, 10e9), 4000.0, 0.05},
		{"the same as TCP payload, s", seconds(20e6, 1448.0/1538, 10e9), 4248.6, 0.05},
		{"26 MB/s of 1 Gbit/s", 26e6 * 8 / NewCalendar(1e9, 1, nil, nil).At(start), 0.208, 0.00005},
		{"2.5 GB in 189 s, MB/s", NewCalendar(2.5e9*8/189, 1, nil, nil).Integrate(start, start.Add(time.Second)) / 1e6, 13.2, 0.05},
		{"2.5 GB at 162 MB/s, s", seconds(162e6*8, 1, 2.5e9), 15.4, 0.05},
	} {
		if math.Abs(c.got-c.want) > c.near {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

func TestNothingSent(t *testing.T) {
	start := time.Date(2025, 6, 4, 0, 0, 0, 0, time.UTC)
	end := start.AddDate(0, 1, 0)
	for name, c := range map[string]*Calendar{
		"zero value":        {},
		"no rate":           NewCalendar(0, 0.9, nil, nil),
		"negative rate":     NewCalendar(-5, 0.9, nil, nil),
		"shut at all times": NewCalendar(1e6, 1, []Rule{{Days: everyDay, From: 0, To: 0}}, nil),
	} {
		if at, ok := c.Done(start, 1, end); ok || !at.Equal(end) {
			t.Errorf("%s: done %v at %v", name, ok, at)
		}
		if _, ok := c.Done(start, 0, end); !ok {
			t.Errorf("%s: nothing to send is done at once", name)
		}
		if got := c.Integrate(start, end); got != 0 {
			t.Errorf("%s: sends %v", name, got)
		}
	}
}

func FuzzWindow(f *testing.F) {
	f.Add(22, 6, int64(20000))
	f.Fuzz(func(t *testing.T, from, to int, day int64) {
		w := Window{clamp(from, 0, daySeconds-1), clamp(to, 0, daySeconds)}
		night := dateOfNumber(int(day % 100_000)).utc()
		start, end := w.On(night, zone(t, "Australia/Lord_Howe"))
		if end.Before(start) || end.Sub(start) > 49*time.Hour {
			t.Fatalf("%v on %v: %v to %v", w, night, start, end)
		}
	})
}
