package measure

import (
	"time"

	"tidemark/scan/logbook"
)

// Trend is a logbook night by night. It comes out of the segments' summaries
// alone: no entry and no chunk is read.
type Trend struct {
	Baseline logbook.Segment // the first snapshot: where the nights begin
	Nights   []TrendNight    // in order, one a local date with a snapshot after the baseline
	Usual    []Usual         // of new bytes, one for each class of day, in the order of DayClasses
	Weekdays [7]Usual        // of new bytes by time.Weekday, month-ends included; Class is ""
	Growth   []Growth        // of stored and source bytes, where there are enough nights
}

// TrendNight is one local date: the steps within it added up. Where Measured is
// false its figures were not computed when it was scanned: all of them are 0 and
// mean nothing. −1 in a field that may be so means: not measured.
type TrendNight struct {
	From, To int       // snapshots; To − From > 1 where a date was scanned several times
	Taken    time.Time // of To, with its own offset
	Date     time.Time // the local date that the night belongs to, at midnight
	Class    string    // see DayClass
	Spanned  int       // local dates from From to To: 1 is an ordinary night, 0 more of the baseline's own date
	Measured bool

	Partial       bool    // a scan of the step, or the one before it, was stopped
	CoveredShare  float64 // of the bytes, the least of the step's snapshots
	UnreadFiles   int64   // at To
	UnreadBytes   int64
	UnreadFolders int64

	TouchedFiles, TouchedBytes int64
	ChangedFiles, ChangedBytes int64
	NewBytes                   int64
	NewCompressedBytes         int64 // as measured; −1
	UploadBytes                int64 // as the profile compresses, overhead included; −1; every earlier night counts as held
	ReturningBytes             int64
	FreedBytes                 int64
	FirstSeenFiles             int64 // baseline, in no figure above
	FirstSeenBytes             int64
	RenamedFiles               int64 // given another name or ending, see Renamed; −1

	StoredBytes     int64 // of To, as the profile compresses, overhead included; −1
	SourceBytes     int64 // of To
	UniqueBytes     int64 // of To
	CompressedBytes int64 // of To, as measured; −1
	ScanSeconds     float64
	ReadBytes       int64

	Counts bool // among the usual nights: one date, nothing stopped, enough covered
	Aside  Aside

	Causes  []logbook.CauseTotals // summed over the step
	Types   []logbook.SplitTotals // the night's and the tree's largest, not all of them
	Folders []logbook.SplitTotals
	Renamed []logbook.RenamedFolder // the folders with most, not all of them
}

// Aside says why a night does not count among the usual ones; "" where it does.
type Aside string

const (
	AsideSpanned   Aside = "spanned"   // it covers several dates, or less than one
	AsideStopped   Aside = "stopped"   // its scan, or the one before it, was stopped
	AsideUncovered Aside = "uncovered" // too little of the bytes could be read
	AsideUnknown   Aside = "unknown"   // its figures were not computed
)

// Usual says what the new bytes of a class of nights usually are.
type Usual struct {
	Class  string
	Nights int     // that the figures rest on; 0: none, and no figure means anything
	Median float64 // bytes
	// Low and High are two of the nights' own values: the next night lies between
	// them with the probability Coverage, whatever the distribution, as long as it
	// is like the earlier ones. Coverage 0: fewer than two nights, there is no range.
	Low, High float64
	Coverage  float64
}

// Growth is a straight line through the nights, by Theil and Sen.
type Growth struct {
	Of          string  // "stored_bytes" or "source_bytes"
	PerDay      float64 // bytes a day
	Low, High   float64 // interval of PerDay
	Confidence  float64 // of the interval
	Nights      int     // points
	First, Last time.Time
}

// TrendOptions of a trend.
type TrendOptions struct {
	Options
	// LeastCovered is the covered share below which a night does not count among
	// the usual ones; 0 means 0.99.
	LeastCovered float64
}
