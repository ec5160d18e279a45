package engine

import (
	"fmt"
	"time"
)

// Needs is a checked needs file. Everything in it is within the ranges named
// here, so that no reader has to check again. Names come from a person's file:
// escape them before they are shown.
type Needs struct {
	Zone      *time.Location // in which all local times are meant; never nil. Not given: the system's
	Lines     []Line         // in the file's order; may be empty
	Window    *Window        // of the nightly run; nil: not given, any time will do
	GoalShare float64        // share of nights that should end inside the window, above 0 and at most 1
	Retention *Retention     // nil: not given
	Profile   *Profile       // of the store in question; nil: not given, no overhead is counted
	Profiles  []Profile      // further ones to compare side by side, in the file's order; may be empty
	Restore   Restore        // complete: what the file leaves out is assumed
	Plans     []Plan         // in the file's order; may be empty
	Horizon   Horizon        // how far to look ahead
	Alert     Alert          // complete: what the file leaves out has its default

	// Assumed names, as "key = value", each figure that the file leaves out and
	// that answers of estimate rest on all the same. Those are assumptions of this
	// program, not measurements: views say so. Efficiencies are not among them, see
	// Line, and neither are Alert's thresholds. In a fixed order; never nil.
	Assumed []string
}

// Line is one way to the store.
type Line struct {
	Name              string // unique, never empty; "line 1" … where not given
	UpBitsPerSecond   float64
	DownBitsPerSecond float64 // 0: not given, no restore can be estimated over it
	// Efficiency is the share of those rates that is payload, above 0, at most 1.
	Efficiency        float64
	EfficiencyDerived bool    // not given in the file: TCPEfficiency(Framing)
	Framing           Framing // what it was derived from
	MonthlyPrice      float64 // in Currency; 0: nothing, or not given
	Currency          string  // ISO 4217 letters; "" only where there is no price
	TransferCapBytes  int64   // payload that may be sent a calendar month; 0: no cap
	Limits            []Limit // in the file's order; may be empty
}

// Limit holds the upload below the line's rate on some days between two local
// times. Where limits overlap the lowest rate counts, whatever their order.
type Limit struct {
	Days          [7]bool // by time.Weekday; the day on which From lies; at least one is true
	From, To      int     // seconds after local midnight, 0 … 86400; To ≤ From: To lies on the next day. 0, 86400: the whole day
	BitsPerSecond float64 // at most this, on the wire; 0: nothing is sent
}

// Window is the part of a night in which the run may send, in seconds after
// local midnight, 0 … 86400. To < From lies on the next day; they are never equal.
type Window struct {
	From, To int
}

// Retention says which snapshots are kept: either Everything; or the newest of
// each of the last Daily days, Weekly ISO weeks, Monthly months, Yearly years
// that hold one, and the newest Last. Unless Everything is set at least one
// count is above 0.
type Retention struct {
	Everything                           bool
	Last, Daily, Weekly, Monthly, Yearly int // 0: this rule keeps none
	// CapBytes is the most that the kept snapshots may take; the oldest go first,
	// the newest always stays. It comes with Last alone. 0: no cap.
	CapBytes int64
}

// Restore is what a restore costs besides the line.
type Restore struct {
	RequestDelaySeconds float64 // from asking for an object to its first byte
	ParallelRequests    int     // at least 1
	DiskBytesPerSecond  float64 // what the target disk writes; above 0
	PerFileSeconds      float64 // to make one file, whatever its size
	HumanDelaySeconds   float64 // until somebody starts it
	PerYear             float64 // whole restores a year that costs count; 0: none
}

// Plan is an offer of storage. Amounts of money are in Currency; a TB is 10¹² bytes.
type Plan struct {
	Name                   string // unique, never empty
	Current                bool   // the one in use; at most one
	CapacityBytes          int64  // 0: no limit
	MonthlyPrice           float64
	PricePerTBMonth        float64 // of what is stored, on top of MonthlyPrice
	MinimumBilledBytes     int64   // billed even if less is stored
	MinimumStorageDays     int     // what is deleted earlier is billed to this age; 0: none
	DownloadPricePerTB     float64
	PricePerMillionRequest float64
	Currency               string // ISO 4217 letters; never empty
}

// Horizon is how far to look ahead: Months, or a last day if Date is set.
type Horizon struct {
	Months int       // 1 … 600; 0 where Date is set
	Date   time.Time // midnight UTC of the last day; zero where Months is set
}

// Alert holds the thresholds of what is unusual. Scores are modified z-scores.
type Alert struct {
	WarningScore         float64 // above 0
	CriticalScore        float64 // not below WarningScore
	FloorShare           float64 // the spread counts as at least this share of the median
	FloorBytes           int64   // and, where bytes are judged, as at least this much
	FloorFiles           int64   // and, where files are counted, as at least so many
	Nights               int     // usual nights needed before scores are spoken of; at least 3
	WarningAgeSeconds    float64 // since the last good scan
	CriticalAgeSeconds   float64 // not below WarningAgeSeconds
	WarningCoveredShare  float64 // of the bytes read, 0 to 1; below it is a warning
	CriticalCoveredShare float64 // not above WarningCoveredShare
	WarningFullDays      float64 // until the current plan is full
	CriticalFullDays     float64 // not above WarningFullDays
}

// End is the last instant of the horizon for what was measured up to from. It is
// an error if that is not after from: the one line says both dates.
func (h Horizon) End(from time.Time) (time.Time, error) {
	if h.Date.IsZero() {
		return addMonths(from, h.Months), nil
	}
	year, month, day := h.Date.Date()
	end := time.Date(year, month, day+1, 0, 0, 0, 0, from.Location())
	if !end.After(from) {
		return time.Time{}, fmt.Errorf("the horizon %s is not after the last measured night %s: give a later date, or horizon_months",
			h.Date.Format(time.DateOnly), from.Format(time.DateOnly))
	}
	return end, nil
}

// addMonths stays in the month that is meant: a month after 31 January is the
// end of February, not the 3rd of March.
func addMonths(from time.Time, months int) time.Time {
	year, month, day := from.Date()
	first := time.Date(year, month+time.Month(months), 1, 0, 0, 0, 0, from.Location())
	lastDay := first.AddDate(0, 1, -1).Day()
	hour, minute, second := from.Clock()
	return time.Date(first.Year(), first.Month(), min(day, lastDay), hour, minute, second, from.Nanosecond(), from.Location())
}
