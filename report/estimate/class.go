package estimate

import (
	"time"

	"tidemark/report/measure"
)

// Classes of day, see measure.DayClass.
const (
	Weekday  = measure.Weekday
	Weekend  = measure.Weekend
	MonthEnd = measure.MonthEnd
)

// Classes lists them in the order in which views show them.
var Classes = measure.DayClasses

// Class says to which class of day a night belongs.
func Class(night time.Time) string { return measure.DayClass(night) }

// Night is the local date, at midnight UTC, that a snapshot taken at this
// instant belongs to: taken, in its own offset, minus 12 hours.
func Night(taken time.Time) time.Time {
	_, offset := taken.Zone()
	return dateOfUnix(taken.Unix() + int64(offset) - 12*3600).utc()
}

// date is a calendar date without a zone.
type date struct {
	year  int
	month time.Month
	day   int
}

func dateOf(t time.Time) date {
	y, m, d := t.Date()
	return date{y, m, d}
}

// dateOfUnix reads wall-clock seconds since 1970 (a Unix time plus its offset).
func dateOfUnix(wall int64) date { return dateOf(time.Unix(wall, 0).UTC()) }

func (d date) utc() time.Time { return time.Date(d.year, d.month, d.day, 0, 0, 0, 0, time.UTC) }

// wall is the date's midnight as wall-clock seconds since 1970.
func (d date) wall() int64 { return d.utc().Unix() }

// number counts days since 1970: neighbours differ by one whatever the clocks do.
func (d date) number() int { return int(floorDiv(d.wall(), daySeconds)) }

func dateOfNumber(n int) date { return dateOfUnix(int64(n) * daySeconds) }

func (d date) next(days int) date { return dateOf(d.utc().AddDate(0, 0, days)) }

const daySeconds = 24 * 60 * 60

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
