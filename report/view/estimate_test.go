package view

import (
	"math"
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/units"
)

func TestLimitText(t *testing.T) {
	const hour = 3600
	for want, l := range map[string]engine.Limit{
		"Mon–Fri 07:00 to 18:00: at most 4 Mbit/s":  {Days: [7]bool{false, true, true, true, true, true, false}, From: 7 * hour, To: 18 * hour, BitsPerSecond: 4e6},
		"Sat, Sun 22:30 to 06:00: nothing sent":     {Days: [7]bool{true, false, false, false, false, false, true}, From: 22*hour + 1800, To: 6 * hour},
		"every day 00:00 to 24:00: at most 1 bit/s": {Days: [7]bool{true, true, true, true, true, true, true}, To: 24 * hour, BitsPerSecond: 1},
		"Mon, Wed, Fri–Sun 01:00 to 02:00: at most 1 kbit/s": {
			Days: [7]bool{true, true, false, true, false, true, true}, From: hour, To: 2 * hour, BitsPerSecond: 1000,
		},
	} {
		if got := limitText(&l); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestFewPoints(t *testing.T) {
	all := make([]EstimatePoint, 37)
	for i := range all {
		all[i].LowBytes = int64(i)
	}
	got, every := fewPoints(all, 10)
	if every != 4 || len(got) != 10 || got[0].LowBytes != 0 || got[9].LowBytes != 36 {
		t.Errorf("every %d: %+v", every, got)
	}
	// Even steps whatever the number: no month is left out of a row of months.
	for n := 2; n < 80; n++ {
		months := make([]EstimatePoint, n)
		for i := range months {
			months[i].LowBytes = int64(i)
		}
		got, every := fewPoints(months, 10)
		for i := 1; i < len(got)-1; i++ {
			if got[i].LowBytes-got[i-1].LowBytes != int64(every) {
				t.Errorf("%d points, every %d: %+v", n, every, got)
			}
		}
		if got[len(got)-1].LowBytes != int64(n-1) || len(got) > 13 || n <= 13 && len(got) != n {
			t.Errorf("%d points: %d shown, the last %d", n, len(got), got[len(got)-1].LowBytes)
		}
	}
}

// What the plan in use is forecast to do stands in the headline.
func TestHeadlineTellsThePlan(t *testing.T) {
	early, late, now := "2026-05-16", "2026-07-02", int64(1.4e9)
	for want, p := range map[string]EstimatePlan{
		" The plan in use, Drawer, is forecast to be full between 2026-05-16 and 2026-07-02 (80 % interval).": {Current: true, FitsNow: true, FullEarly: &early, FullLate: &late},
		" The plan in use, Drawer, is forecast to be full on 2026-05-16 at the earliest (80 % interval).":     {Current: true, FitsNow: true, FullEarly: &early},
		" The plan in use, Drawer, is full: 1.40 GB are kept, and it takes 1.00 GB.":                          {Current: true, FullEarly: &early, FullLate: &early, CapacityBytes: 1e9},
		"": {FitsNow: true, FullEarly: &early, FullLate: &late}, // an offer
	} {
		p.Name = "Drawer"
		v := &Estimate{Plans: []EstimatePlan{{Name: "Shelf", FitsNow: true}, p}, Keep: EstimateKeep{NowBytes: &now}}
		if got := v.planText(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A folder that is asked for by name is not shown a second time.
func TestRestoreShowsNoFolderTwice(t *testing.T) {
	r := &estimate.Restores{Paths: []estimate.RestoreTime{{Name: "a/b"}}, Folders: []estimate.RestoreTime{{Name: "a/a"}, {Name: "a/b"}, {Name: "a/c"}}}
	in := &estimate.Input{Paths: make([]estimate.Tree, 1), Folders: make([]estimate.Tree, 3), OtherFolders: 4}
	v := newEstimateRestore(r, in, why{}, Options{Rows: 1})
	if len(v.Folders) != 3 || len(v.Shown) != 1 || v.Shown[0].Raw != "a/a" || v.Hidden != 5 {
		t.Errorf("%d folders, shown %+v, %d hidden", len(v.Folders), v.Shown, v.Hidden)
	}
	if v = newEstimateRestore(r, in, why{}, Options{Rows: 9}); len(v.Shown) != 2 || v.Shown[1].Raw != "a/c" || v.Hidden != 4 {
		t.Errorf("shown %+v, %d hidden", v.Shown, v.Hidden)
	}
}

// The verdict, by what the nights were.
func TestVerdict(t *testing.T) {
	night := func(n int) time.Time { return time.Date(2026, 3, 8+n, 0, 0, 0, 0, time.UTC) }
	view := func(nights int, each, tree int64, lines ...engine.Line) *Estimate {
		needs := &engine.Needs{
			Zone: time.UTC, GoalShare: 0.9, Lines: lines, Window: &engine.Window{From: 20 * 3600, To: 22 * 3600},
			Horizon: engine.Horizon{Months: 1}, Restore: engine.Restore{ParallelRequests: 1, DiskBytesPerSecond: 1e8},
		}
		in := &estimate.Input{All: estimate.Tree{Files: 1, SourceBytes: tree, UniqueBytes: tree, PackedBytes: tree}}
		for n := range nights + 1 {
			in.Taken = append(in.Taken, night(n+1).Add(time.Hour))
			if n > 0 {
				in.Nights = append(in.Nights, estimate.MeasuredNight{
					From: n, To: n + 1, Taken: in.Taken[n], Spanned: 1, UploadBytes: each, NewBytes: each, CoveredShare: 1,
				})
			}
		}
		return NewEstimate(EstimateParts{Result: estimate.Estimate(in, needs), Needs: needs, Given: true, Trees: in}, Facts{}, Options{})
	}
	line := func(name string, up float64) engine.Line {
		return engine.Line{Name: name, UpBitsPerSecond: up, DownBitsPerSecond: up, Efficiency: 1}
	}
	// A window of two hours takes 900 MB at 1 Mbit/s.
	for _, c := range []struct {
		v    *Estimate
		want string
	}{
		{view(0, 0, 1e9, line("a", 1e6)), "Over the line a the first upload ends in night 2 if nothing changes meanwhile"},
		{view(3, 1e6, 1e9, line("a", 1e6)), "Too early to say whether the line a is enough; so far it is: all 3 measured nights end inside the window."},
		{view(20, 1e6, 1e9, line("a", 1e6)), "The line a is enough for nights like the measured ones: all 20 measured nights end inside the window."},
		{view(20, 1e9, 1e9, line("a", 1e6)), "The line a is too slow: its first upload never ends."},
		{view(20, 1e9, 1e9, line("a", 1e6), line("b", 1e8)), "The line a is too slow: its first upload never ends. The line b would be enough."},
		{view(20, 1e9, 1e9), "No line is named"},
	} {
		if !strings.HasPrefix(c.v.Answer, c.want) {
			t.Errorf("%q, want %q", c.v.Answer, c.want)
		}
		// A line's name may be in small letters; no sentence begins with it.
		for _, text := range append([]string{c.v.Answer}, c.v.Details...) {
			for _, sentence := range strings.Split(text, ". ") {
				if first := sentence[0]; first < 'A' || first > 'Z' {
					t.Errorf("%q begins in small letters", sentence)
				}
			}
		}
	}
	// What the nights add while a first upload lasts is in its time, and is said to be.
	for want, v := range map[string]*Estimate{
		"the first upload of 100 MB ends in night 1, after 14 min 8 s with the 6.00 MB that the night adds": view(20, 6e6, 1e8, line("a", 1e6)),
		"the first upload of 1.00 GB ends in night 2, ":                                                     view(20, 6e6, 1e9, line("a", 1e6)),
		" with the 6.00 MB that each night adds":                                                            view(20, 6e6, 1e9, line("a", 1e6)),
		"ends in night 2, after 1 d if nothing changes meanwhile":                                           view(0, 0, 1e9, line("a", 1e6)),
	} {
		if !strings.Contains(v.Details[0], want) {
			t.Errorf("%q, want %q", v.Details[0], want)
		}
	}
	slow := view(20, 950e6, 1e9, line("a", 1e6))
	if slow.Nightly.FitsShare == nil || *slow.Nightly.FitsShare != 0 || !strings.Contains(slow.Details[0], "none of the 20 measured nights ends inside the window") {
		t.Errorf("nights that are too large: %q", slow.Details)
	}
	if s := slow.Seed; s.Seconds != nil || s.SecondsReason == "" || s.Never == nil || !*s.Never {
		t.Errorf("a line that can not catch up: %+v", s)
	}
}

// What would turn the choice is said with the plan that takes over.
func TestTurnText(t *testing.T) {
	v := &Estimate{Units: units.SI, Plans: []EstimatePlan{{Name: "Shelf"}}}
	zero := 0
	for want, turn := range map[string]estimate.Turn{
		"at 1.5 times the stored size Shelf is the cheapest that fits": {What: estimate.TurnStored, At: 1.5, Plan: &zero},
		"at 0.5 of the stored size Shelf is the cheapest that fits":    {What: estimate.TurnStored, At: 0.5, Plan: &zero},
		"at 4 times the stored size no plan fits any more":             {What: estimate.TurnStored, At: 4},
		"at 12 whole restores a year Shelf is the cheapest that fits":  {What: estimate.TurnRestores, At: 12, Plan: &zero},
	} {
		if got := v.turnText(&turn); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if math.Abs(money(1.00004)-1) > 1e-12 {
		t.Error("money")
	}
	// What costs something is never nothing, however little is kept.
	if got := units.Money(money(2e-5), "EUR"); got != "< 0.01 EUR" {
		t.Errorf("2 hundredths of a thousandth: %s", got)
	}
}

// Why 27 nights are 26 elsewhere is said where they are counted.
func TestSpannedWords(t *testing.T) {
	for n, want := range []string{"", " (one of them a step over several dates)", " (2 of them steps over several dates)"} {
		if got := (&Estimate{Spanned: n}).spannedWords(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestLateNights(t *testing.T) {
	n := &EstimateNightly{Runs: []EstimateRun{{Night: "a", Fits: true}, {Night: "b"}, {Night: "c", Skipped: true}}}
	if got, want := n.Late(), "b, c (the clocks go forward over its window)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := skipped(n); got != "" {
		t.Errorf("another night is late too: %q", got)
	}
	one := &EstimateNightly{Runs: []EstimateRun{n.Runs[0], n.Runs[2]}}
	if got, want := skipped(one), "; that of c has none, since the clocks go forward over it"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	for range 6 {
		n.Runs = append(n.Runs, EstimateRun{Night: "d"})
	}
	if got := n.Late(); !strings.HasSuffix(got, ", d, d, d, and 3 more") {
		t.Errorf("%q", got)
	}
	// Europe/Berlin on 29 March 2026: 02:00 to 03:00 is left out.
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	start, end := estimate.Window{From: 2 * 3600, To: 2*3600 + 2700}.On(time.Date(2026, 3, 28, 0, 0, 0, 0, time.UTC), zone)
	if r := newEstimateRun(&estimate.Run{Start: start, Deadline: end}); !r.Skipped {
		t.Errorf("%v to %v", start, end)
	}
}
