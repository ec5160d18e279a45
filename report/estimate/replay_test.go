package estimate

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tidemark/report/engine"
)

// slowRun is one night of the minute-stepping twin.
type slowRun struct {
	backlog, left float64
	end           time.Time
	fits          bool
}

// slowReplay walks the clock minute by minute; windows and scans are whole minutes.
func slowReplay(bits, efficiency float64, rules []Rule, w Window, zone *time.Location, nights []Load) []slowRun {
	var out []slowRun
	left := 0.0
	for _, n := range nights {
		start, deadline := w.On(n.Night, zone)
		r := slowRun{backlog: left}
		left += n.Bytes
		scanned := start.Add(time.Duration(n.ScanSeconds) * time.Second)
		at, run := scanned, left
		if !scanned.Before(deadline) {
			r.left = left
		}
		for ; run > 1e-3; at = at.Add(time.Minute) {
			if !at.Before(deadline) && at.Sub(deadline) < time.Minute {
				r.left = run
			}
			run -= slowAt(bits, efficiency, rules, at.In(zone)) * 60 / 8
			if at.Sub(start) > 30*24*time.Hour {
				at = time.Time{}
				break
			}
		}
		r.end = at
		r.fits = !at.IsZero() && !at.After(deadline)
		if r.fits {
			r.left = 0
		}
		left = r.left
		out = append(out, r)
	}
	return out
}

func genLoads(rt *rapid.T) []Load {
	at := rapid.SampledFrom(testStarts).Draw(rt, "start")
	out := make([]Load, rapid.IntRange(1, 8).Draw(rt, "nights"))
	for i := range out {
		step := rapid.SampledFrom([]int{1, 1, 1, 1, 3}).Draw(rt, "step")
		at = at.AddDate(0, 0, step)
		out[i] = Load{
			Night: at, Spanned: step,
			Bytes:       float64(rapid.IntRange(0, 120).Draw(rt, "GB")) * 1e9,
			ScanSeconds: float64(60 * rapid.IntRange(0, 200).Draw(rt, "scan")),
		}
	}
	return out
}

func TestReplayAgainstMinutes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		z := zone(t, rapid.SampledFrom(testZones).Draw(rt, "zone"))
		rules := genRules(rt)
		for i := range rules { // no limit shuts the line, or the twin walks for weeks
			rules[i].BitsPerSecond += 2e6
		}
		w := Window{60 * rapid.IntRange(0, 1439).Draw(rt, "from"), 60 * rapid.IntRange(0, 1439).Draw(rt, "to")}
		nights := genLoads(rt)
		const bits, efficiency = 20e6, 0.9
		want := slowReplay(bits, efficiency, rules, w, z, nights)
		for i, got := range Replay(NewCalendar(bits, efficiency, rules, z), w, nights) {
			if math.Abs(got.BacklogBytes-want[i].backlog) > 1 || math.Abs(got.LeftBytes-want[i].left) > 1 {
				rt.Fatalf("night %d: backlog %v left %v, want %v and %v", i, got.BacklogBytes, got.LeftBytes, want[i].backlog, want[i].left)
			}
			if want[i].end.IsZero() {
				continue // beyond where the twin walks
			}
			// The twin rounds the end up to a whole minute.
			if d := want[i].end.Sub(got.End); d < -time.Millisecond || d > time.Minute+time.Millisecond {
				rt.Fatalf("night %d ends %v, want %v", i, got.End, want[i].end)
			}
			if got.Fits != (got.LeftBytes == 0 && !got.End.After(got.Deadline)) || got.Fits && got.End.Before(got.Start) {
				rt.Fatalf("night %d: %+v", i, got)
			}
			if d := want[i].end.Sub(got.Deadline).Abs(); d > 2*time.Minute && got.Fits != want[i].fits {
				rt.Fatalf("night %d fits %v, want %v", i, got.Fits, want[i].fits)
			}
		}
	})
}

