package estimate

import (
	"time"

	"tidemark/report/engine"
)

// Window is the part of a night in which the run may send. From and To are
// seconds after local midnight; To ≤ From lies on the next day, so equal values
// are a whole day.
type Window engine.Window

// WholeDay is the window of a line that may send at any time, from noon to
// noon: the span that one night's snapshot belongs to.
var WholeDay = Window{From: noon, To: noon}

const noon = daySeconds / 2

// On is the window of one night in a zone. A window that begins before noon
// lies on the morning after the night's date, as the snapshot taken in it does.
// Each end is the first instant at which the clock shows that time or a later
// one. So where the clocks go forward a window that lies wholly in the hour
// left out is empty (start equals end), and where they go back a time that is
// shown twice means the first.
func (w Window) On(night time.Time, zone *time.Location) (start, end time.Time) {
	from, to := w.wall(dateOf(night))
	return firstShown(from, zone), firstShown(to, zone)
}

// wall is the window in wall-clock seconds since 1970.
func (w Window) wall(night date) (from, to int64) {
	midnight := night.wall()
	if w.From < noon {
		midnight += daySeconds
	}
	from, to = midnight+int64(w.From), midnight+int64(w.To)
	if w.To <= w.From {
		to += daySeconds
	}
	return from, to
}

// firstShown is the first instant at which the wall clock in zone shows wall
// (seconds since 1970 by that clock) or later.
func firstShown(wall int64, zone *time.Location) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	// No zone is more than 15 hours ahead of UTC, so the clock is not there yet.
	at := time.Unix(wall-15*3600, 0).In(zone)
	for {
		_, offset := at.Zone()
		shown := time.Unix(wall-int64(offset), 0).In(zone)
		start, end := at.ZoneBounds()
		if shown.Before(start) {
			return start
		}
		if end.IsZero() || shown.Before(end) {
			return shown
		}
		at = end
	}
}
