package estimate

import (
	"math"
	"time"
)

// Load is what one night asks of the line.
type Load struct {
	Night       time.Time // local date, see Night
	Bytes       float64   // to send, payload
	ScanSeconds float64   // of the night's own scan, which goes before the upload
	Spanned     int       // local dates that the step covers; more than 1: not an ordinary night
}

// Run is what became of one night in a replay.
type Run struct {
	Night           time.Time
	Class           string
	Spanned         int
	Start, Deadline time.Time // the night's window
	Bytes           float64   // the night's own
	BacklogBytes    float64   // left over from the nights before, sent first
	// End is the instant at which backlog and own bytes are sent if the run is
	// let go on past its window, at the calendar's rates; zero where it would
	// not end within a year.
	End  time.Time
	Fits bool // End is not after Deadline
	// LeftBytes were not sent in the window and are carried to the next one.
	LeftBytes float64
}

// Seconds is the run's length, +Inf where it does not end.
func (r *Run) Seconds() float64 {
	if r.End.IsZero() {
		return math.Inf(1)
	}
	return r.End.Sub(r.Start).Seconds()
}

// runOn bounds a run that is let go on past its window.
const runOn = 366 * 24 * time.Hour

// Replay plays the nights in order against the calendar: the run starts with
// the window, scans, then sends, the oldest bytes first; what is not sent when
// the window closes waits for the next measured night. On a date without a
// snapshot there was no run: nothing is sent. Reading and sending do not
// overlap, so an engine that does both at once ends sooner, by the scan's length at most.
func Replay(c *Calendar, w Window, nights []Load) []Run {
	frames := framesOf(w, nights, c.Zone())
	out := make([]Run, len(nights))
	replay(c, frames, nights, true, func(i int, r frameRun) {
		load := &nights[i]
		out[i] = Run{
			Night: load.Night, Class: Class(load.Night), Spanned: load.Spanned,
			Start: frames[i].time(frames[i].start, c.Zone()), Deadline: frames[i].time(frames[i].end, c.Zone()),
			Bytes: load.Bytes, BacklogBytes: r.backlog, Fits: r.fits, LeftBytes: r.left,
		}
		if r.ends {
			out[i].End = frames[i].time(r.at, c.Zone())
		}
	})
	return out
}

// frame is a night's window in Unix nanoseconds: the same for every rate, so
// that a search over rates finds it only once.
type frame struct{ start, end int64 }

func (frame) time(ns int64, zone *time.Location) time.Time { return time.Unix(0, ns).In(zone) }

func framesOf(w Window, nights []Load, zone *time.Location) []frame {
	out := make([]frame, len(nights))
	for i := range nights {
		start, end := w.On(nights[i].Night, zone)
		out[i] = frame{start.UnixNano(), end.UnixNano()}
	}
	return out
}

type frameRun struct {
	at            int64 // the end, where ends
	ends, fits    bool
	backlog, left float64
}

// replay is Replay without the trimmings. With ends unset the end of a run
// that does not fit is not looked for.
func replay(c *Calendar, frames []frame, nights []Load, ends bool, each func(i int, r frameRun)) {
	steps := walk{c: c}
	var left float64
	for i := range nights {
		f := frames[i]
		r := frameRun{backlog: left}
		scanned := f.start + int64(math.Ceil(nights[i].ScanSeconds*float64(second)))
		r.at, left, r.fits = steps.done(scanned, left+nights[i].Bytes, max(scanned, f.end))
		if scanned > f.end {
			r.fits = false
		}
		r.left = left
		r.ends = r.fits
		if ends && !r.fits {
			r.at, _, r.ends = steps.done(max(scanned, f.end), left, scanned+int64(runOn))
		}
		each(i, r)
	}
}
