package estimate

import "time"

// SeedRun is a first upload played over the calendar.
type SeedRun struct {
	Bytes        float64   // S: what the first copy has to send
	NightlyBytes float64   // c: what each night adds while it lasts
	WindowBytes  float64   // R: what the line can send in one night's window, mean of 52 weeks
	Worth        float64   // S/(R−c) in nights; 0 where c ≥ R
	Nights       int       // the night, counted from 1, in whose window it ends; 0 where Never
	Start, Done  time.Time // the first window's start, and the instant at which all is sent
	Seconds      float64   // from Start to Done, waiting for windows included
	MostInMonth  float64   // payload sent in the busiest calendar month of it
	Never        bool      // the line does not catch up, or not within SeedNights
}

// SeedNights bounds a first upload: one that takes longer counts as never.
const SeedNights = 30 * 366

// yearNights is a span over which weekdays and clock changes average out.
const yearNights = 52 * 7

// Seed plays the first upload of bytes from the window of the night first on,
// while each night adds nightly bytes before its window opens. Without limits
// and clock changes it takes S/(R−c) nights (S, R, c as in SeedRun): what is
// left shrinks each night by what the line sends less what is added. Data that changes
// before it was sent is counted both times, so the figure errs on the long side.
// bytes and nightly are not negative.
func Seed(c *Calendar, w Window, first time.Time, bytes, nightly float64) SeedRun {
	out := SeedRun{Bytes: bytes, NightlyBytes: nightly}
	steps := walk{c: c}
	night := dateOf(first)
	for k := range yearNights {
		from, to := w.On(night.next(k).utc(), c.Zone())
		out.WindowBytes += steps.integrate(from.UnixNano(), to.UnixNano()) / yearNights
	}
	if out.WindowBytes > nightly {
		out.Worth = bytes / (out.WindowBytes - nightly)
	}

	out.Start, _ = w.On(night.utc(), c.Zone())
	left, yearAgo := bytes, bytes
	month, inMonth := 0, 0.0
	for k := 1; k <= SeedNights; k++ {
		from, to := w.On(night.utc(), c.Zone())
		var at int64
		var ok bool
		before := left + nightly
		at, left, ok = steps.done(from.UnixNano(), before, to.UnixNano())
		if m := int(night.month); m != month {
			month, inMonth = m, 0
		}
		inMonth += before - left
		out.MostInMonth = max(out.MostInMonth, inMonth)
		if ok {
			out.Nights = k
			out.Done = time.Unix(0, at).In(c.Zone())
			out.Seconds = out.Done.Sub(out.Start).Seconds()
			return out
		}
		if k%yearNights == 0 {
			// A year on, the calendar repeats itself: what did not shrink never will.
			if left >= yearAgo {
				break
			}
			yearAgo = left
		}
		night = night.next(1)
	}
	out.Never = true
	return out
}
