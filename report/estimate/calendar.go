package estimate

import (
	"math"
	"slices"
	"time"

	"tidemark/report/engine"
)

// Rule limits a line on some days between two local times. Where rules overlap
// the lowest rate wins. A rule acts by what the clock on the wall shows: in the
// night on which an hour is shown twice it acts twice, and one that lies in an
// hour that is left out does not act.
type Rule = engine.Limit

// Calendar is a line's rate over time: nominal rate or the lowest rule in
// force, times efficiency. The zero value sends nothing. Safe for concurrent use.
type Calendar struct {
	zone  *time.Location
	edges []int64      // seconds of the day at which the rate may change; 0 is the first
	rates [7][]float64 // payload bits a second from each edge to the next, by time.Weekday
	flat  bool         // one rate always
}

// NewCalendar makes the calendar of a line of this many bits a second, of
// which the share efficiency (0 to 1) is payload. zone nil: UTC.
func NewCalendar(bitsPerSecond, efficiency float64, rules []Rule, zone *time.Location) *Calendar {
	if zone == nil {
		zone = time.UTC
	}
	c := &Calendar{zone: zone, edges: []int64{0}, flat: true}
	for _, r := range rules {
		c.edges = append(c.edges, int64(r.From), int64(r.To))
	}
	slices.Sort(c.edges)
	c.edges = slices.Compact(c.edges)
	if last := len(c.edges) - 1; c.edges[last] >= daySeconds {
		c.edges = c.edges[:last]
	}
	for day := range c.rates {
		c.rates[day] = make([]float64, len(c.edges))
		for i, second := range c.edges {
			rate := bitsPerSecond
			for _, r := range rules {
				if covers(&r, day, second) {
					rate = min(rate, r.BitsPerSecond)
				}
			}
			c.rates[day][i] = max(0, rate*efficiency)
			c.flat = c.flat && c.rates[day][i] == c.rates[0][0]
		}
	}
	return c
}

// covers says whether a rule is in force at this second of this weekday.
func covers(r *Rule, day int, second int64) bool {
	from, to := int64(r.From), int64(r.To)
	if from < to {
		return r.Days[day] && from <= second && second < to
	}
	return r.Days[day] && from <= second || r.Days[(day+6)%7] && second < to
}

// UpCalendar is the upload calendar of a line with its limits.
func UpCalendar(l *engine.Line, zone *time.Location) *Calendar {
	return NewCalendar(l.UpBitsPerSecond, l.Efficiency, l.Limits, zone)
}

// Zone is the zone of the calendar's local times.
func (c *Calendar) Zone() *time.Location {
	if c.zone == nil {
		return time.UTC
	}
	return c.zone
}

// At is the payload rate at an instant, bits a second.
func (c *Calendar) At(t time.Time) float64 {
	w := walk{c: c}
	rate, _ := w.piece(t.UnixNano())
	return rate
}

// Integrate is how many payload bytes can be sent from one instant to
// another; 0 where to is not after from.
func (c *Calendar) Integrate(from, to time.Time) float64 {
	w := walk{c: c}
	return w.integrate(from.UnixNano(), to.UnixNano())
}

// Done is the instant at which bytes that are sent from t on are through;
// ok is false, and the instant deadline, where they are not by then. Solved
// piece by piece, exact to the nanosecond. Bytes ≤ 0 are through at t.
func (c *Calendar) Done(t time.Time, bytes float64, deadline time.Time) (done time.Time, ok bool) {
	w := walk{c: c}
	at, _, ok := w.done(t.UnixNano(), bytes, deadline.UnixNano())
	return time.Unix(0, at).In(c.Zone()), ok
}

// walk goes along the pieces of constant rate. It remembers the zone period
// it is in, so that neighbouring questions are cheap. Instants are Unix nanoseconds.
type walk struct {
	c          *Calendar
	start, end int64 // the zone period, ns; empty at first
	offset     int64 // of that period, seconds
}

const second = int64(time.Second)

// forever bounds what nanoseconds can express (the year 2262).
const forever = math.MaxInt64

// piece is the rate at t and the instant up to which it surely holds.
func (w *walk) piece(t int64) (bits float64, until int64) {
	c := w.c
	if len(c.edges) == 0 {
		return 0, forever
	}
	if c.flat {
		return c.rates[0][0], forever
	}
	if t < w.start || t >= w.end {
		w.enter(t)
	}
	wall := floorDiv(t, second) + w.offset
	day := floorDiv(wall, daySeconds)
	inDay := wall - day*daySeconds
	i, found := slices.BinarySearch(c.edges, inDay)
	if !found {
		i--
	}
	edge := int64(daySeconds)
	if i+1 < len(c.edges) {
		edge = c.edges[i+1]
	}
	until = min((day*daySeconds+edge-w.offset)*second, w.end)
	// Day 0 of 1970 was a Thursday.
	weekday := ((day+4)%7 + 7) % 7
	return c.rates[weekday][i], until
}

// enter finds the zone period that holds t.
func (w *walk) enter(t int64) {
	local := time.Unix(0, t).In(w.c.Zone())
	_, offset := local.Zone()
	from, to := local.ZoneBounds()
	w.offset, w.start, w.end = int64(offset), math.MinInt64, forever
	if !from.IsZero() && from.Year() > 1700 {
		w.start = from.UnixNano()
	}
	if !to.IsZero() && to.Year() < 2260 {
		w.end = to.UnixNano()
	}
}

func (w *walk) integrate(from, to int64) float64 {
	var bits float64
	for t := from; t < to; {
		rate, until := w.piece(t)
		until = min(until, to)
		bits += rate * (float64(until-t) / float64(second))
		t = until
	}
	return bits / 8
}

// done sends bytes from t on, until the deadline at most, and returns the
// instant at which they are through, or the deadline and what is left.
func (w *walk) done(t int64, bytes float64, deadline int64) (at int64, left float64, ok bool) {
	bits := bytes * 8
	if bits <= 0 {
		return t, 0, true
	}
	for t < deadline {
		rate, until := w.piece(t)
		until = min(until, deadline)
		room := rate * (float64(until-t) / float64(second))
		if room >= bits {
			return min(until, t+int64(math.Ceil(bits/rate*float64(second)))), 0, true
		}
		bits -= room
		t = until
	}
	return max(t, deadline), bits / 8, false
}
