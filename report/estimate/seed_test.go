package estimate

import (
	"math"
	"testing"
	"time"
)

// The seeding row of the project's outside checks, computed from S/(R−c): 1 TB,
// 20 Mbit/s at 85 %, ten-hour nights.
func TestSeedArithmetic(t *testing.T) {
	c := NewCalendar(20e6, 0.85, nil, time.UTC)
	w := Window{clock(20, 0), clock(6, 0)}
	first := time.Date(2025, 6, 2, 0, 0, 0, 0, time.UTC)

	still := Seed(c, w, first, 1e12, 0)
	if math.Abs(still.WindowBytes-76.5e9) > 1e3 {
		t.Errorf("a night sends %v, want 76.5 GB", still.WindowBytes)
	}
	if math.Abs(still.Worth-13.07) > 0.005 || still.Nights != 14 || still.Never {
		t.Errorf("without change: %.3f nights' worth in night %d, want 13.07 in night 14", still.Worth, still.Nights)
	}
	// Night 14 opens on 15 June at 20:00; 1000 − 13·76.5 GB are left.
	seconds := (1000 - 13*76.5) * 8e9 / (20e6 * 0.85)
	want := time.Date(2025, 6, 15, 20, 0, 0, 0, time.UTC).Add(time.Duration(seconds * float64(time.Second)))
	if d := still.Done.Sub(want).Abs(); d > time.Millisecond {
		t.Errorf("done %v, want %v", still.Done, want)
	}
	if got := still.Done.Sub(still.Start).Seconds(); got != still.Seconds {
		t.Errorf("%v s, want %v", still.Seconds, got)
	}

	changing := Seed(c, w, first, 1e12, 10e9)
	if math.Abs(changing.Worth-15.04) > 0.005 || changing.Nights != 16 {
		t.Errorf("with 10 GB a night: %.3f nights' worth in night %d, want 15.04 in night 16", changing.Worth, changing.Nights)
	}
	if math.Abs(changing.MostInMonth-(1e12+160e9)) > 1e3 {
		t.Errorf("sent in June: %v, want all of 1.16 TB", changing.MostInMonth)
	}
}

func TestSeedNever(t *testing.T) {
	c := NewCalendar(20e6, 0.85, nil, time.UTC)
	w := Window{clock(20, 0), clock(6, 0)}
	first := time.Date(2025, 6, 2, 0, 0, 0, 0, time.UTC)
	for name, run := range map[string]SeedRun{
		"change outgrows the window": Seed(c, w, first, 1e12, 80e9),
		"change fills the window":    Seed(c, w, first, 1e12, 76.5e9),
		"no line":                    Seed(NewCalendar(0, 1, nil, nil), w, first, 1e12, 0),
		"longer than the bound":      Seed(NewCalendar(1000, 1, nil, nil), w, first, 1e12, 0),
	} {
		if !run.Never || run.Nights != 0 || run.Seconds != 0 || !run.Done.IsZero() {
			t.Errorf("%s: %+v", name, run)
		}
	}
	if run := Seed(c, w, first, 0, 0); run.Never || run.Nights != 1 || run.Seconds != 0 {
		t.Errorf("nothing to send: %+v", run)
	}
	// Weekends alone may carry it, although the mean week does not shrink fast.
	closed := []Rule{{Days: [7]bool{false, true, true, true, true, true, false}, From: 0, To: 0}}
	run := Seed(NewCalendar(100e6, 1, closed, nil), WholeDay, first, 1e12, 100e9)
	if run.Never || run.Nights == 0 {
		t.Errorf("weekends alone: %+v", run)
	}
}

// TestSeedAgainstNights plays an upload night by night in whole numbers beside it.
func TestSeedAgainstNights(t *testing.T) {
	c := NewCalendar(16e6, 1, nil, time.UTC) // 2 MB/s
	w := Window{clock(22, 0), clock(4, 0)}   // 43.2 GB
	first := time.Date(2025, 6, 2, 0, 0, 0, 0, time.UTC)
	for size := int64(1); size < 3000; size = size*2 + 7 {
		for change := int64(0); change < 43; change += 6 {
			left, want := size*10, 0
			for left > 0 {
				left += change*10 - 432
				want++
			}
			if got := Seed(c, w, first, float64(size)*1e9, float64(change)*1e9); got.Nights != want {
				t.Fatalf("%d GB with %d GB a night: night %d, want %d", size, change, got.Nights, want)
			}
		}
	}
}