// TestSmallestUp: the rate found is enough and one bit a second less is not,
// and a faster line never makes fewer nights fit.
func TestSmallestUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		nights := genLoads(rt)
		line := &engine.Line{UpBitsPerSecond: 20e6, Efficiency: 0.94, Limits: genRules(rt)}
		w := Window{clock(20, 0), clock(6, 0)}
		share := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 1}).Draw(rt, "share")
		fits := func(bits float64) int {
			count := 0
			for _, r := range Replay(NewCalendar(bits, line.Efficiency, line.Limits, nil), w, nights) {
				if r.Fits {
					count++
				}
			}
			return count
		}
		want := int(math.Ceil(share*float64(len(nights)) - 1e-9))
		got, why := SmallestUp(line, nil, w, nights, share)
		if got == nil {
			if why == "" || fits(float64(maxUp)) >= want {
				rt.Fatalf("refused (%q) although %d of %d fit", why, fits(float64(maxUp)), want)
			}
			return
		}
		if fits(float64(*got)) < want || *got > 0 && fits(float64(*got-1)) >= want {
			rt.Fatalf("%d bit/s: %d fit, one less: %d, want %d", *got, fits(float64(*got)), fits(float64(*got-1)), want)
		}
		before := 0
		for _, bits := range []float64{0, 1e6, 5e6, 20e6, 80e6, 1e9, 1e12} {
			now := fits(bits)
			if now < before {
				rt.Fatalf("at %v bit/s %d nights fit, fewer than on a slower line", bits, now)
			}
			before = now
		}
	})
}

// A night worked out by hand: 20 Mbit/s, all payload, are 9 GB an hour.
func TestReplayByHand(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	c := NewCalendar(20e6, 1, nil, berlin)
	w := Window{clock(22, 0), clock(6, 0)}
	day := func(d int) time.Time { return time.Date(2025, 6, d, 0, 0, 0, 0, time.UTC) }
	runs := Replay(c, w, []Load{
		{Night: day(2), Bytes: 18e9, ScanSeconds: 3600, Spanned: 1},
		{Night: day(3), Bytes: 90e9, ScanSeconds: 3600, Spanned: 1}, // 63 GB fit behind the scan
		{Night: day(6), Bytes: 9e9, ScanSeconds: 3600, Spanned: 3},
		{Night: day(7), Bytes: 0, ScanSeconds: 9 * 3600, Spanned: 1},
	})
	for i, want := range []Run{
		{Fits: true, End: time.Date(2025, 6, 3, 1, 0, 0, 0, berlin)},
		{LeftBytes: 27e9, End: time.Date(2025, 6, 4, 9, 0, 0, 0, berlin)},
		{BacklogBytes: 27e9, Fits: true, End: time.Date(2025, 6, 7, 3, 0, 0, 0, berlin)},
		{End: time.Date(2025, 6, 8, 7, 0, 0, 0, berlin)}, // nothing to send, but the scan outlasts the window
	} {
		got := runs[i]
		if got.Fits != want.Fits || !got.End.Equal(want.End) || math.Abs(got.LeftBytes-want.LeftBytes) > 1 || math.Abs(got.BacklogBytes-want.BacklogBytes) > 1 {
			t.Errorf("night %d: fits %v, end %v, left %v, backlog %v; want %+v", i, got.Fits, got.End, got.LeftBytes, got.BacklogBytes, want)
		}
	}
	if lengths := ordinaryLengths(runs); !slices.Equal(lengths, []float64{3 * 3600, 9 * 3600, 11 * 3600}) {
		t.Errorf("lengths of ordinary nights: %v", lengths)
	}
}

// On the night of the clock change a window in the missing hour lets nothing
// through: the night is late, its bytes wait, and the next night takes them.
func TestReplayWindowThatDoesNotExist(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	w := Window{clock(2, 10), clock(2, 50)}
	saturday := time.Date(2025, 3, 29, 0, 0, 0, 0, time.UTC)
	runs := Replay(NewCalendar(20e6, 1, nil, berlin), w, []Load{
		{Night: saturday.AddDate(0, 0, -1), Bytes: 1e9, Spanned: 1},
		{Night: saturday, Bytes: 1e9, Spanned: 1},
		{Night: saturday.AddDate(0, 0, 1), Bytes: 1e9, Spanned: 1},
	})
	if !runs[0].Fits || runs[1].Fits || runs[1].LeftBytes != 1e9 || !runs[2].Fits || runs[2].BacklogBytes != 1e9 {
		t.Errorf("%+v", runs)
	}
	if !runs[1].Start.Equal(runs[1].Deadline) {
		t.Errorf("the window lasts from %v to %v", runs[1].Start, runs[1].Deadline)
	}
}

func TestReplayWithoutLine(t *testing.T) {
	runs := Replay(NewCalendar(0, 1, nil, nil), WholeDay, []Load{{Night: testStarts[0], Bytes: 1, Spanned: 1}})
	if !runs[0].End.IsZero() || !math.IsInf(runs[0].Seconds(), 1) || runs[0].Fits {
		t.Errorf("%+v", runs[0])
	}
}
